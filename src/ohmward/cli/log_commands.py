"""Commands about the logbook as a whole: what comes in, what goes out, and whether it is as it was."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.cli.commands import TOOL
from ohmward.cli.talking import logbook_of, operator_given, say, talk
from ohmward.errors import Damaged, Exit, InputError, Mistake, Unreachable
from ohmward.text import one_line, plural

if TYPE_CHECKING:
    from ohmward.report.export import Row


def verify(arguments: argparse.Namespace) -> int:
    """Check one journal, or the whole logbook."""
    from ohmward.report.logbook_text import EXPLAINED

    if arguments.all or arguments.head:
        _require_no_run(arguments, "--all" if arguments.all else "--head")
        code = _verify_all(arguments)
    elif arguments.path is not None:
        code = _verify_one(arguments)
    elif arguments.explain:
        print(EXPLAINED, end="")
        return int(Exit.DONE)
    else:
        raise InputError([_missing("PATH", "Name a run, or give --all")])
    if arguments.explain and not arguments.json:
        print(f"\n{EXPLAINED}", end="")
    return code


def _verify_one(arguments: argparse.Namespace) -> int:
    from ohmward.logbook import entry, verify
    from ohmward.logbook.signing import signatures
    from ohmward.report.logbook_text import head_json, head_text, signatures_json, signatures_text
    from ohmward.report.text import verification_json, verification_text

    path = _find(arguments, arguments.path)
    result = verify(path)
    about = entry(path)
    simulated = about.simulated
    data = {
        **verification_json(result),
        "simulated": simulated,
        "transcribed": about.transcribed,
        "anchored": result.anchored,
        "head": head_json(result.head),
    }
    text = [verification_text(result, str(path), simulated=simulated)]
    if result.head is not None:
        text.append(head_text(result.head))
    good = result.intact
    if arguments.signature:
        signed = signatures(path, _signers(arguments, path))
        data["signatures"] = signatures_json(signed)
        text.append(signatures_text(signed))
        good = good and bool(signed) and all(each.good for each in signed)
    say(data, "\n".join(text), arguments.json)
    return int(Exit.DONE if good else Exit.OUT_OF_TOLERANCE)


def _verify_all(arguments: argparse.Namespace) -> int:
    from ohmward.logbook.whole import verify_all
    from ohmward.report.logbook_text import whole_json, whole_text

    found = verify_all(logbook_of(arguments), noted=arguments.head)
    say(whole_json(found), whole_text(found), arguments.json)
    return int(Exit.DONE if found.intact else Exit.OUT_OF_TOLERANCE)


def anchor(arguments: argparse.Namespace) -> int:
    """Add closed runs that no chain names to this computer's chain."""
    from ohmward.logbook import Logbook, entry
    from ohmward.logbook.anchors import heads
    from ohmward.logbook.whole import anchor_all
    from ohmward.report.logbook_text import head_json, head_text
    from ohmward.report.rehearsal import counted

    logbook = logbook_of(arguments)
    done = anchor_all(logbook)
    ends = heads(logbook)
    lines = [*(f"anchored: {name}" for name in done), f"{plural(len(done), 'run')} anchored"]
    simulated = [name for name in done if entry(Logbook(logbook).find(name)).simulated]
    data = {"anchored": list(done), "simulated": simulated, "heads": [head_json(head) for head in ends]}
    lines += [*map(head_text, ends), *counted(len(simulated), len(done))]
    say(data, "\n".join(lines), arguments.json)
    return int(Exit.DONE)


def sign(arguments: argparse.Namespace) -> int:
    """Sign a closed run with a key of OpenSSH."""
    from ohmward.logbook import entry
    from ohmward.logbook.signing import sign
    from ohmward.report.rehearsal import counted

    path = _find(arguments, Path(arguments.what))
    place = sign(path, arguments.key)
    simulated = entry(path).simulated
    for words in counted(simulated, 1):
        talk(words)
    data = {"run": str(path), "simulated": simulated, "signature": str(place)}
    say(data, str(place), arguments.json)
    return int(Exit.DONE)


def merge(arguments: argparse.Namespace) -> int:
    """Bring the closed runs of another logbook."""
    from ohmward.logbook.merge import merge
    from ohmward.report.logbook_text import merged_json, merged_text

    found = merge(logbook_of(arguments), arguments.folder, try_only=arguments.trial)
    say(merged_json(found), merged_text(found, try_only=arguments.trial), arguments.json)
    refused = any(each.outcome == "refused" for each in found)
    return int(Exit.OUT_OF_TOLERANCE if refused else Exit.DONE)


def import_paper(arguments: argparse.Namespace) -> int:
    """Copy old results on paper into the logbook."""
    from ohmward.report.logbook_text import paper_json, paper_text
    from ohmward.run.transcribe import paper_template, transcribe

    if arguments.template:
        print(paper_template(arguments.sheet, arguments.procedure, arguments.limits), end="")
        return int(Exit.DONE)
    if arguments.paper is None:
        raise InputError([_missing("PAPER.csv", "Name the file; --template prints one to fill in")])
    by = operator_given(arguments)
    if not by:
        raise InputError([_missing("--operator", "Say who typed it: --operator NAME, or OHMWARD_OPERATOR")])
    found = transcribe(
        logbook_of(arguments),
        arguments.sheet,
        arguments.paper,
        by=by,
        source=arguments.source or arguments.paper.name,
        tool=TOOL,
        procedure=arguments.procedure,
        limits=arguments.limits,
        day=arguments.date,
        simulated=arguments.rehearsal,
        try_only=arguments.trial,
    )
    simulated = arguments.rehearsal
    text = paper_text(found, try_only=arguments.trial, simulated=simulated)
    say(paper_json(found, simulated=simulated), text, arguments.json)
    return int(Exit.DONE)


def export(arguments: argparse.Namespace) -> int:
    """Write readings as tidy rows."""
    from ohmward.logbook import entry
    from ohmward.report.export import READINGS, SERIES
    from ohmward.report.export_files import csv_text, format_of, write
    from ohmward.report.rehearsal import counted

    columns = SERIES if arguments.series else READINGS
    if arguments.columns:
        lines = [
            f"{column.name}: {column.kind}{f'; {column.says}' if column.says else ''}" for column in columns
        ]
        say(
            [{"name": c.name, "kind": c.kind, "says": c.says} for c in columns],
            "\n".join(lines),
            arguments.json,
        )
        return int(Exit.DONE)
    if arguments.out is not None:
        format_of(arguments.out)
    paths, unread = _chosen(arguments)
    rows = _rows(arguments, paths, unread)
    if arguments.out is None:
        for line in csv_text(columns, rows):
            sys.stdout.write(line.replace("\r\n", "\n"))
    else:
        count = write(arguments.out, columns, rows, replace=arguments.force)
        runs = len(paths) - len(unread)
        simulated = sum(entry(path).simulated for path in paths)
        data = {
            "file": str(arguments.out),
            "rows": count,
            "runs": runs,
            "simulated": simulated,
            "not_read": unread,
        }
        words = f"{plural(count, 'row')} of {plural(runs, 'run')} in {one_line(str(arguments.out))}"
        say(data, "\n".join([words, *counted(simulated, runs)]), arguments.json)
    for words in unread:
        talk(f"Left out: {words}")
    return int(Exit.OUT_OF_TOLERANCE if unread else Exit.DONE)


def _chosen(arguments: argparse.Namespace) -> tuple[list[Path], list[str]]:
    """Return the journals asked for, the oldest first, and in words those that cannot be read."""
    from ohmward.logbook import Logbook

    book = Logbook(logbook_of(arguments))
    entries = list(reversed(book.runs()))
    if not arguments.all:
        if arguments.what is None:
            raise InputError([_missing("RUN", "Name a run or a supply, or give --all")])
        tagged = [each for each in entries if each.tag == arguments.what]
        if not tagged:
            return [book.find(arguments.what)], []
        entries = tagged
    elif arguments.what is not None:
        raise InputError([_missing("RUN", "Give either a run or --all", why="a run, and --all")])
    return [each.path for each in entries], []


def _rows(arguments: argparse.Namespace, paths: Sequence[Path], unread: list[str]) -> Iterator[Row]:
    """Yield the rows of run after run; a damaged one is left out, and said, unless it is the only one."""
    from ohmward.report.export import reading_rows, series_rows

    for path in paths:
        try:
            if arguments.series:
                yield from series_rows(path)
            else:
                yield from reading_rows(path, checks=arguments.checks, replaced=arguments.replaced)
        except (Damaged, Unreachable) as error:
            if len(paths) == 1:
                raise
            unread.append(str(error).partition("\n")[0])


def iso_date(text: str) -> date:
    """Return a date given on the command line."""
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"'{text}' is not a date such as 2019-05-03") from error
    return day


def _find(arguments: argparse.Namespace, what: Path) -> Path:
    from ohmward.logbook import Logbook

    return what if what.exists() else Logbook(logbook_of(arguments)).find(str(what))


def _signers(arguments: argparse.Namespace, path: Path) -> Path | None:
    from ohmward.logbook.anchors import logbook_of as logbook_around
    from ohmward.logbook.signing import SIGNERS

    if arguments.signers is not None:
        if not arguments.signers.is_file():
            raise Unreachable(one_line(f"{arguments.signers}: there is no such file of signers"))
        return Path(arguments.signers)
    usual = (logbook_around(path) or logbook_of(arguments)) / SIGNERS
    return usual if usual.is_file() else None


def _require_no_run(arguments: argparse.Namespace, name: str) -> None:
    if arguments.path is not None:
        why = f"a run, and {name}, which is about the whole logbook"
        raise InputError([_missing("PATH", "Give one of the two", why=why)])


def _missing(field: str, mend: str, why: str = "missing") -> Mistake:
    return Mistake(where="command line", field=field, value="", why=why, mend=mend)


__all__ = ["anchor", "export", "import_paper", "iso_date", "merge", "sign", "verify"]
