"""An earlier run carried along in a later one: its values beside each entry, and the comparison at last."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from ohmward.analysis.history_change import Change, told, untold
from ohmward.analysis.history_facts import PastReading, PastRun
from ohmward.logbook.events import Baseline, Earlier, Opened
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.text import one_line, plural

MOST_TOLD = 3
"""Changes said in the summary; the rest is in the tables."""
_CARRIED = tuple(name for name in Earlier.__struct_fields__)


def baseline_of(run: PastRun, sheet: str, keys: Sequence[tuple[str, str]]) -> Baseline:
    """Return what a new run on `sheet` carries along of an earlier one: its readings at these addresses."""
    wanted = set(keys)
    return Baseline(
        run=run.run,
        at=run.at,
        procedure=run.procedure,
        last=run.last,
        sheet="" if run.sheet == sheet else run.sheet,
        values=tuple(
            Earlier(**{name: getattr(reading, name) for name in _CARRIED})
            for reading in run.readings
            if reading.key in wanted
        ),
    )


def earlier_run(opened: Opened) -> PastRun | None:
    """Return the run that this one is compared with, None where it carries none along."""
    kept = opened.baseline
    if kept is None:
        return None
    return PastRun(
        run=kept.run,
        tag=opened.tag,
        at=kept.at,
        procedure=kept.procedure,
        simulated=opened.simulated,
        sheet=kept.sheet or opened.sheet,
        last=kept.last,
        readings=tuple(
            PastReading(title="", **{name: getattr(value, name) for name in _CARRIED})
            for value in kept.values
        ),
    )


def baseline_for(earlier: PastRun | None, item: Item) -> PastReading | None:
    """Return what was read at an item in the earlier run, None where nothing was."""
    return None if earlier is None or item.read is None else earlier.reading(item.key)


def baseline_words(earlier: PastRun, reading: PastReading) -> str:
    """Return an earlier reading in words: value, date, meter, mains and room, and the note made then."""
    if reading.kind == "overload" or reading.net is None:
        value = "overload"
    else:
        u = 2.0 * ((reading.own**2 + reading.common**2) ** 0.5) if reading.common is not None else None
        sign = {"above": "> ", "below": "< "}.get(reading.kind, "")
        value = sign + show(reading.net, reading.unit, uncertainty=u if reading.kind == "exact" else None)
    day = (reading.at or earlier.at)[:10]
    parts = [f"{value} on {day}", one_line(f"{reading.meter} {reading.serial}")]
    if reading.mains_v is not None and reading.load_a is not None:
        parts.append(f"at {show(reading.mains_v, 'V')} mains")
    if reading.note:
        parts.append(f"“{one_line(reading.note)}”")
    return ", ".join(part for part in parts if part)


def compared(now: PastRun, earlier: PastRun) -> tuple[Change, ...]:
    """Return every reading of a run beside the one it carries along, capacitance by ripple before all."""
    from ohmward.analysis.history import history

    if not now.readings or not earlier.readings:
        return ()
    # a clock set wrong may put this run before the one that it is compared with
    at = max((now.at, earlier.at), key=lambda each: PastRun(run="", tag="", at=each).when)
    later = msgspec.structs.replace(
        now, at=at, run=now.run or "this run", repairs=(), simulated=earlier.simulated
    )
    found = history([earlier, later], baseline=earlier.run, across=True)
    return tuple(each.change for each in found.series if each.change is not None)


def comparison_words(earlier: PastRun, found: Sequence[Change]) -> Iterator[str]:
    """Yield the comparison in a few lines: how much was compared, and what has changed most."""
    if not found:
        yield f"Nothing to compare with {one_line(earlier.run)} yet: no reading was taken in both."
        return
    changed = [each for each in found if each.verdict == "changed"]
    unknown = sum(each.verdict in {"not told", "not comparable"} for each in found)
    none = "none of the others has changed" if unknown else "no reading has changed"
    verdict = f"{len(changed)} of {plural(len(found), 'reading')} changed" if changed else none
    doubt = f"; {unknown} cannot be told" if unknown else ""
    if unknown and not changed:
        verdict, doubt = f"{unknown} of {plural(len(found), 'reading')} cannot be told; {none}", ""
    since = f"Since {earlier.at[:10]} ({one_line(earlier.run)})"
    yield f"{since}: {verdict} by more than the meters allow{doubt}."
    lines = list(told(tuple(found)))
    yield from lines[:MOST_TOLD]
    if len(lines) > MOST_TOLD:
        yield f"{len(lines) - MOST_TOLD} more changes, in the tables."
    if words := untold(found):
        yield words
