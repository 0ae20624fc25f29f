"""A value judged as the person will see it: against limit, stop and expectation, less the lead null."""

from __future__ import annotations

from decimal import Decimal

import msgspec

from ohmward.bench.meters import Meter, function_of
from ohmward.errors import OhmwardError, Refused
from ohmward.logbook.events import Judged, Noted, Reading
from ohmward.physics.expectation import Band
from ohmward.procedure.model import Item, Limit, Read
from ohmward.quantity import Value, implausible, show, show_value
from ohmward.run.aims import aim_doubt
from ohmward.run.expected import band_of
from ohmward.run.state import RunState, Standing
from ohmward.run.test_current import EARTH


class AskAgain(OhmwardError):
    """An entry outside the plausible range: to be confirmed before it is taken.

    Attributes
    ----------
    question : str
        What to ask the person; on yes, the same call again with ``confirmed=True``.
    declined : Noted or None
        What is recorded on no, so that a value that a meter gave is not lost.
    """

    def __init__(self, question: str, declined: Noted | None = None) -> None:
        self.question, self.declined = question, declined
        super().__init__(question)


SLIP = 30.0
"""How far from what is expected a typed current or ripple is asked about, as a ratio.

Less than the 1000 of a prefix left out, and more than a fault makes of it that is not asked about anyway.
"""


def plausible_range(read: Read, band: Band | None) -> tuple[float | None, float | None]:
    """Return the range outside which a typed value is asked about [unit].

    That of the procedure; of a current and a ripple no wider than what is expected allows, as there a slip of
    a prefix stays inside a range that is right for every supply.
    """
    low, high = read.plausible_low, read.plausible_high
    shifted = read.unit == "A" or read.quantity.endswith("_ripple_pp_v")
    if band is None or not shifted or band.low <= 0.0:
        return low, high
    least, most = band.low / SLIP, band.high * SLIP
    return max(least, low or 0.0), most if high is None else min(most, high)


LEFT_NOISE_V = 1.0
"""What is left in a reservoir below this may read with either sign [V]: offset and stray (no source)."""
FAR = 3.0
"""So many times its stop limit is asked about before it is taken."""
TOUCH_OHM = 0.001
"""What two touches of a probe on the same metal differ by [Ω]; common practice, no source."""
OVERLOAD = "An overload: above the range of the meter. Is that what it shows?"


def typed_doubt(state: RunState, item: Item, value: Value, meter: str = "") -> str | None:
    """Return what is asked of a typed value for what it is read of, beside its plausible range; None if not.

    An overload where it switches the supply off, what is far past a stop limit (a value of another place, as
    often as not), and what `read_doubt` asks.
    """
    if value.kind == "overload":
        return OVERLOAD if item.energised or item.stop is not None else None
    far = _far_past(item, value)
    if far is not None:
        read, of = show(value.si, value.unit), show(far, value.unit)
        return f"{read}, with a stop limit of {of}? If it is so: yes, and mains off at once."
    return read_doubt(state, item, value, meter)


def read_doubt(state: RunState, item: Item, value: Value, meter: str = "") -> str | None:
    """Return what is asked of a value, typed or read by a meter; None if nothing.

    Charge left whose sign is that of another rail, mains far from what the step brings it to, and an earth
    that reads as the leads alone.
    """
    return (
        _sign_doubt(state, item, value)
        or aim_doubt(state, item, value)
        or _leads_alone(state, item, value, meter)
    )


def _far_past(item: Item, value: Value) -> float | None:
    """Return the stop limit that a value is far past; None where it is not.

    Nothing is asked where the reading guards a person: it is recorded, and halts the run, at once.
    """
    if item.spec.severity == "danger":
        return None
    low, high = (None, None) if item.stop is None else (item.stop.low, item.stop.high)
    if high is not None and value.si > FAR * abs(high):
        return high
    return low if low is not None and value.si < -FAR * abs(low) else None


def _sign_doubt(state: RunState, item: Item, value: Value) -> str | None:
    """Return what is asked of charge left whose sign is that of another rail."""
    rails = state.supply.rails if state.supply is not None else ()
    sign = next((rail.sign for rail in rails if rail.name == item.rail), 0.0)
    read = item.read
    if read is None or read.quantity != "residual_v" or value.kind != "exact":
        return None
    if value.si * sign >= -LEFT_NOISE_V:
        return None
    is_, meant = show(value.si, value.unit), show(-value.si, value.unit)
    return f"{is_} of {_thing(read.quantity)} on {item.rail}? Did you mean {meant}?"


def _leads_alone(state: RunState, item: Item, value: Value, meter: str) -> str | None:
    """Return what is asked of an earth that is nothing beside the lead null: leads still joined read so too.

    Nothing is what neither a count of the finer of both, nor the spread of the null (k = 2), nor two touches
    of one probe tell from it, or less.
    """
    read = item.read
    entry = state.entries.get((read.subtract, "")) if read is not None and read.limit == EARTH else None
    if entry is None or not isinstance(entry.event, Reading) or not same_leads(entry.event, meter):
        return None
    null, spread = entry.event.value, entry.event.standard_deviation or 0.0
    if null.number is None or value.number is None or value.kind not in {"exact", "below"}:
        return None
    count = min(float(each.resolution or 0) for each in (null, value))
    net = value.number - null.number  # of figures as they stand: a count more is no less than a count
    if net > 0 and net >= Decimal(repr(max(0.5 * count, 2.0 * spread, TOUCH_OHM))):
        return None
    is_, joined = show_value(value), show_value(null)
    return (
        f"{is_} reads as the leads alone, joined: {joined}. "
        "Are the probes apart, one on the earth pin, one on the part?"
    )


def sure_of(
    read: Read,
    value: Value,
    *,
    confirmed: bool,
    band: Band | None = None,
    doubt: str | None = None,
    limit: Limit | None = None,
) -> bool:
    """Return whether a person had to confirm a value.

    `band` is what is expected, of a value that was typed; `doubt` is of `typed_doubt`, or `read_doubt`. A
    slip is only guessed at where what is meant then is within `limit`.

    Raises
    ------
    AskAgain
        When it is not plausible and they have not.
    """
    from ohmward.analysis.wording import band_words

    question = doubt or implausible(
        value,
        *plausible_range(read, band),
        _thing(read.quantity),
        allowed=(limit.low, limit.high) if limit is not None else (None, None),
        usual=band_words(band, read.unit) if band is not None else "",
    )
    if question is not None and not confirmed:
        raise AskAgain(question)
    return question is not None


def of_meter(question: AskAgain, item: Item, value: Value, meter: str) -> AskAgain:
    """Return a question about what a meter gave, which leaves the value in the journal also on no."""
    words = f"meter {meter}: read {show_value(value)}, not taken, to be read anew: {question.question}"
    return AskAgain(question.question, Noted(text=words, step=item.step, subject=item.subject))


def _thing(quantity: str) -> str:
    """Return a quantity's name in words: 'output_ripple_pp_v' is 'output ripple', 'mains_a' mains current."""
    if quantity == "earth_a":
        return "protective-conductor current"
    *parts, unit = quantity.split("_") if "_" in quantity else (quantity, "")
    words = [part for part in parts if part != "pp"]
    kind = {"v": "voltage", "a": "current"}.get(unit, "")
    return " ".join([*words, kind] if kind and "ripple" not in words else words)


def same_leads(null: Reading, meter: str) -> bool:
    """Return whether a lead null holds for a reading by `meter`: not where both are named and differ."""
    return not null.meter or not meter or null.meter == meter


def judgement(
    state: RunState,
    item: Item,
    value: Value,
    meter: Meter | None,
    *,
    function: str = "",
    standard_deviation: float | None = None,
    count: int = 1,
    test_a: float | None = None,
) -> Judged:
    """Judge a value of `item` against its limit and its expectation.

    A lead null read with another meter, whose leads are others, is not taken off, and the note says so.

    Parameters
    ----------
    state, item, value, meter
    function : str
        Function that it was read with; the one usual for the quantity when empty.
    standard_deviation, count : float, int
        Spread and number of the readings that `value` is the mean of.
    test_a : float, optional
        What a resistance was measured with [A], where a person told it.

    Raises
    ------
    Refused
        When the lead null that the step subtracts has not been read.
    """
    from ohmward.analysis.judgement import judge

    read = item.read
    assert read is not None
    null: Value | None = None
    null_meter: Meter | None = None
    null_spread: float | None = None
    null_count = 1
    others = ""
    if read.subtract:
        entry = state.entries.get((read.subtract, ""))
        null_item = state.by_key.get((read.subtract, ""))
        counts = null_item is not None and state.standing(null_item) is Standing.PASSED
        if entry is None or not isinstance(entry.event, Reading) or not counts:
            raise Refused(
                "no-null",
                ["the lead null has not been read, or does not hold"],
                f"Join the test leads and record step '{read.subtract}' first; it is then subtracted",
            )
        if same_leads(entry.event, meter.name if meter is not None else ""):
            null, null_spread, null_count = (
                entry.event.value,
                entry.event.standard_deviation,
                entry.event.count,
            )
            null_meter = next((m for m in state.meters if m.name == entry.event.meter), None)
        else:
            others = f"Leads not taken off: their null was read with '{entry.event.meter}'"
    judged = judge(
        value,
        limit=item.limit,
        stop=item.stop,
        band=band_of(state, item),
        null=null,
        meter=meter,
        null_meter=null_meter,
        function=function or function_of(read.quantity, read.unit),
        standard_deviation=standard_deviation,
        count=count,
        null_standard_deviation=null_spread,
        null_count=null_count,
        test_current_a=test_a,
    )
    if not others:
        return judged
    return msgspec.structs.replace(judged, note=". ".join(each for each in (judged.note, others) if each))
