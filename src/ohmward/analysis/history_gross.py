"""What is a change whatever the meter, where the accuracy of a meter is not stated.

Each reading is allowed far more than any meter on a bench is off by, and a difference the sum of both.
**Assumed** (common practice, no source), as a share of the reading and what comes on top:

- ripple 25 % and 5 mV: bandwidth, probe and the kind of meter count in it;
- insulation 50 %: testers read coarsely at the end of their range, and damp changes it;
- volts 5 % and 50 mV; ohms 5 % and 0.5 Ω: leads that were not nulled;
- amperes 30 % and 1 mA: an averaging meter on the pulses of a rectifier;
- temperatures 10 K: where and how the sensor was put on; hertz 5 % and 1 Hz;
- capacitance left 25 %, as the ripple that it comes from.

Mains, room and humidity are what a day is like, not the supply: nothing is said of them here.
"""

from __future__ import annotations

from collections.abc import Iterable

_BY_QUANTITY = {
    "insulation": (0.5, 0.0),
    "output_ripple_pp_v": (0.25, 5e-3),
    "reservoir_ripple_pp_v": (0.25, 5e-3),
    "capacitance_left": (0.25, 0.0),
}
_BY_UNIT = {"V": (0.05, 50e-3), "Ω": (0.05, 0.5), "A": (0.3, 1e-3), "°C": (0.0, 10.0), "Hz": (0.05, 1.0)}
_OF_THE_DAY = frozenset({"mains_v", "ambient_c", "humidity_pct"})


def any_meter(quantity: str, unit: str, values: Iterable[float]) -> float | None:
    """Return by how much readings may differ whatever meters took them [unit]; None where nothing is said."""
    allowed = None if quantity in _OF_THE_DAY else _BY_QUANTITY.get(quantity, _BY_UNIT.get(unit))
    if allowed is None:
        return None
    share, on_top = allowed
    return sum(share * abs(value) + on_top for value in values)
