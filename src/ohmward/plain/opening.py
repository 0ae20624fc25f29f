"""Opening a run on plain lines, and the end of a sitting."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TextIO

from ohmward.desk.opening import open_again, opened, remarks
from ohmward.desk.rehearsal import Rehearsal
from ohmward.desk.trouble import write_down
from ohmward.desk.who_tests import Who, going_on_words
from ohmward.errors import Exit
from ohmward.logbook import Clock, SystemClock
from ohmward.logbook.anchors import run_name
from ohmward.plain import describe
from ohmward.plain.doing import obey
from ohmward.plain.lines import Lines
from ohmward.plain.session import Session
from ohmward.run import assess_state
from ohmward.run.state import Phase, RunState
from ohmward.taking.at_hand import MetersAtHand


def run_plain(
    logbook: Path,
    path: Path,
    *,
    meters: MetersAtHand | None = None,
    rehearsal: Rehearsal | None = None,
    who: Who | None = None,
    resumed: bool = True,
    notice: str = "",
    clock: Clock | None = None,
    into: TextIO | None = None,
    out: TextIO | None = None,
) -> int:
    """Work on a run line by line until the person leaves or the input ends; return the exit code.

    Parameters
    ----------
    logbook : Path
    path : Path
        Journal of the run.
    meters : MetersAtHand, optional
    rehearsal : Rehearsal, optional
        Stands in for what no meter of a rehearsal reads.
    who : Who, optional
        Who tests; no name is given without one.
    resumed : bool
        The run was begun in an earlier sitting.
    notice : str
        Said before anything else.
    clock : Clock, optional
    into, out : TextIO, optional
        Standard input and output when not given.

    Raises
    ------
    OhmwardError
        When the run cannot be opened.
    """
    lines = Lines(into or sys.stdin, out or sys.stdout)
    time = clock or SystemClock()
    sitting = who or Who("")
    live, who = opened(path, sitting, time, resumed=resumed)
    with live:
        name = run_name(path)
        if not live.journal.closed:
            session = Session(
                live, lines, name=name, meters=meters, rehearsal=rehearsal, now=time.now,
                trouble=lambda error: write_down(logbook, error, time.now()),
                reopen=lambda: open_again(live, who, time), resumed=resumed, who=who,
                remarks=[*notice.splitlines(), *going_on_words(who, sitting, "'who NAME'"), *remarks(live)],
            )  # fmt: skip
            good = session.hold(obey)
        else:
            good = True
        _farewell(lines, live.state, path, describe.left_lines(live.state, name, logbook))
    return int(Exit.DONE if good else Exit.UNREACHABLE)


def _farewell(lines: Lines, state: RunState, path: Path, left: Iterable[str]) -> None:
    if state.phase is Phase.CLOSED:
        lines.say("", "The run is closed. Working out what it amounts to.")
        lines.say(*describe.assessed_lines(assess_state(state, path.parent), everything=False))
    lines.say("", *left)
