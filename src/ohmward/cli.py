"""The `ohmward` command: parse, one library call, error to exit code, one writer.

stdout carries data, stderr carries talk. Exit codes are `errors.Exit`. Nothing heavy is imported
here at the top, so that `--help` and `--version` stay instant.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from ohmward import __version__
from ohmward.errors import Exit, InputError, Mistake, OhmwardError, Unreachable
from ohmward.text import visible

if TYPE_CHECKING:
    from collections.abc import Callable

    from ohmward.run.live import LiveRun

TOOL = f"ohmward {__version__}"
CAUTION = (
    "Mains voltage and charged reservoirs can kill. Work to your local code and leave to a licensed "
    "person what it reserves to one."
)


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(Exit.BAD_INPUT, f"{self.prog}: {visible(message)}. See '{self.prog} --help'\n")


def main(argv: list[str] | None = None) -> int:
    """Run one command line; return its exit code."""
    arguments = _parser().parse_args(argv)
    try:
        return int(arguments.run(arguments))
    except OhmwardError as error:
        _talk(str(error))
        return int(error.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return int(Exit.DONE)
    except KeyboardInterrupt:
        _talk("Interrupted. What was acknowledged is in the journal.")
        return int(Exit.BAD_INPUT)


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="ohmward",
        description="Staged commissioning and test log for mains-powered DC supplies. " + CAUTION,
        epilog="Exit codes: 0 done; 1 done, and something is out of tolerance or damaged; "
        "2 the input or the command line is wrong; 3 a meter or file could not be reached.",
    )
    parser.add_argument("--version", action="version", version=TOOL)
    parser.set_defaults(run=_ui, logbook=None, operator="", command="")
    _add_logbook(parser)
    commands = parser.add_subparsers(metavar="COMMAND", parser_class=_Parser)
    for add in (_add_work, _add_sheet, _add_results):
        add(commands)
    return parser


def _add_work(commands: argparse._SubParsersAction[_Parser]) -> None:
    demo = _command(commands, "demo", _demo, "rehearse the whole job on CR-07; nothing real is measured")
    demo.add_argument("--auto", action="store_true", help="play a shipped answers file without a person")
    demo.add_argument(
        "--story", choices=("healthy", "faulty"), default="healthy", help="what the supply is like"
    )
    _add_logbook(demo)
    _add_json(demo)
    start = _command(commands, "start", _start, "start a run on a design sheet")
    start.add_argument("sheet", type=Path, metavar="SHEET")
    start.add_argument(
        "--procedure", default="commissioning", metavar="NAME", help="shipped name or TOML file"
    )
    start.add_argument("--limits", default="", metavar="NAME", help="limit set; the sheet's when not given")
    start.add_argument(
        "--meters", type=Path, metavar="FILE", help="meters.toml; the logbook's when not given"
    )
    start.add_argument("--purpose", default="", help="who asked for this run, and why")
    start.add_argument("--rehearsal", action="store_true", help="mark the run as a rehearsal")
    start.add_argument("--no-screen", action="store_true", help="only create the run and print its path")
    _add_operator(start)
    _add_logbook(start)
    resume = _command(commands, "resume", _resume, "go on with a run in the terminal UI")
    resume.add_argument("what", metavar="RUN", help="path, name or tag of a run")
    _add_operator(resume)
    _add_logbook(resume)
    record = _command(commands, "record", _record, "feed a CSV of answers through the gates")
    record.add_argument("what", metavar="RUN", help="path, name or tag of a run")
    record.add_argument(
        "answers", type=Path, metavar="ANSWERS.csv", help="columns: step, subject, value, meter, note"
    )
    _add_operator(record)
    _add_logbook(record)
    _add_json(record)


def _add_sheet(commands: argparse._SubParsersAction[_Parser]) -> None:
    new = _command(commands, "new", _new, "ask for a design sheet and write it, commented")
    new.add_argument(
        "path", type=Path, nargs="?", metavar="SHEET", help="file to write; <tag>.toml when not given"
    )
    check = _command(commands, "check", _check, "validate a design sheet and print it as a table")
    check.add_argument("sheet", type=Path, metavar="SHEET")
    _add_json(check)
    expect = _command(commands, "expect", _expect, "print what every reading ought to be")
    expect.add_argument("sheet", type=Path, metavar="SHEET")
    expect.add_argument("--mains", metavar="V", help="mains voltage, such as 230 or '248 V'")
    expect.add_argument("--ambient", metavar="C", help="room temperature, such as 25 or '25 °C'")
    expect.add_argument("--plot", type=Path, metavar="FILE", help="draw rails against load (SVG, PNG or PDF)")
    _add_json(expect)


def _add_results(commands: argparse._SubParsersAction[_Parser]) -> None:
    assess = _command(
        commands, "assess", _assess, "judge a run: what holds, what does not, and why it matters"
    )
    assess.add_argument("what", metavar="RUN", help="path, name or tag of a run")
    assess.add_argument("--strict", action="store_true", help="exit 1 when anything fails")
    _add_logbook(assess)
    _add_json(assess)
    verify = _command(commands, "verify", _verify, "check that a journal is intact")
    verify.add_argument("path", type=Path, metavar="PATH")
    _add_json(verify)


def _command(
    commands: argparse._SubParsersAction[_Parser], name: str, run: object, words: str
) -> argparse.ArgumentParser:
    command = commands.add_parser(name, help=words, description=words[0].upper() + words[1:] + ".")
    command.set_defaults(run=run, command=name)
    return command


def _add_logbook(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--logbook",
        type=Path,
        metavar="DIR",
        default=argparse.SUPPRESS,
        help="folder of runs and sheets (else OHMWARD_LOGBOOK, else your data folder)",
    )


def _add_operator(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--operator", default="", metavar="NAME", help="who works at the bench")


def _add_json(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def _ui(arguments: argparse.Namespace) -> int:
    return _screen(_logbook(arguments), None, _operator(arguments))


def _demo(arguments: argparse.Namespace) -> int:
    from ohmward import demo

    if not arguments.auto:
        _need_terminal("rehearse in the terminal UI, or use 'ohmward demo --auto'")
        folder = arguments.logbook or demo.scratch_logbook()
        return demo.rehearse(folder, story=arguments.story, operator="bench A", tool=TOOL)
    folder = arguments.logbook or demo.scratch_logbook()
    _talk(f"Rehearsal logbook: {folder}")
    path = demo.play_story(folder, story=arguments.story, tool=TOOL, progress=_progress())
    return _print_assessment(path, as_json=arguments.json, strict=False)


def _start(arguments: argparse.Namespace) -> int:
    from ohmward.run.start import start

    logbook = _logbook(arguments)
    path = start(
        logbook,
        arguments.sheet,
        procedure=arguments.procedure,
        limits=arguments.limits,
        meters=arguments.meters,
        operator=_operator(arguments),
        purpose=arguments.purpose,
        simulated=arguments.rehearsal,
        tool=TOOL,
    )
    print(path)
    if arguments.no_screen or not _has_terminal():
        return int(Exit.DONE)
    return _screen(logbook, path, _operator(arguments))


def _resume(arguments: argparse.Namespace) -> int:
    logbook = _logbook(arguments)
    path = _find(logbook, arguments.what)
    return _screen(logbook, path, _operator(arguments))


def _record(arguments: argparse.Namespace) -> int:
    from ohmward.run.answers import parse_answers, play

    path = _find(_logbook(arguments), arguments.what)
    rows = parse_answers(_read_text(arguments.answers), str(arguments.answers))
    with _open_live(path) as live:
        live.resume(_operator(arguments), TOOL)
        count = play(live, rows, str(arguments.answers), _progress())
    _say({"run": str(path), "recorded": count}, f"{count} rows recorded in {path}", arguments.json)
    return int(Exit.DONE)


def _new(arguments: argparse.Namespace) -> int:
    from ohmward.report.ask import ask_sheet

    _need_terminal("answer the questions in a terminal, or copy a sheet and edit it")
    try:
        tag, text = ask_sheet(input, print)
    except EOFError:
        _talk("Left before the last question; nothing was written.")
        return int(Exit.BAD_INPUT)
    path = arguments.path or Path(f"{tag}.toml")
    _write_new(path, text)
    print(path)
    return int(Exit.DONE)


def _check(arguments: argparse.Namespace) -> int:
    from ohmward.report.text import sheet_text
    from ohmward.supply import findings, load, to_json

    supply = load(arguments.sheet)
    found = findings(supply)
    data = {"sheet": to_json(supply), "findings": [finding.as_json() for finding in found]}
    _say(data, sheet_text(supply, found), arguments.json)
    return int(Exit.DONE)


def _expect(arguments: argparse.Namespace) -> int:
    from ohmward.physics import expect
    from ohmward.procedure import load_limits
    from ohmward.report.text import expectation_json, expectation_text
    from ohmward.supply import load

    supply = load(arguments.sheet)
    limits = load_limits(supply.limit_set)
    mains = _option(arguments.mains, "V", "--mains")
    ambient = _option(arguments.ambient, "°C", "--ambient")
    result = expect(supply, mains_v=mains, ambient_c=25.0 if ambient is None else ambient)
    if arguments.plot is not None:
        from ohmward.report.plots import expectation_figure, save

        save(expectation_figure(supply, result), arguments.plot)
        _talk(f"Drawn in {arguments.plot}")
    _say(expectation_json(supply, result, limits), expectation_text(supply, result, limits), arguments.json)
    return int(Exit.DONE)


def _assess(arguments: argparse.Namespace) -> int:
    path = _find(_logbook(arguments), arguments.what)
    return _print_assessment(path, as_json=arguments.json, strict=arguments.strict)


def _verify(arguments: argparse.Namespace) -> int:
    from ohmward.logbook import verify
    from ohmward.report.text import verification_json, verification_text

    result = verify(arguments.path)
    _say(verification_json(result), verification_text(result, str(arguments.path)), arguments.json)
    return int(Exit.DONE if result.intact else Exit.OUT_OF_TOLERANCE)


def _print_assessment(path: Path, *, as_json: bool, strict: bool) -> int:
    from ohmward.analysis.assessment import to_json
    from ohmward.logbook import read
    from ohmward.report.text import assessment_text
    from ohmward.run import assess_state, state

    result = assess_state(state(read(path)))
    _say(to_json(result), assessment_text(result), as_json)
    return int(Exit.OUT_OF_TOLERANCE if strict and result.failed else Exit.DONE)


def _screen(logbook: Path, path: Path | None, operator: str) -> int:
    _need_terminal("run it in a terminal; 'ohmward record' feeds answers without one")
    from ohmward.tui.app import run_app

    return run_app(logbook, run_path=path, operator=operator)


def _open_live(path: Path) -> LiveRun:
    from ohmward.logbook import open_run
    from ohmward.run import LiveRun

    return LiveRun(open_run(path))


def _find(logbook: Path, what: str) -> Path:
    from ohmward.logbook import Logbook

    return Logbook(logbook).find(what)


def _logbook(arguments: argparse.Namespace) -> Path:
    if arguments.logbook is not None:
        return Path(arguments.logbook)
    if os.environ.get("OHMWARD_LOGBOOK"):
        return Path(os.environ["OHMWARD_LOGBOOK"])
    from platformdirs import user_data_path

    return user_data_path("ohmward")


def _operator(arguments: argparse.Namespace) -> str:
    return str(arguments.operator or os.environ.get("OHMWARD_OPERATOR", "") or "bench A")


def _option(text: str | None, unit: str, name: str) -> float | None:
    from ohmward.quantity import QuantityError, parse

    if text is None:
        return None
    try:
        value = parse(text, unit)
    except QuantityError as error:
        raise InputError(
            [
                Mistake(where="command line", field=name, value=text, why=mistake.why, mend=mistake.mend)
                for mistake in error.mistakes
            ]
        ) from error
    if value.kind != "exact":
        raise InputError(
            [
                Mistake(
                    where="command line",
                    field=name,
                    value=text,
                    why="not a plain number",
                    mend="Give a value",
                )
            ]
        )
    return value.si


def _read_text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise Unreachable(f"{visible(str(path))}: cannot be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        raise InputError(
            [Mistake(where=str(path), field="", value="", why="not UTF-8 text", mend="Save it as UTF-8 CSV")]
        ) from error


def _write_new(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise InputError(
            [
                Mistake(
                    where=str(path),
                    field="",
                    value="",
                    why="the file is already there",
                    mend="Give another name",
                )
            ]
        ) from error
    except OSError as error:
        raise Unreachable(f"{visible(str(path))}: cannot be written ({error.strerror})") from error


def _has_terminal() -> bool:
    return sys.stdin.isatty() and sys.stdout.isatty()


def _need_terminal(mend: str) -> None:
    if not _has_terminal():
        raise InputError(
            [
                Mistake(
                    where="terminal",
                    field="",
                    value="",
                    why="this needs a terminal and there is none",
                    mend=mend,
                )
            ]
        )


def _progress() -> Callable[[int], None] | None:
    if not sys.stderr.isatty():
        return None

    def tell(count: int) -> None:
        sys.stderr.write(f"\r{count} rows recorded ")
        sys.stderr.flush()

    return tell


def _say(data: object, text: str, as_json: bool) -> None:
    print(json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) if as_json else text)


def _talk(text: str) -> None:
    sys.stderr.write(visible(text) + "\n")


if __name__ == "__main__":
    sys.exit(main())
