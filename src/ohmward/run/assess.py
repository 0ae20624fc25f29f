"""From a run's state to the facts that `analysis` assesses."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from ohmward.logbook.dates import copied_words
from ohmward.logbook.events import Answered, Closed, Reading, Skipped
from ohmward.procedure.limits import cord_left_out
from ohmward.run.earth_shown import conditions_of_earth
from ohmward.run.expected import expectation
from ohmward.run.fed import fed_files
from ohmward.run.insulation import test_voltage
from ohmward.run.state import Key, Phase, RunState, Standing
from ohmward.run.timers import after_words, untimed_words

if TYPE_CHECKING:
    from ohmward.analysis._results import Cause
    from ohmward.analysis.assessment import Weighed
    from ohmward.analysis.facts import CapturedWave, RunFacts
    from ohmward.analysis.rows import Assessment
    from ohmward.run.capturing import Kept


def assess_run(path: Path) -> Assessment:
    """Return the assessment of a run by its journal, with the waveforms beside it.

    Raises
    ------
    Unreachable, Damaged
        When the journal cannot be read, or is not as the tool wrote it.
    """
    from ohmward.logbook import read
    from ohmward.run.state import state

    return assess_state(state(read(path)), path.parent)


def assess_state(state: RunState, folder: Path | None = None) -> Assessment:
    """Return the assessment of a run as far as it has come.

    Parameters
    ----------
    state : RunState
    folder : Path, optional
        Where its journal is, and its waveforms beside it; without it no waveform is looked at.

    Raises
    ------
    ValueError
        When the state has no first record.
    """
    return assessed(state, folder)[0]


def closing(found: Assessment, records: int) -> Closed:
    """Return the last record of a run: its assessment in brief, behind so many records."""
    likely = found.likely_fault
    return Closed(
        verdict=found.verdict,
        summary=tuple(found.summary),
        records=records,
        likely_fault="" if likely is None else likely.title,
    )


def causes_of(state: RunState, folder: Path | None = None) -> tuple[Cause, ...]:
    """Return what is most likely wrong by all that stands in a run, the likeliest first.

    What `assess_state` says of causes, without the rest of it; empty where nothing asks for one.
    """
    from ohmward.analysis.assessment import causes

    return causes(facts_of(state, folder))


def assessed(state: RunState, folder: Path | None = None) -> tuple[Assessment, RunFacts]:
    """Return the assessment as `assess_state` does, and the facts that it rests on."""
    found, facts = assessed_alone(state, folder)
    result = with_comparison(state, found)
    copied = copied_words(state.opened) if state.opened is not None else ""
    summary = (copied, *result.summary) if copied else result.summary
    return msgspec.structs.replace(result, summary=summary), facts


def assessed_alone(
    state: RunState,
    folder: Path | None = None,
    weigh: Callable[[RunFacts], Callable[[], Weighed]] | None = None,
) -> tuple[Assessment, RunFacts]:
    """Return the assessment of a run with nothing compared, and the facts that it rests on; `weigh` as there.

    It takes seconds, and a screen, a document, its pictures and a label want it of the same run: the latest
    are kept, for states that are equal and waveforms that are on the disk as they were recorded.
    """
    from ohmward.analysis.assessment import assess

    facts = facts_of(state, folder)
    waves = tuple(each.file for each in facts.captures), facts.capture_problems
    for known, seen, found in list(_recent):
        if seen == waves and known == state:
            return found
    found = assess(facts, weigh=weigh), facts
    _recent.appendleft((state, waves, found))
    return found


_Seen = tuple[tuple[str, ...], tuple[str, ...]]
"""Files of the waveforms that were read back as they were recorded, and what the others have."""
_recent: deque[tuple[RunState, _Seen, tuple[Assessment, RunFacts]]] = deque(maxlen=4)


def with_comparison(state: RunState, result: Assessment) -> Assessment:
    """Return an assessment with the comparison with the run carried along, and what a repair asks for."""
    from ohmward.analysis.history_baseline import compared, comparison_words, earlier_run
    from ohmward.run.history import past_of_state

    earlier = earlier_run(state.opened) if state.opened is not None else None
    words = [REPAIRED] if state.repairs and state.procedure and state.procedure.name == "retest" else []
    if earlier is None:
        return msgspec.structs.replace(result, summary=(*result.summary, *words)) if words else result
    found = compared(past_of_state(state), earlier)
    words += comparison_words(earlier, found)
    return msgspec.structs.replace(result, comparison=found, summary=(*result.summary, *words))


REPAIRED = (
    "It was mended during a retest, which looks at the outside only: 'after-repair' is the procedure that "
    "follows from a repair."
)


def facts_of(state: RunState, folder: Path | None = None) -> RunFacts:
    """Return the facts of a run: items with what stands at each; its waveforms where `folder` has them."""
    from ohmward.analysis.facts import Entered, RunFacts
    from ohmward.run.capturing import Waveforms, waveforms
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
            early=_early(state, key, entry.event),
            untimed=untimed_words(state, state.by_key[key], entry),
            amended=entry.amended,
        )
        for key, entry in state.entries.items()
    }
    waves = Waveforms() if folder is None or not state.captures else waveforms(state, folder)
    return RunFacts(
        run=state.opened.run,
        tag=state.opened.tag,
        simulated=state.opened.simulated,
        supply=state.supply,
        items=state.items,
        entries=entries,
        expectation=expectation(state),
        cord_left_out=state.limits is not None and cord_left_out(state.limits, state.supply),
        halted=state.phase in {Phase.HALTED, Phase.OFF},
        overdue_meters=_overdue(state),
        earth_unsettled=conditions_of_earth(state),
        superseded=state.superseded,
        repairs=tuple((at, event.what) for at, event in state.repairs),
        notes=tuple((at, note.step, note.subject, note.text) for at, note in state.notes),
        series=sampled(state),
        captures=tuple(_wave(state, kept) for kept in waves.kept),
        capture_problems=waves.problems,
        captured=frozenset(
            item.key for item in state.items if item.is_waveform and state.standing(item) is Standing.PASSED
        ),
        test_v=_test_voltages(state),
        fed=fed_files(state),
        violations=tuple(words for _, words in state.violations),
    )


def _early(state: RunState, key: Key, event: Answered | Reading | Skipped) -> str:
    return "" if isinstance(event, Skipped) else after_words(state, state.by_key[key], event)


def _wave(state: RunState, kept: Kept) -> CapturedWave:
    from ohmward.analysis.facts import CapturedWave

    event, item = kept.event, kept.item
    return CapturedWave(
        step=event.step,
        subject=event.subject,
        rail=item.rail,
        point=event.point,
        load_a=item.load_a,
        samples=kept.samples,
        interval_s=event.interval_s,
        unit=event.unit,
        source=event.source,
        file=event.file,
        at=kept.taken.at,
        stale=kept.taken.seq < state.stale_before(item),
    )


def _test_voltages(state: RunState) -> dict[tuple[str, str], float]:
    """Return what insulation was tested at; in older logs, which do not say it, what the run tests at."""
    found = {}
    for key, entry in state.entries.items():
        if isinstance(entry.event, Reading):
            volts = entry.event.test_v or test_voltage(state, state.by_key[key])
            if volts is not None:
                found[key] = volts
    return found


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
