"""A reading in words: with the figures that it bears, and less the test leads where they are taken off."""

from __future__ import annotations

from decimal import Decimal

from ohmward.bench.settled import Settled
from ohmward.logbook.events import Reading
from ohmward.physics.expectation import ALL_HOT, Band, Expectation
from ohmward.procedure.model import Item
from ohmward.quantity import Value, show, show_borne
from ohmward.report.text import band_text
from ohmward.run.judging import same_leads
from ohmward.run.state import RunState
from ohmward.text import one_line


def value_text(value: Value, uncertainty: float | None = None) -> str:
    """Return a taken value as it is read back: with its sign of a bound, in engineering form.

    What a person typed keeps its figures. What a meter sent is shown to no more than the second figure of
    its `uncertainty` [unit]: what a reply holds beyond that is the format's, not the meter's.
    """
    if value.kind == "overload" or value.number is None:
        return "OL"
    bound = {"above": "> ", "below": "< "}.get(value.kind, "")
    return bound + show_borne(value.si, value.unit, step=value.resolution, uncertainty=uncertainty)


def reading_text(event: Reading) -> str:
    """Return what was read, before anything is taken off."""
    return value_text(event.value, event.judged.uncertainty if event.replies else None)


def judged_text(event: Reading, item: Item) -> str:
    """Return what was judged: less the test leads where they are taken off, else as it was read."""
    less = _less_leads(event, item)
    return reading_text(event) if less is None else less[0]


def leads_words(event: Reading, item: Item) -> str:
    """Return how what was judged came about; empty where nothing was taken off."""
    less = _less_leads(event, item)
    return "" if less is None else f"Read {reading_text(event)}, less {less[1]} of the test leads."


def leads_taken_off(state: RunState, item: Item, meter: str = "") -> str:
    """Return whether the tool takes the test leads off, and how much; empty where leads do not count."""
    read = item.read
    if read is None or read.unit != "Ω" or read.quantity != "resistance":
        return ""
    if not read.subtract:
        low = read.meter == "low-ohm" and item.limit is not None and item.step != "lead-null"
        return "leads: nothing is taken off; four wires, or a meter that is nulled" if low else ""
    entry = state.entries.get((read.subtract, ""))
    if entry is None or not isinstance(entry.event, Reading):
        return "leads: taken off by the tool, once their null is read; enter what the meter shows"
    if not same_leads(entry.event, meter):
        return f"leads: nothing is taken off; their null was read with '{one_line(entry.event.meter)}'"
    null = reading_text(entry.event)
    return f"leads: {null} is taken off by the tool; enter what the meter shows, not nulled by hand"


def measured_text(found: Settled) -> str:
    """Return what a meter gave and is not yet taken."""
    return value_text(found.value, found.half_width)


def less_leads(state: RunState, item: Item, value: float | None, meter: str = "") -> float | None:
    """Return what is typed [unit] less the lead null on record, as it will be judged; itself without one."""
    read = item.read
    entry = state.entries.get((read.subtract, "")) if read is not None and read.subtract else None
    if value is None or entry is None or not isinstance(entry.event, Reading):
        return value
    if not same_leads(entry.event, meter):
        return value
    null = entry.event.value
    return value - null.si if null.kind == "exact" and null.number is not None else value


def _less_leads(event: Reading, item: Item) -> tuple[str, str] | None:
    """Return net value and leads in words; None where nothing was taken off, or of a bound."""
    net, value = event.judged.net, event.value
    taken_off = item.read is not None and bool(item.read.subtract)
    if not taken_off or net is None or value.kind != "exact" or value.number is None:
        return None
    wide = event.judged.uncertainty if event.replies else None
    leads = value.si - net
    if not leads:
        return None
    step = _finer(value.resolution, leads)
    net_words, leads_words = (
        show_borne(number, value.unit, step=step, uncertainty=wide) for number in (net, leads)
    )
    return net_words, leads_words


def _finer(step: Decimal | None, leads: float) -> Decimal | None:
    """Return the last place of a reading or of the leads taken off it, whichever is finer.

    0.3 Ω less 0.26 Ω is 0.04 Ω, and not 0.0 Ω. The leads were typed or shown to five figures at most.
    """
    if step is None or leads == 0.0:
        return step
    typed = Decimal(f"{leads:.5g}").normalize()
    own = Decimal(1).scaleb(int(typed.as_tuple().exponent))
    return min(step, own)


_WHOLE = frozenset({"mains_a", "input_va"})
"""What is expected of the whole unit is of all rails together."""
SEEN = 0.005
"""What a band goes beyond its limit by less of its width than this is not seen in its figures."""


def expected_words(expectation: Expectation | None, band: Band, item: Item) -> str:
    """Return a band in words: of all rails together for which state and mains it is, and what fails of it."""
    assert item.read is not None  # a band is of a reading
    words = band_text(band, item.read.unit)
    whole = item.together or item.read.expect in _WHOLE
    if whole and expectation is not None and expectation.all_hot_words:
        words += f", {ALL_HOT}, at {show(expectation.mains_v, 'V')} mains"
    return words + beyond_limit_words(band, item)


def beyond_limit_words(band: Band, item: Item) -> str:
    """Return that some of what is expected lies beyond the limit, where it does: the limit decides."""
    limit = item.limit
    if limit is None or item.read is None:
        return ""
    ends, seen = [], SEEN * (band.high - band.low)
    if limit.low is not None and band.low < limit.low - seen:
        ends.append(f"below {show(limit.low, item.read.unit)}")
    if limit.high is not None and band.high > limit.high + seen:
        ends.append(f"above {show(limit.high, item.read.unit)}")
    return f"; {' or '.join(ends)} it fails its limit, expected or not" if ends else ""
