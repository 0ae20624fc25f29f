"""What a new run takes over from the earlier ones of its supply: parts, and values to compare with.

Read from the journals themselves, never from the index.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ohmward.analysis.history import baseline_run, sheet_changes
from ohmward.analysis.history_baseline import baseline_of
from ohmward.logbook import names
from ohmward.logbook.events import Baseline
from ohmward.procedure import LimitSet, Procedure, expand
from ohmward.run.history_index import runs_of
from ohmward.supply.model import Supply

FRESH = frozenset({"commissioning"})
"""Procedures that set a baseline and take none over."""


@dataclass(frozen=True, kw_only=True)
class Carried:
    """What is known already."""

    parts: tuple[str, ...] = ()
    """Accessible metal parts: those of the sheet, and those named in the last run; empty for the sheet's."""
    baseline: Baseline | None = None


def carried(
    logbook: Path, sheet: str, supply: Supply, *, procedure: Procedure, limits: LimitSet, simulated: bool
) -> Carried:
    """Return what a run on `sheet` takes over; nothing where there is no earlier run of the same kind.

    A rehearsal takes over from rehearsals, a real run from real ones. A changed design leaves no value to
    compare with, whatever the parts are called.
    """
    if procedure.name in FRESH or not (logbook / "runs" / names.safe(supply.tag)).is_dir():
        return Carried()
    every = runs_of(logbook, supply.tag, use_index=False)
    runs = [run for run in every if run.tag == supply.tag and run.simulated is simulated and not run.problem]
    if not runs:
        return Carried()
    last = max(runs, key=lambda run: (run.when, run.run))
    parts = tuple(dict.fromkeys((*supply.parts, *last.parts)))
    found = None if sheet_changes(last.sheet, sheet) else baseline_run(runs)
    named = parts if parts != supply.parts else ()
    if found is None:
        return Carried(parts=named)
    keys = [item.key for item in expand(procedure, supply, limits, parts)]
    return Carried(parts=named, baseline=baseline_of(found, sheet, keys))
