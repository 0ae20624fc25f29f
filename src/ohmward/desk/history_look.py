"""The history of one supply, looked up: its runs by the index, what they come to, when it is due.

It reads files and computes, so it is called in a thread.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from ohmward.analysis.history import history, sheet_changes
from ohmward.analysis.history_change import Change, changes
from ohmward.analysis.history_facts import PastRun
from ohmward.analysis.history_glance import Due, due, glance
from ohmward.analysis.history_results import History
from ohmward.analysis.history_scaling import design_of
from ohmward.logbook import names
from ohmward.run.history_index import runs_of


@dataclass(frozen=True, kw_only=True)
class Compared:
    """Two runs beside each other."""

    then: PastRun
    now: PastRun
    changes: tuple[Change, ...]
    differs: tuple[str, ...]
    """Fields in which their design sheets differ."""


@dataclass(frozen=True, kw_only=True)
class HistoryLook:
    """What is known of a supply over the years."""

    found: History
    runs: tuple[PastRun, ...]
    """Those that the history is made of, by date."""
    due: Due
    others: int
    """Runs of the other sort: rehearsals beside real runs, or real runs beside rehearsals."""

    def run(self, name: str) -> PastRun | None:
        """Return a run by its name."""
        return next((each for each in self.runs if each.run == name), None)


def look_back(logbook: Path, tag: str, today: date, *, rehearsals: bool, baseline: str = "") -> HistoryLook:
    """Return the history of a supply: of its real runs, or of its rehearsals.

    Where there is only one of the two sorts, that one is taken.

    Raises
    ------
    Unreachable
        When there is no run of it, or its folder cannot be listed.
    ValueError
        When the baseline is none of its runs.
    """
    everything = runs_of(logbook, tag)
    simulated = rehearsals and any(run.simulated for run in everything)
    simulated = simulated or all(run.simulated for run in everything)
    runs = tuple(run for run in everything if run.simulated == simulated)
    found = history(runs, baseline=baseline)
    return HistoryLook(
        found=found,
        runs=tuple(sorted(runs, key=lambda run: (run.when, run.run))),
        due=due(glance(runs), today),
        others=len(everything) - len(runs),
    )


def compare(one: PastRun, other: PastRun) -> Compared:
    """Return two sound runs reading by reading, the later against the earlier."""
    then, now = sorted((one, other), key=lambda run: (run.when, run.run))
    found = changes(now, then, design_of(now.sheet), design_of(then.sheet))
    return Compared(then=then, now=now, changes=found, differs=sheet_changes(then.sheet, now.sheet))


def journal_of(logbook: Path, run: str) -> Path:
    """Return the journal of a run of a history."""
    return logbook / "runs" / f"{run}{names.JOURNAL}"
