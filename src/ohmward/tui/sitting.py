"""A sitting at the terminal: the app, run so that no error costs an entry.

An exception that nothing foresaw ends the app object, not the work: `run_app` writes the details
down, folds the run from its journal again and opens a fresh app that says so in one sentence.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.errors import Exit
from ohmward.text import visible
from ohmward.tui.app import OhmwardApp

if TYPE_CHECKING:
    from ohmward.desk.rehearsal import Rehearsal
    from ohmward.desk.who_tests import Who
    from ohmward.taking.at_hand import MetersAtHand

MOST_CRASHES = 3
"""Unforeseen errors in one sitting after which going on makes no sense."""


def run_app(
    logbook: Path,
    *,
    run_path: Path | None = None,
    rehearsal: Rehearsal | None = None,
    meters: Callable[[], MetersAtHand] | None = None,
    who: Who | None = None,
    notice: str = "",
    look_file: Path | None = None,
    worked_at: Callable[[Path], None] | None = None,
) -> int:
    """Work at the bench in the terminal until the person leaves; return the exit code.

    Parameters
    ----------
    logbook : Path
        Folder of design sheets and runs; need not be there yet.
    run_path : Path, optional
        Journal of a run to open at once.
    rehearsal : Rehearsal, optional
        Stands in for the meters; runs started here are then rehearsals.
    meters : callable, optional
        Gives the meters that one key has read; called when they are wanted first.
    who : Who, optional
        Who tests; no name is given without one.
    notice : str
        Said before anything else.
    look_file : Path, optional
        Where the look chosen last is kept, dark or light; without one it is chosen anew each time.
    worked_at : callable, optional
        Called at the end with the journal of the run that was opened last, where one was.
    """
    no_color = bool(os.environ.get("NO_COLOR"))
    for crashes in range(1, MOST_CRASHES + 1):
        app = OhmwardApp(
            logbook,
            run_path=run_path,
            rehearsal=rehearsal,
            meters=meters,
            who=who,
            no_color=no_color,
            notice=notice,
            look_file=look_file,
        )
        try:
            app.run()
        finally:
            app.let_go()
        if app.crash is None:
            if worked_at is not None and app.last_run is not None:
                worked_at(app.last_run)
            return int(Exit.DONE)
        notice = f"{app.put_down(app.crash)} Everything recorded is in its journal."
        run_path = app.last_run if crashes == 1 else None  # twice in one place: begin at the bench
    sys.stderr.write(visible(notice) + "\n")
    return int(Exit.UNREACHABLE)
