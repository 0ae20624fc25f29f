"""The command line: which commands there are and what each takes."""

from __future__ import annotations

import argparse
from pathlib import Path

from ohmward.cli import bench_commands as bench
from ohmward.cli import commands as do
from ohmward.cli import history_commands as years
from ohmward.cli import report_commands as made
from ohmward.cli.commands import TOOL
from ohmward.cli.document_parsing import add_documents
from ohmward.cli.log_parsing import Common, add_log
from ohmward.cli.screen import Parser, add_logbook, ui

CAUTION = (
    "Mains voltage and charged reservoirs can kill. Work to your local code and leave to a licensed "
    "person what it reserves to one."
)


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    root = Parser(
        prog="ohmward",
        description="Staged commissioning and test log for mains-powered DC supplies. " + CAUTION,
        epilog="Exit codes: 0 done; 1 done, and something is out of tolerance or damaged; "
        "2 the input or the command line is wrong; 3 a meter or file could not be reached.",
    )
    root.add_argument("--version", action="version", version=TOOL)
    root.set_defaults(run=ui, logbook=None, operator=None, command="")
    add_logbook(root)
    subcommands = root.add_subparsers(metavar="COMMAND", parser_class=Parser)
    for add in (_add_work, _add_capture, _add_sheet, _add_results, _add_history, _add_meters):
        add(subcommands)
    common = Common(_command, add_logbook, _add_operator, _add_json)
    add_documents(subcommands, common)
    add_log(subcommands, common)
    return root


def _add_work(commands: argparse._SubParsersAction[Parser]) -> None:
    demo = _command(commands, "demo", do.demo, "rehearse the whole job on CR-07; nothing real is measured")
    how = demo.add_mutually_exclusive_group()
    how.add_argument(
        "--auto", action="store_true", help="without a person: readings, sweeps and soak by themselves"
    )
    _add_plain(how)
    _add_bench(demo)
    demo.add_argument(
        "--story", choices=("healthy", "faulty"), default="healthy", help="what the supply is like"
    )
    add_logbook(demo)
    _add_json(demo)
    simulate = _command(
        commands, "simulate", do.simulate, "run a simulated supply with SCPI meters, on loopback only"
    )
    simulate.add_argument("sheet", type=Path, metavar="SHEET")
    simulate.add_argument(
        "--speed", type=float, default=60.0, metavar="N", help="bench seconds for each real second (60)"
    )
    _add_bench(simulate)
    start = _command(commands, "start", do.start, "start a run on a design sheet")
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
    how = start.add_mutually_exclusive_group()
    how.add_argument("--no-screen", action="store_true", help="only create the run and print its path")
    _add_plain(how)
    _add_operator(start)
    add_logbook(start)
    resume = _command(commands, "resume", do.resume, "go on with a run in the terminal UI")
    resume.add_argument("what", metavar="RUN", help="path, name or tag of a run")
    _add_plain(resume)
    _add_operator(resume)
    add_logbook(resume)
    record = _command(commands, "record", do.record, "feed a CSV of answers through the gates")
    record.add_argument("what", metavar="RUN", help="path, name or tag of a run")
    record.add_argument(
        "answers", type=Path, metavar="ANSWERS.csv", help="columns: step, subject, value, meter, note"
    )
    record.add_argument(
        "--from", dest="first", type=int, default=0, metavar="LINE", help="begin at this line of the file"
    )
    _add_operator(record)
    add_logbook(record)
    _add_json(record)


def _add_capture(commands: argparse._SubParsersAction[Parser]) -> None:
    capture = _command(
        commands, "capture", bench.capture, "attach a waveform to a run, from an instrument or a CSV file"
    )
    capture.add_argument("what", metavar="RUN", help="path, name or tag of a run")
    capture.add_argument("step", metavar="STEP", help="what it is of, such as 'waveform'")
    capture.add_argument(
        "subject",
        nargs="?",
        default="",
        metavar="SUBJECT",
        help="rail and load, such as '+15 @ 100 %%' or +15",
    )
    source = capture.add_mutually_exclusive_group(required=True)
    source.add_argument("--file", type=Path, metavar="FILE.csv", help="as an oscilloscope saved it")
    source.add_argument("--meter", default="", metavar="NAME", help="take it now from this meter")
    source.add_argument(
        "--withdraw", metavar="REASON", help="take the latest one back: it stays on record, and is not used"
    )
    capture.add_argument(
        "--instead", metavar="REASON", help="it stands in place of the latest one, which was wrong: say why"
    )
    capture.add_argument("--column", metavar="C", help="of the values: heading, or place from 1")
    capture.add_argument("--time-column", metavar="C", help="of the time: heading, or place from 1")
    capture.add_argument(
        "--scale", type=float, metavar="X", help="factor of the probe, where it is not in it"
    )
    capture.add_argument(
        "--interval", metavar="S", help="time between two samples, such as '10 µs', where no column has it"
    )
    capture.add_argument("--unit", choices=("V", "A"), help="of the values (V)")
    capture.add_argument("--point", choices=("reservoir", "output"), default="", help="what the probe was on")
    _add_operator(capture)
    add_logbook(capture)
    _add_json(capture)


def _add_bench(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--fault",
        action="append",
        default=[],
        metavar="NAME[:WHERE]",
        help="a fault to put into the simulated supply, such as open-diode:24; may be given again",
    )
    parser.add_argument("--seed", type=int, metavar="N", help="draws the simulated unit and its meters")


def _add_sheet(commands: argparse._SubParsersAction[Parser]) -> None:
    new = _command(commands, "new", do.new, "ask for a design sheet and write it, commented")
    new.add_argument(
        "path", type=Path, nargs="?", metavar="SHEET", help="file to write; <tag>.toml when not given"
    )
    add_logbook(new, "put the sheet among the supplies of this logbook, under the name of its tag")
    check = _command(commands, "check", do.check, "validate a design sheet and print it as a table")
    check.add_argument("sheet", type=Path, metavar="SHEET")
    _add_json(check)
    expect = _command(commands, "expect", do.expect, "print what every reading ought to be")
    expect.add_argument("sheet", type=Path, metavar="SHEET")
    expect.add_argument("--mains", metavar="V", help="mains voltage, such as 230 or '248 V'")
    expect.add_argument("--ambient", metavar="C", help="room temperature, such as 25 or '25 °C'")
    expect.add_argument("--plot", type=Path, metavar="FILE", help="draw rails against load (SVG, PNG or PDF)")
    _add_json(expect)


def _add_results(commands: argparse._SubParsersAction[Parser]) -> None:
    assess = _command(
        commands, "assess", do.assess, "judge a run: what holds, what does not, and why it matters"
    )
    assess.add_argument("what", metavar="RUN", help="path, name or tag of a run")
    assess.add_argument(
        "--strict", action="store_true", help="exit 1 when anything fails, or a fault is likely"
    )
    assess.add_argument(
        "--budget",
        nargs="+",
        metavar=("STEP", "SUBJECT"),
        help="show instead where the uncertainty of one reading comes from, "
        "such as: --budget load-points.output '+15 @ 100 %%'",
    )
    add_logbook(assess)
    _add_json(assess)
    _add_plot(commands)


def _add_plot(commands: argparse._SubParsersAction[Parser]) -> None:
    plot = _command(commands, "plot", made.plot, "draw a picture of a run; without NAME, list them")
    plot.add_argument("what", metavar="RUN", help="path, name or tag of a run")
    plot.add_argument("name", nargs="?", default="", metavar="NAME", help="which picture, or 'all'")
    plot.add_argument(
        "-o",
        dest="out",
        type=Path,
        metavar="FILE",
        help="SVG, PNG or PDF; a PDF named after the run if left out",
    )
    plot.add_argument("--force", action="store_true", help="overwrite a file that is in the way")
    plot.add_argument(
        "--width", choices=("full", "column"), default="full", help="of an A4 page, or of one of two columns"
    )
    plot.add_argument(
        "--with", dest="other", metavar="RUN", help="compare: the earlier run; else the one before"
    )
    add_logbook(plot)
    _add_json(plot)


def _add_history(commands: argparse._SubParsersAction[Parser]) -> None:
    history = _command(
        commands, "history", years.history, "show what a supply measured over the years, and what ages"
    )
    history.add_argument("tag", nargs="?", default="", metavar="TAG", help="tag of the supply")
    history.add_argument(
        "--fleet", action="store_true", help="every supply at a glance, the worst margin first"
    )
    history.add_argument(
        "--baseline", default="", metavar="RUN", help="compare with this run; else the first good one"
    )
    history.add_argument(
        "--across", action="store_true", help="let trends go across repairs and changes of the design sheet"
    )
    history.add_argument("--rehearsals", action="store_true", help="the rehearsals instead of the real runs")
    history.add_argument(
        "--end-of-life",
        default="useful life",
        metavar="NAME",
        help="published end of a capacitor's life to go by, such as 'endurance' ('useful life')",
    )
    history.add_argument(
        "--rated-life",
        type=float,
        metavar="H",
        help="life in hours that the reservoirs' maker states: adds the 10 K rule",
    )
    compare = _command(
        commands, "compare", years.compare, "compare two runs, of one supply or of two built to one sheet"
    )
    compare.add_argument("first", metavar="RUN", help="path, name or tag of a run")
    compare.add_argument("second", metavar="RUN", help="path, name or tag of another")
    due = _command(commands, "due", years.due, "say what is to be tested again, when, and why")
    for each in (history, due):
        each.add_argument(
            "--interval", type=int, default=12, metavar="MONTHS", help="months between tests (12)"
        )
        each.add_argument("--no-index", action="store_true", help="read every journal; leave the index alone")
    for each in (history, compare, due):
        each.add_argument("--plot", type=Path, metavar="FILE", help="draw it (SVG, PNG or PDF)")
        add_logbook(each)
        _add_json(each)


def _add_meters(commands: argparse._SubParsersAction[Parser]) -> None:
    words = "list, find, check or read the meters that the logbook knows"
    meters = commands.add_parser("meters", help=words, description=words[0].upper() + words[1:] + ".")
    below = meters.add_subparsers(metavar="WHAT", parser_class=Parser, required=True)
    listed = _command(below, "list", do.meters_list, "list the meters with calibration and accuracy")
    find = _command(below, "find", do.meters_find, "ask what answers at the places named, and nowhere else")
    find.add_argument("--serial", action="store_true", help="ask at every serial port of this computer")
    find.add_argument(
        "--address", action="append", default=[], metavar="HOST:PORT", help="ask there; may be given again"
    )
    check = _command(below, "check", do.meters_check, "open each meter: identity, errors, round-trip time")
    read = _command(below, "read", do.meters_read, "take one settled reading with its uncertainty")
    read.add_argument("name", metavar="NAME", help="the meter's name in meters.toml")
    read.add_argument(
        "--function", default="", metavar="NAME", help="what to measure, such as 'ac volts'; else its first"
    )
    read.add_argument("--count", type=int, metavar="N", help="so many readings have to agree (5)")
    read.add_argument(
        "--test-voltage",
        default="",
        metavar="VOLTS",
        help="insulation tester: what it puts on the unit, '250 V'",
    )
    for each in (listed, find, check, read):
        add_logbook(each)
        _add_json(each)


def _command(
    commands: argparse._SubParsersAction[Parser], name: str, run: object, words: str
) -> argparse.ArgumentParser:
    command = commands.add_parser(name, help=words, description=words[0].upper() + words[1:] + ".")
    command.set_defaults(run=run, command=name)
    return command


def _add_plain(parser: argparse._ActionsContainer) -> None:
    parser.add_argument(
        "--plain",
        action="store_true",
        help="line by line, without a screen: for a screen reader, a serial terminal or a pipe",
    )


def _add_operator(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--operator", metavar="NAME", help="who tests (else OHMWARD_OPERATOR, else the name typed last)"
    )


def _add_json(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print the result as JSON")
