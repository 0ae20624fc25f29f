"""Where the probe goes for a reading, and what flows meanwhile: one line, before anything else is read."""

from __future__ import annotations

from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.charge import discharge_wait_s, untimed_words, waits_for_no_time
from ohmward.run.state import RunState
from ohmward.supply.relations import HAZARDOUS_V, charged_v

_POINTS = {
    "output_v": "DC volts at the output terminals of {rail}",
    "output_ripple_pp_v": "ripple, peak to peak, at the output terminals of {rail}",
    "reservoir_v": "DC volts on the lead brought out from the reservoir of {rail}, not at its output",
    "reservoir_ripple_pp_v": "ripple, peak to peak, on the lead brought out from the reservoir of {rail}",
    "mains_v": "AC volts at the socket strip that feeds the unit; nothing on its outputs is read here",
    "temperature_c": "°C at the sensor of {point}",
}


def now_words(state: RunState, item: Item) -> str:
    """Return what is set and where it is read at one point of several; empty where a step has one only."""
    if item.read is None or item.kind not in {"sweep", "soak"}:
        return ""
    point = _POINTS.get(item.read.quantity, "")
    sensor = item.subject.rpartition(" @ ")[0]
    where = point.format(rail=item.rail, point=sensor)
    return "; ".join(part for part in (_load(state, item), where) if part)


def reach_words(state: RunState, item: Item) -> str:
    """Return how high the point is that is read, where touching it would hurt; empty where it would not."""
    if item.read is None or item.read.quantity not in {"reservoir_v", "reservoir_ripple_pp_v"}:
        return ""
    rail = (
        next((each for each in state.supply.rails if each.name == item.rail), None) if state.supply else None
    )
    if rail is None or state.supply is None:
        return ""
    volts = charged_v(state.supply, rail)
    stored = f"the reservoir holds up to {show(volts, 'V', decimals=0)}"
    if volts > HAZARDOUS_V:
        return f"{stored}: HAZARDOUS to touch. Clip on with mains off and the charge read, hands off after"
    return f"{stored} and gives hundreds of amperes into a slipped probe: clip on with mains off"


_CONNECTED = frozenset({"load-set-up", "probe-null", "soak-set-up", "earth-current", "waveform"})
"""Steps of a live stage for which loads, probes or adapters are connected."""
_CONNECT = (
    "connecting: x switches off first; make safe, clip on, apply mains again: what is recorded stands. "
    "Live, only a shrouded plug goes in, with the load switched off"
)
_AT_THE_SOCKET = (
    "off and on at the socket, case shut: x is not for this, it ends the live part and asks to make safe"
)


def connect_words(item: Item) -> str:
    """Return how a live step is connected up, or switched at the socket; empty where neither is asked."""
    if not item.energised:
        return ""
    return {"direct-start": _AT_THE_SOCKET}.get(item.spec.id, _CONNECT if item.spec.id in _CONNECTED else "")


def charge_words(state: RunState, item: Item) -> str:
    """Return what takes the place of a wait that cannot be computed; empty where one can."""
    if waits_for_no_time(state, item):
        return f"{untimed_words(state)} This holds when those readings do, and is asked after them"
    wait_s = discharge_wait_s(state)
    if item.spec.wait_from == "switched-off" and item.spec.wait_s is None and wait_s is not None:
        return f"computed wait: {show(wait_s, 's', decimals=0)}, and the reading after it decides"
    if item.role != "make-safe" or item.read is None:
        return ""
    if item.required:
        return "" if wait_s is not None else untimed_words(state)
    return (
        "only when the residual voltage holds on every rail; too late by then for a hot reading: leave it out"
    )


def _load(state: RunState, item: Item) -> str:
    if item.kind == "soak" and not item.together:
        return ""
    if item.together and state.supply is not None:
        rails = state.supply.rails
        if len(rails) > 1:
            return "ALL rails: " + ", ".join(
                f"{each.name} {show(each.rated_current_a, 'A')}" for each in rails
            )
        return f"load {show(rails[0].rated_current_a, 'A')}"
    if item.load_a is None:
        return ""
    return f"load {show(item.load_a, 'A')} on {item.rail}" if item.load_a else f"NO load on {item.rail}"
