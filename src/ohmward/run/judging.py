"""A value judged as the person will see it: against limit, stop and expectation, less the lead null."""

from __future__ import annotations

from ohmward.bench.meters import Meter, function_of
from ohmward.errors import OhmwardError, Refused
from ohmward.logbook.events import Judged, Reading
from ohmward.procedure.model import Item, Read
from ohmward.quantity import Value, implausible
from ohmward.run.expected import band_of
from ohmward.run.state import RunState, Standing


class AskAgain(OhmwardError):
    """An entry outside the plausible range: to be confirmed before it is taken.

    Attributes
    ----------
    question : str
        What to ask the person; on yes, the same call again with ``confirmed=True``.
    """

    def __init__(self, question: str) -> None:
        self.question = question
        super().__init__(question)


def sure_of(read: Read, value: Value, *, confirmed: bool) -> bool:
    """Return whether a person had to confirm a value.

    Raises
    ------
    AskAgain
        When it is not plausible and they have not.
    """
    question = implausible(value, read.plausible_low, read.plausible_high, _thing(read.quantity))
    if question is not None and not confirmed:
        raise AskAgain(question)
    return question is not None


def _thing(quantity: str) -> str:
    """Return a quantity's name in words: 'output_ripple_pp_v' is 'output ripple'."""
    parts = [
        part for part in quantity.split("_") if part not in {"v", "a", "ohm", "c", "pct", "w", "hz", "pp"}
    ]
    return " ".join(parts)


def judgement(
    state: RunState,
    item: Item,
    value: Value,
    meter: Meter | None,
    *,
    function: str = "",
    standard_deviation: float | None = None,
    count: int = 1,
) -> Judged:
    """Judge a value of `item` against its limit and its expectation.

    Parameters
    ----------
    state, item, value, meter
    function : str
        Function that it was read with; the one usual for the quantity when empty.
    standard_deviation, count : float, int
        Spread and number of the readings that `value` is the mean of.

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
        null, null_spread, null_count = entry.event.value, entry.event.standard_deviation, entry.event.count
        null_meter = next((m for m in state.meters if m.name == entry.event.meter), None)
    return judge(
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
    )
