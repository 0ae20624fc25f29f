"""Where a person can go from anywhere: supplies, their history, runs, meters. Read from the logbook."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ohmward.analysis.outcomes import outcome_said
from ohmward.errors import OhmwardError
from ohmward.logbook import Logbook, RunEntry
from ohmward.supply import load
from ohmward.text import one_line, plural

MOST_RUNS = 200
"""The latest so many runs are places to go to; older ones are reached from the bench."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place, and what it is asked for by."""

    what: str
    """``supply``, ``new-run``, ``history``, ``run``, ``assessment`` or ``meters``."""
    words: str
    help: str
    path: Path | None = None
    tag: str = ""
    why_not: str = ""


def places(folder: Path) -> list[Place]:
    """Return every place of a logbook, the latest runs first.

    Raises
    ------
    OhmwardError
        When the folder cannot be read.
    """
    logbook = Logbook(folder)
    meters = Place(what="meters", words="Go to the meters", help="inventory, calibration, live reading")
    return [meters, *_supplies(logbook), *_runs(logbook.runs()[:MOST_RUNS])]


def _supplies(logbook: Logbook) -> Iterator[Place]:
    for path in logbook.sheets():
        try:
            supply = load(path)
        except OhmwardError as error:
            name = one_line(path.stem)
            why = one_line(str(error))
            yield Place(what="supply", words=f"Supply {name}", help="", path=path, why_not=why)
            continue
        tag, about = one_line(supply.tag), one_line(supply.title)
        yield Place(what="supply", words=f"Supply {tag}", help=about, path=path, tag=supply.tag)
        yield Place(what="new-run", words=f"Start a run on {tag}", help=about, path=path, tag=supply.tag)
        yield Place(
            what="history", words=f"History of {tag}", help="its years: trends, comparison, what is due",
            path=path, tag=supply.tag,
        )  # fmt: skip


def _runs(runs: tuple[RunEntry, ...] | list[RunEntry]) -> Iterator[Place]:
    for run in runs:
        name, why = one_line(run.name), one_line(run.problem) if run.problem and not run.records else ""
        told = "a rehearsal, " if run.simulated else ""
        if not run.closed:
            far = f"{told}in hand, {plural(run.records, 'record')}"
            yield Place(what="run", words=f"Resume {name}", help=far, path=run.path, why_not=why)
        verdict = (
            f"closed: {outcome_said(run.verdict, likely=bool(run.likely_fault))}"
            if run.closed
            else "as far as it has come"
        )
        yield Place(
            what="assessment", words=f"Assessment of {name}", help=f"{told}{verdict}", path=run.path,
            why_not=why,
        )  # fmt: skip
