"""What a rehearsal put in, and whether its assessment names it: what no reading shows is said, not hidden."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ohmward.analysis.cause_words import percent
from ohmward.analysis.rows import Assessment
from ohmward.bench.simulated.specimen import FaultAt
from ohmward.logbook import read
from ohmward.physics.faults import fault, subjects
from ohmward.run.assess import assessed
from ohmward.run.state import RunState, state
from ohmward.supply.model import Supply


def told(path: Path, faults: Sequence[FaultAt], supply: Supply) -> tuple[str, ...]:
    """Return a line on each fault that was put in: its size, and where among the causes it stands.

    Parameters
    ----------
    path : Path
        Journal of the rehearsal.
    faults : sequence
        ``(name, subject)``; subject None is the first that it can sit in.
    supply : Supply
        Sheet of the unit.
    """
    if not faults:
        return ()
    found = state(read(path))
    result = assessed(found, path.parent)[0]
    return tuple(_line(name, subject or subjects(name, supply)[0], result, found) for name, subject in faults)


def _line(name: str, subject: str, result: Assessment, found: RunState) -> str:
    entry = fault(name)
    # what size it has is said where it is one: '0.05 Ω in the output lead'
    size = f", {entry.size:g} {entry.size_is}" if entry.size_is else ""
    head = f"Put in: {entry.title}{f' ({subject})' if subject else ''}{size}."
    for place, cause in enumerate(result.causes, 1):
        if cause.names(name, subject):
            where = "first" if place == 1 else f"in place {place}"
            return f"{head} The assessment names it {where} ({percent(cause.probability)})."
    if result.failed:
        return f"{head} What failed stands in the assessment; it is not among the causes of that."
    if (likely := result.likely_fault) is not None:
        return f"{head} The assessment names another: {likely.title} ({percent(likely.probability)})."
    return f"{head} The assessment does not name it: {_not_named(name, subject, found)}"


def _not_named(name: str, subject: str, found: RunState) -> str:
    from ohmward.analysis.diagnose import diagnose_run
    from ohmward.run.assess import facts_of

    if any(item.required and item.key not in found.entries for item in found.items):
        return "the run ended before the readings that could tell it."
    weighed = diagnose_run(facts_of(found))
    causes = weighed.causes if weighed is not None else ()
    healthy = sum(cause.probability for cause in causes if cause.fault == "healthy")
    own = sum(cause.probability for cause in causes if cause.names(name, subject))
    return (
        f"every reading is within its limit, and all together they make it {percent(own)} likely, and no "
        f"fault {percent(healthy)}: meters and mains leave more open than it moves them."
    )
