"""The command line of `log_commands`: what each of them takes."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ohmward.cli import log_commands as do

Command = Callable[..., argparse.ArgumentParser]
Adder = Callable[[argparse.ArgumentParser], None]


@dataclass(frozen=True, slots=True)
class Common:
    """How `parsing` adds a command, and the options that many share."""

    command: Command
    logbook: Adder
    operator: Adder
    as_json: Adder


def add_log(commands: Any, common: Common) -> None:
    """Add verify, anchor, sign, merge, import and export."""
    _add_verify(commands, common)
    _add_sign(commands, common)
    _add_merge(commands, common)
    _add_import(commands, common)
    _add_export(commands, common)


def _add_verify(commands: Any, common: Common) -> None:
    verify = common.command(
        commands, "verify", do.verify, "check that a journal, or a whole logbook, is intact"
    )
    verify.add_argument("path", type=Path, nargs="?", metavar="RUN", help="journal; or name or tag of a run")
    verify.add_argument("--all", action="store_true", help="every run, and that none is missing")
    verify.add_argument(
        "--head",
        default="",
        metavar="DIGEST",
        help="with the whole logbook: a digest noted on paper must still be found (its first figures do)",
    )
    verify.add_argument("--signature", action="store_true", help="check the signatures beside it as well")
    verify.add_argument(
        "--signers",
        type=Path,
        metavar="FILE",
        help="who may sign, in OpenSSH's form (the logbook's 'signers' if left out)",
    )
    verify.add_argument("--explain", action="store_true", help="say what is proved by this, and what is not")
    common.logbook(verify)
    common.as_json(verify)
    anchor = common.command(
        commands, "anchor", do.anchor, "add closed runs that no chain names to the logbook's chain"
    )
    common.logbook(anchor)
    common.as_json(anchor)


def _add_sign(commands: Any, common: Common) -> None:
    sign = common.command(commands, "sign", do.sign, "sign a closed run with a key of OpenSSH")
    sign.add_argument("what", metavar="RUN", help="path, name or tag of a run")
    sign.add_argument(
        "--key", type=Path, required=True, metavar="FILE", help="private key, or public half of an agent's"
    )
    common.logbook(sign)
    common.as_json(sign)


def _add_merge(commands: Any, common: Common) -> None:
    merge = common.command(commands, "merge", do.merge, "bring the closed runs of another bench's logbook")
    merge.add_argument("folder", type=Path, metavar="FOLDER", help="the other logbook")
    merge.add_argument("--trial", action="store_true", help="say what would be brought, and change nothing")
    common.logbook(merge)
    common.as_json(merge)


def _add_import(commands: Any, common: Common) -> None:
    paper = common.command(commands, "import", do.import_paper, "copy old results on paper into the logbook")
    paper.add_argument("sheet", type=Path, metavar="SHEET", help="design sheet of the supply")
    paper.add_argument(
        "paper",
        type=Path,
        nargs="?",
        metavar="PAPER.csv",
        help="columns: date, step, subject, value, meter, note, operator, what",
    )
    paper.add_argument("--template", action="store_true", help="print such a file, to be filled in")
    paper.add_argument(
        "--procedure", default="retest", metavar="NAME", help="whose steps the results are of (retest)"
    )
    paper.add_argument("--limits", default="", metavar="NAME", help="limit set; the sheet's when not given")
    paper.add_argument(
        "--date", type=do.iso_date, metavar="DATE", help="of every row, where the file has no column of dates"
    )
    paper.add_argument(
        "--source", default="", metavar="TEXT", help="what it was copied from; the file's name if left out"
    )
    paper.add_argument("--rehearsal", action="store_true", help="made-up results, for an example")
    paper.add_argument("--trial", action="store_true", help="check everything, and write nothing")
    common.operator(paper)
    common.logbook(paper)
    common.as_json(paper)


def _add_export(commands: Any, common: Common) -> None:
    export = common.command(commands, "export", do.export, "write readings as rows, for other programs")
    export.add_argument(
        "what", nargs="?", metavar="RUN", help="path or name of a run; or a tag, for all of that supply"
    )
    export.add_argument("--all", action="store_true", help="every run of the logbook")
    export.add_argument(
        "-o", dest="out", type=Path, metavar="FILE", help=".csv or .parquet; printed as CSV if left out"
    )
    export.add_argument("--series", action="store_true", help="the samples of the soaks instead")
    export.add_argument("--checks", action="store_true", help="the answers to checks too")
    export.add_argument(
        "--replaced", action="store_true", help="also what was taken again or amended since, marked so"
    )
    export.add_argument("--columns", action="store_true", help="say what each column holds")
    export.add_argument("--force", action="store_true", help="replace a file that is there")
    common.logbook(export)
    common.as_json(export)
