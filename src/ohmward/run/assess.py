"""From a run's state to the facts that `analysis` assesses."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from ohmward.logbook.events import Reading
from ohmward.run.expected import expectation
from ohmward.run.state import Phase, RunState, Standing

if TYPE_CHECKING:
    from ohmward.analysis.facts import RunFacts
    from ohmward.analysis.rows import Assessment


def assess_state(state: RunState) -> Assessment:
    """Return the assessment of a run as far as it has come.

    Raises
    ------
    ValueError
        When the state has no first record.
    """
    from ohmward.analysis.assessment import assess

    return assess(facts_of(state))


def facts_of(state: RunState) -> RunFacts:
    """Return the facts of a run: items with what stands at each of them."""
    from ohmward.analysis.facts import Entered, RunFacts
    from ohmward.run.sampled import sampled

    if state.opened is None or state.supply is None:
        raise ValueError("a run without its first record cannot be assessed")
    entries = {
        key: Entered(
            event=entry.event,
            seq=entry.seq,
            at=entry.at,
            stale=state.standing(state.by_key[key]) is Standing.STALE,
            override=entry.override.reason if entry.override else "",
            amended=entry.amended,
        )
        for key, entry in state.entries.items()
    }
    return RunFacts(
        run=state.opened.run,
        tag=state.opened.tag,
        simulated=state.opened.simulated,
        supply=state.supply,
        items=state.items,
        entries=entries,
        expectation=expectation(state),
        halted=state.phase in {Phase.HALTED, Phase.OFF},
        overdue_meters=_overdue(state),
        superseded=state.superseded,
        repairs=tuple((at, event.what) for at, event in state.repairs),
        notes=tuple((at, note.step, note.subject, note.text) for at, note in state.notes),
        series=sampled(state),
        violations=tuple(words for _, words in state.violations),
    )


def _overdue(state: RunState) -> tuple[str, ...]:
    """Return the meters used after their calibration had run out."""
    used = {
        (entry.event.meter, date.fromisoformat(entry.at[:10]))
        for entry in state.entries.values()
        if isinstance(entry.event, Reading) and entry.event.meter
    }
    return tuple(
        sorted(
            meter.name for meter in state.meters if any(n == meter.name and meter.overdue(d) for n, d in used)
        )
    )
