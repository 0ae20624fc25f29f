"""What a step asks for in words, in volts and amperes of this supply: so that nobody works it out live.

Keyed by the ids of the steps, which are kept over the years and shared by the procedures; a step of one's
own has none. Shares and factors are those in the words of the steps: common practice, no source, where the
step names none.
"""

from __future__ import annotations

from collections.abc import Callable

from ohmward.logbook.events import Reading
from ohmward.procedure.limits import cord_left_out
from ohmward.procedure.model import Item
from ohmward.quantity import show, show_band
from ohmward.run.state import RunState
from ohmward.supply import highest_peak_v
from ohmward.supply.copper import COPPER_PER_K
from ohmward.supply.model import Fuse, Rail, Reservoir, Supply
from ohmward.supply.relations import charged_v
from ohmward.supply.resistor import RATING, load_resistor
from ohmward.taking.choosing import least_current_a

_Words = Callable[[RunState, Supply, Item], str]
FIRST = (0.2, 1.5)
"""Shares of the nominal voltage between which a first voltage is sensible."""
CLIMB = (0.1, 0.25, 0.5, 0.75, 1.0)
REFORM_STEPS = 8
_LAMPS = ((15.0, "25 W"), (50.0, "40 W"), (100.0, "60 W"), (225.0, "100 W"), (500.0, "150 to 200 W"))
"""Filament lamp by the rating [VA] up to which it is used, as the step says."""
_HOT = {True: 0.005, False: 0.03}
"""Share by which a regulated output, and another, may differ hot from cold, as the step says."""


def figures_words(state: RunState, item: Item) -> str:
    """Return what the step of `item` comes to on this supply, in lines; empty where nothing is to be said."""
    asked = _BY_STEP.get(item.spec.id)
    if state.supply is None or asked is None:
        return ""
    return asked(state, state.supply, item)


def _first_polarity(_: RunState, supply: Supply, item: Item) -> str:
    rail = _rail(supply, item)
    if rail is None:
        return ""
    low, high = (share * rail.nominal_v for share in FIRST)
    return f"{rail.name}: {show_band(low, high, 'V')}"


def _rated_mains(_: RunState, supply: Supply, __: Item) -> str:
    rated = _rated_va(supply)
    if rated is None:
        return ""
    amperes = rated / supply.mains.voltage_v
    tenth = show(0.1 * amperes, "A")
    return f"rated {show(rated, 'VA')}, {show(amperes, 'A')} at {_mains(supply)}: a tenth is {tenth}"


def _lamp(_: RunState, supply: Supply, __: Item) -> str:
    rated = _rated_va(supply)
    lamp = next((words for most, words in _LAMPS if rated is not None and rated <= most), "")
    return f"{show(rated or 0.0, 'VA')} in all: a lamp of {lamp}" if lamp else ""


def _climb(_: RunState, supply: Supply, __: Item) -> str:
    return ", ".join(show(share * supply.mains.voltage_v, "V") for share in CLIMB)


def _capacitors(_: RunState, supply: Supply, __: Item) -> str:
    words = []
    for rail in supply.rails:
        peak = highest_peak_v(supply, rail)
        if peak is not None:
            words.append(f"{rail.name}: above {show(peak, 'V')}")
    return "; ".join(words)


def _bleeders(_: RunState, supply: Supply, __: Item) -> str:
    words = [
        f"{rail.name}: {_bleeder(rail.reservoir)}" for rail in supply.rails if rail.reservoir is not None
    ]
    return f"on the sheet: {'; '.join(words)}" if words else ""


def _bleeder(reservoir: Reservoir) -> str:
    if not reservoir.bleeder_ohm:
        return "none"
    rated = "" if reservoir.bleeder_rating_w is None else f", {show(reservoir.bleeder_rating_w, 'W')}"
    return f"{show(reservoir.bleeder_ohm, 'Ω')}{rated}"


def _fuse(_: RunState, supply: Supply, __: Item) -> str:
    fuse = supply.mains.fuse
    return f"on the sheet: {_fuse_words(fuse)}" if fuse is not None else ""


def _cord(_: RunState, supply: Supply, __: Item) -> str:
    cord = supply.mains.cord
    area = None if cord is None else cord.area_mm2
    return "" if area is None else f"on the sheet: {show(area, 'mm²')}"


def _earth(state: RunState, supply: Supply, _: Item) -> str:
    """Return which earth pin the limit holds from: the one path that may be compared with it."""
    cord = supply.mains.cord
    if state.limits is None or supply.protection_class != "I":
        return ""
    if cord_left_out(state.limits, supply):
        inlet = "from the earth pin of the INLET, cord unplugged"
        return inlet if cord is not None else f"{inlet}: the sheet gives no cord, so the limit counts none"
    kind = "cord plugged in" if cord is not None and cord.detachable else "cord included"
    return f"from the earth pin of the PLUG, {kind}"


def _bond(state: RunState, supply: Supply, item: Item) -> str:
    wanted, least = item.read.test_current if item.read is not None else None, least_current_a(state, item)
    if wanted is None or least is None:
        return ""
    fuse = supply.mains.fuse
    by_fuse = wanted.least_a(None if fuse is None else fuse.rating_a)
    current = f"{show(least, 'A')} or more"
    if fuse is not None and by_fuse < least:
        current += f", as the limit asks; the fuse of {show(fuse.rating_a, 'A')} alone: {show(by_fuse, 'A')}"
    elif fuse is not None:
        current += f", for the fuse of {show(fuse.rating_a, 'A')}"
    named = (current, _highest_earth(state, supply, item), _earth(state, supply, item))
    return "; ".join(words for words in named if words)


def _loads(state: RunState, supply: Supply, _: Item) -> str:
    """Return every load point that the run asks for, as resistors to have at hand; rails alike in a line."""
    alike: dict[str, list[str]] = {}
    for rail in supply.rails:
        asked = {item.load_a for item in state.items if item.rail == rail.name and item.load_a}
        points = "; ".join(_load(rail, amps) for amps in sorted(asked | {rail.rated_current_a}))
        alike.setdefault(points, []).append(rail.name)
    lines = [f"{', '.join(names)}: {points}" for points, names in alike.items()]
    return "\n".join([*lines, RATING])


def _load_point(_: RunState, supply: Supply, item: Item) -> str:
    rail = _rail(supply, item)
    if rail is None or not item.load_a:
        return ""
    return f"{_load(rail, item.load_a)}; {RATING}"


def _rated(_: RunState, supply: Supply, __: Item) -> str:
    return "rated: " + "; ".join(f"{rail.name} {_load(rail, rail.rated_current_a)}" for rail in supply.rails)


def _rated_long(state: RunState, supply: Supply, item: Item) -> str:
    return f"{_rated(state, supply, item)}; {RATING}"


def _load(rail: Rail, current_a: float) -> str:
    """Return a load in words: its current, and the resistor that draws it."""
    found = load_resistor(rail, current_a)
    return show(current_a, "A") + (f" ({found.words})" if found is not None else "")


def _band_end(side: float) -> _Words:
    def words(_: RunState, supply: Supply, __: Item) -> str:
        mains = supply.mains
        volts, pct = (mains.low_v, mains.low_pct) if side < 0 else (mains.high_v, mains.high_pct)
        return f"{show(volts, 'V')} ({pct:+g} % of {_mains(supply)})"

    return words


def _probe_null(_: RunState, supply: Supply, __: Item) -> str:
    return "; ".join(
        f"{rail.name}: flat within {show(0.2 * target, 'V')}"
        for rail in supply.rails
        if (target := rail.targets.ripple_pp_v) is not None
    )


def _overload(_: RunState, supply: Supply, item: Item) -> str:
    rail = _rail(supply, item)
    if rail is None or rail.set_point_v is None:
        return ""
    limit = rail.regulator.current_limit_a if rail.regulator is not None else None
    limits = f", limits at {show(limit, 'A')}" if limit is not None else ""
    back = show(0.001 * abs(rail.set_point_v), "V")
    return f"{rail.name}: rated {show(rail.rated_current_a, 'A')}{limits}; back within {back}"


def _hot(state: RunState, supply: Supply, item: Item) -> str:
    rail = _rail(supply, item)
    if rail is None or item.read is None:
        return ""
    cold = _cold(state, item)
    if cold is None:
        return ""
    words = f"cold it read {show(cold, 'V')}"
    if item.read.quantity != "output_v":
        return words
    share = _HOT[rail.regulator is not None]
    return f"{words}: within {100 * share:g} % is {show_band(cold * (1 - share), cold * (1 + share), 'V')}"


def _reform_climb(_: RunState, supply: Supply, item: Item) -> str:
    rail = _rail(supply, item)
    if rail is None:
        return ""
    top = charged_v(supply, rail)
    return (
        f"{rail.name}: up to {show(top, 'V', decimals=1)}, {show(top / REFORM_STEPS, 'V', decimals=1)} a step"
    )


def _reform_settled(_: RunState, supply: Supply, item: Item) -> str:
    rail = _rail(supply, item)
    if rail is None or rail.reservoir is None:
        return ""
    microfarads, volts = 1e6 * rail.reservoir.capacitance_f, charged_v(supply, rail)
    return f"{rail.name}: below {show(0.01e-6 * microfarads * volts, 'A')} at {show(volts, 'V', decimals=1)}"


def _hot_primary(state: RunState, _: Supply, __: Item) -> str:
    cold = _net(state, "primary-resistance")
    if not cold:
        return ""
    hot = cold * (1.0 + 40.0 * COPPER_PER_K)
    return f"cold it read {show(cold, 'Ω')}; 40 K hotter it reads {show(hot, 'Ω')}"


def _hot_earth(state: RunState, supply: Supply, item: Item) -> str:
    return "; ".join(
        words for words in (_highest_earth(state, supply, item), _earth(state, supply, item)) if words
    )


def _highest_earth(state: RunState, _: Supply, __: Item) -> str:
    """Return the part whose way to earth read highest; the first of those that read alike."""
    read = {
        other.subject: entry.event.judged.net
        for other in state.items
        if other.step == "earth"
        and (entry := state.entries.get(other.key)) is not None
        and isinstance(entry.event, Reading)
        and entry.event.judged.net is not None
    }
    if not read:
        return ""
    part, highest = max(read.items(), key=lambda each: each[1])
    return f"highest so far: {part}, {show(highest, 'Ω')}"


_BY_STEP: dict[str, _Words] = {
    "cord-size": _cord,
    "fuse-value": _fuse,
    "fuse-fitted": _fuse,
    "fuse-label": _fuse,
    "capacitor-rating": _capacitors,
    "bleeder-fitted": _bleeders,
    "earth": _earth,
    "earth-bond": _bond,
    "hot-earth": _hot_earth,
    "hot-primary": _hot_primary,
    "earth-wiggle": _highest_earth,
    "limiter-ready": _lamp,
    "lamp-first": _rated_mains,
    "first-polarity": _first_polarity,
    "variac-climb": _climb,
    "load-set-up": _loads,
    "load-points": _load_point,
    "ripple": _load_point,
    "waveform": _load_point,
    "mains-together": _rated_long,
    "all-together": _rated,
    "mains-current": _rated,
    "soak-set-up": _rated_long,
    "current-limit": _overload,
    "low-mains": _band_end(-1.0),
    "high-mains": _band_end(1.0),
    "probe-null": _probe_null,
    "hot-outputs": _hot,
    "hot-mains-current": _rated,
    "reform-climb": _reform_climb,
    "reform-settled": _reform_settled,
}


def _rail(supply: Supply, item: Item) -> Rail | None:
    return next((rail for rail in supply.rails if rail.name == item.rail), None)


def _mains(supply: Supply) -> str:
    return show(supply.mains.voltage_v, "V")


def _fuse_words(fuse: Fuse) -> str:
    return " ".join(part for part in (fuse.characteristic, show(fuse.rating_a, "A"), fuse.breaking) if part)


def _rated_va(supply: Supply) -> float | None:
    """Return what all transformers are rated for [VA]; None where one is not known."""
    rated = [each.rating_va for each in supply.transformers]
    known = [each for each in rated if each is not None]
    return sum(known) if known and len(known) == len(rated) else None


def _cold(state: RunState, item: Item) -> float | None:
    """Return what this quantity of this rail read at full load and ordinary mains before the soak.

    The latest that stands; of those loaded as `item` is, all rails or this one alone, where there is one.
    """
    found = alike = None
    for other in state.items:
        if other is item:
            break
        entry = state.entries.get(other.key)
        same = other.rail == item.rail and other.read is not None and item.read is not None
        if not same or entry is None or not isinstance(entry.event, Reading) or other.kind != "sweep":
            continue
        if other.spec.left_out_with:  # taken at another mains
            continue
        assert other.read is not None and item.read is not None  # noqa: PT018 `same` says so
        if other.read.quantity == item.read.quantity and other.load_a == item.load_a:
            found = entry.event.judged.net
            alike = found if other.together == item.together else alike
    return found if alike is None else alike


def _net(state: RunState, step: str) -> float | None:
    entry = state.entries.get((step, ""))
    return entry.event.judged.net if entry is not None and isinstance(entry.event, Reading) else None
