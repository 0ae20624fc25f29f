"""The command line of `document_commands`: what each of them takes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ohmward.cli import document_commands as do
from ohmward.cli.log_parsing import Common


def add_documents(commands: Any, common: Common) -> None:
    """Add report and label."""
    report = common.command(commands, "report", do.report, "print a run as PDF or HTML")
    report.add_argument("what", metavar="RUN", help="path, name or tag of a run")
    report.add_argument(
        "--form",
        choices=("full", "short", "repair"),
        default="full",
        help="all of it; one page for the binder; or a sheet for whoever mends it",
    )
    report.add_argument("--paper", choices=("a4", "letter"), help="that of the locale if left out")
    report.add_argument("--no-pictures", action="store_true", help="leave the pictures out")
    label = common.command(commands, "label", do.label, "print the label for the case as PDF or PNG")
    label.add_argument("what", metavar="RUN", help="path, name or tag of a run")
    label.add_argument(
        "--size", default="89x36", metavar="WxH", help="of the label: 89x36 in mm (default), or 4x2in"
    )
    for each, kinds in ((report, "PDF or HTML"), (label, "PDF or PNG")):
        out = f"{kinds}, by its ending; a PDF named after the run if left out"
        each.add_argument("-o", dest="out", type=Path, metavar="FILE", help=out)
        each.add_argument("--force", action="store_true", help="overwrite a file that is in the way")
        each.add_argument(
            "--due", default="", metavar="DATE", help="next test: a date, or none; else in a year"
        )
        each.add_argument(
            "--locale", default="", metavar="NAME", help="such as en_US, or a file of words; else yours"
        )
        each.add_argument(
            "--fonts", type=Path, action="append", default=[], metavar="DIR", help="a folder of more fonts"
        )
        common.logbook(each)
        common.as_json(each)
