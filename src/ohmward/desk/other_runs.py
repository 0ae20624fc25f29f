"""Before a run is begun: another of the same supply that is in hand, to be gone on with instead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ohmward.desk.asking import Chooses
from ohmward.desk.opening import looked_into
from ohmward.desk.sheet_files import runs_on, sheet_at
from ohmward.desk.words import day_words
from ohmward.errors import OhmwardError
from ohmward.logbook import RunEntry
from ohmward.run import guidance
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import RunState
from ohmward.text import one_line, plural

MOST = 5
"""Runs in hand that are offered, the latest first; the supply's page lists them all."""


@dataclass(frozen=True, slots=True)
class Begin:
    """What the person wants: a run in hand, by its journal, or a new one."""

    resume: Path | None = None


@dataclass(frozen=True, slots=True)
class InHand:
    """A run that was begun and not closed."""

    entry: RunEntry
    state: RunState | None
    """None where it cannot be read, or is too far down the list to be looked into."""

    @property
    def empty(self) -> bool:
        """Whether nothing was ever entered in it."""
        now = self.state
        return now is not None and not (now.history or now.captures or now.series or now.energised_seq >= 0)

    @property
    def words(self) -> str:
        """What it is, when it was begun, and how far it has come."""
        run = self.entry
        stands = "" if self.state is None else _stands(self.state)
        last = f", last entry {day_words(run.last_at)}" if run.last_at else ""
        return one_line(f"{run.procedure}, begun {run.date}{stands}: {plural(run.records, 'record')}{last}")


async def instead(desk: Chooses, logbook: Path, sheet: Path, *, simulated: bool) -> Begin | None:
    """Ask, where a run of the supply is in hand, whether that is gone on with; None on going back.

    Nothing is asked where none is, or the logbook cannot be read: what begins a run says why.
    """
    found = await desk.aside(lambda: in_hand(logbook, sheet, simulated=simulated))
    if not found:
        return Begin()
    shown = found[:MOST]
    options = [f"resume {run.words}" for run in shown]
    lines = [
        f"Nothing is entered in {one_line(run.entry.name)}. To be rid of it: resume it and close it (z), and "
        f"it stays as not finished; or delete its file, {one_line(run.entry.path.name)}, "
        "which no chain names yet."
        for run in shown
        if run.empty
    ]
    picked = await desk.choose(heading(found), [*options, "start another run beside it"], lines)
    if picked is None:
        return None
    return Begin(shown[picked].entry.path if picked < len(shown) else None)


def heading(found: Sequence[InHand]) -> str:
    """Return how many runs of a supply are in hand."""
    return f"{plural(len(found), 'run')} of {one_line(found[0].entry.tag)} in hand"


def in_hand(logbook: Path, sheet: Path, *, simulated: bool) -> list[InHand]:
    """Return the runs in hand of a supply, the latest first; none where the logbook cannot be read."""
    try:
        runs = runs_on(logbook, sheet_at(sheet).tag)
    except OhmwardError:
        return []
    open_runs = [run for run in runs if not run.closed and not run.problem and run.simulated is simulated]
    return [InHand(run, _state(run.path) if number < MOST else None) for number, run in enumerate(open_runs)]


def _stands(state: RunState) -> str:
    """Return at which stage a run is, and whether mains is on by its records."""
    following = guidance(state)
    at = f", at '{state.stage(following.stage).title}'" if following.stage else ""
    at = ", all of it done" if following.move == "close" else at
    return f"{at}, mains on by its records" if state.phase in MAINS_ON else at


def _state(path: Path) -> RunState | None:
    try:
        return looked_into(path)
    except OhmwardError:
        return None
