"""The bench in the terminal: what `ohmward` alone opens, waiting for nothing that other commands need."""

from __future__ import annotations

import argparse
import gc
import shlex
from collections.abc import Sequence
from contextlib import ExitStack
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from ohmward.cli.talking import (
    logbook_of,
    need_terminal,
    switch_off_what_was_left,
    talk,
    usual_logbook,
    who_tests,
)
from ohmward.errors import Exit
from ohmward.text import visible

if TYPE_CHECKING:
    from ohmward.desk.who_tests import Who
    from ohmward.taking.at_hand import MetersAtHand


class Parser(argparse.ArgumentParser):
    """One that says in a line what is wrong."""

    def error(self, message: str) -> NoReturn:
        """Say it, and end."""
        self.exit(Exit.BAD_INPUT, f"{self.prog}: {visible(message)}. See '{self.prog} --help'\n")


def add_logbook(
    parser: argparse.ArgumentParser,
    words: str = "folder of runs and sheets (else OHMWARD_LOGBOOK, else your data folder)",
) -> None:
    """Let the logbook be named."""
    parser.add_argument(
        "--logbook",
        type=Path,
        metavar="DIR",
        default=argparse.SUPPRESS,
        help=words,
    )


def no_command(words: Sequence[str]) -> argparse.Namespace | None:
    """Return the command line where it names no command and asks for nothing else; None where it does."""
    parser = Parser(prog="ohmward", add_help=False)
    add_logbook(parser)
    parser.set_defaults(run=ui, logbook=None, operator=None, command="")
    arguments, rest = parser.parse_known_args(words)
    return None if rest else arguments


def ui(arguments: argparse.Namespace) -> int:
    """Open the bench in the terminal UI."""
    return open_screen(logbook_of(arguments), None, who_tests(arguments))


def open_screen(logbook: Path, path: Path | None, who: Who) -> int:
    """Open the terminal UI, at a run where one is given."""
    need_terminal("run it in a terminal; 'ohmward record' feeds answers without one")
    gc.disable()  # nothing that is loaded becomes garbage; the app enables it, once it is on the screen
    from ohmward.bench.leaving import install_signals
    from ohmward.desk.look import look_file
    from ohmward.tui.sitting import run_app

    left = switch_off_what_was_left(logbook)
    runs = [path] if path is not None else []
    install_signals()
    with ExitStack() as sitting:

        @cache
        def meters() -> MetersAtHand:
            from ohmward.taking.at_hand import MetersAtHand

            return sitting.enter_context(MetersAtHand(logbook))

        code = run_app(
            logbook, run_path=path, meters=meters, who=who, notice="\n".join(left),
            look_file=look_file(), worked_at=runs.append,
        )  # fmt: skip
    for line in left_lines(logbook, runs[-1] if runs else None):
        talk(line)
    return code


def left_lines(logbook: Path, path: Path | None) -> list[str]:
    """Return what is said on leaving the screen: that a run stays open, and how to go on with it."""
    if path is None or not path.exists() or _closed(path):
        return []
    return [
        f"Everything recorded is on disk; {path.parent.name}/{path.stem} stays open.",
        f"To go on with this run: {resume_command(logbook, path)}",
    ]


def resume_command(logbook: Path, path: Path, *, plain: bool = False) -> str:
    """Return the command line that goes on with a run."""
    elsewhere = [] if logbook == usual_logbook() else ["--logbook", str(logbook)]
    words = ["ohmward", *elsewhere, "resume", f"{path.parent.name}/{path.stem}"]
    return shlex.join([*words, "--plain"] if plain else words)


def _closed(path: Path) -> bool:
    from ohmward.logbook import read
    from ohmward.logbook.events import Closed

    return any(isinstance(record.event, Closed) for record in read(path))
