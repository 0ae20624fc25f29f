"""Before a run is begun: another of the same supply that is in hand, to be gone on with instead."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ohmward.desk.asking import Talks
from ohmward.desk.opening import looked_into
from ohmward.desk.sheet_files import runs_on, sheet_at
from ohmward.desk.words import day_words
from ohmward.errors import OhmwardError
from ohmward.logbook import RunEntry
from ohmward.text import one_line, plural

MOST = 5
"""Runs in hand that are offered, the latest first; the supply's page lists them all."""


@dataclass(frozen=True, slots=True)
class Begin:
    """What the person wants: a run in hand, by its journal, or a new one."""

    resume: Path | None = None


async def instead(desk: Talks, logbook: Path, sheet: Path, *, simulated: bool) -> Begin | None:
    """Ask, where a run of the supply is in hand, whether that is gone on with; None on going back.

    Nothing is asked where none is, or the logbook cannot be read: what begins a run says why.
    """
    found = await desk.aside(lambda: _in_hand(logbook, sheet, simulated=simulated))
    if not found:
        return Begin()
    shown = found[:MOST]
    options = [f"resume {_words(run)}" for run, _ in shown]
    lines = [
        f"Nothing is entered in {one_line(run.name)}. To be rid of it: resume it and close it (z), and it "
        f"stays as not finished; or delete its file, {one_line(run.path.name)}, which no chain names yet."
        for run, empty in shown
        if empty
    ]
    tag = one_line(shown[0][0].tag)
    heading = f"{plural(len(found), 'run')} of {tag} in hand"
    picked = await desk.choose(heading, [*options, "start another run beside it"], lines)
    if picked is None:
        return None
    return Begin(shown[picked][0].path if picked < len(shown) else None)


def _in_hand(logbook: Path, sheet: Path, *, simulated: bool) -> list[tuple[RunEntry, bool]]:
    """Return the runs in hand of a supply, the latest first, and whether nothing is entered in each."""
    try:
        runs = runs_on(logbook, sheet_at(sheet).tag)
    except OhmwardError:
        return []
    open_runs = [run for run in runs if not run.closed and not run.problem and run.simulated is simulated]
    return [(run, number < MOST and _is_empty(run.path)) for number, run in enumerate(open_runs)]


def _is_empty(path: Path) -> bool:
    try:
        state = looked_into(path)
    except OhmwardError:
        return False
    return not state.history and not state.captures and not state.series and state.energised_seq < 0


def _words(run: RunEntry) -> str:
    count = plural(run.records, "record")
    last = f", last entry {day_words(run.last_at)}" if run.last_at else ""
    return one_line(f"{run.procedure}, begun {run.date}: {count}{last}")
