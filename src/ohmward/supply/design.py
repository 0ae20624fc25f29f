"""Findings on the design itself: what a sheet gives away before anything is built or plugged in."""

from __future__ import annotations

from collections.abc import Iterator

from ohmward.quantity import show
from ohmward.supply.design_mains import fuse_rating_findings, mains_findings, transformer_findings
from ohmward.supply.finding import Finding, Severity
from ohmward.supply.model import Rail, Reservoir, Supply, Targets
from ohmward.supply.relations import (
    HAZARDOUS_V,
    SAFE_V,
    charged_v,
    discharge_seconds,
    high_mains_v,
    highest_peak_v,
    regulation_pct,
    reverse_v,
)
from ohmward.supply.writing import fuse_words

SURGE = 1.15
"""Surge voltage of an electrolytic over its rated voltage, IEC 60384-4 (from memory)."""
NEAR = 0.95
"""Share of a rating from which the margin is called small (common practice, no source)."""
REVERSE_MARGIN = 1.5
"""Reverse rating over reverse voltage: room for mains spikes (common practice; twice is better)."""
INSIDE_S = 10.0
"""Within which parts that an operator may reach are safe after switch-off, IEC 61010-1 (second hand)."""
LONG_S = 60.0
"""From which a person loses patience with a discharge (common practice, no source)."""
WARM_W = 2.0
"""From which a bleeder wants a large part and air around it (common practice, no source)."""
HALF = 0.5
"""Share of its rating that a resistor which is always on may burn (common practice, no source)."""
BESIDE, AWAY = 0.05, 0.15
"""How far a set point may be from the rail's nominal voltage, as a share, before it is told, and before it is
a fault: the limit that halts a run lies as far above it (common practice, no source)."""
_PEAK = "√2 × no-load secondary voltage at high mains, diode drops left out"


def findings(supply: Supply) -> tuple[Finding, ...]:
    """Return every finding on a design, in the order of the sheet."""
    return (
        *mains_findings(supply),
        *(
            found
            for transformer in supply.transformers
            for found in transformer_findings(supply, transformer)
        ),
        *_windings(supply),
        *(found for rail in supply.rails for found in _rail(supply, rail)),
    )


def _windings(supply: Supply) -> Iterator[Finding]:
    """Yield what is to be said of who is fed by which winding."""
    for transformer in supply.transformers:
        for secondary in transformer.secondaries:
            source = f"{transformer.name}.{secondary.name}"
            place = f"transformer[{transformer.name}].secondaries[{secondary.name}]"
            fed = [rail for rail in supply.rails if source in rail.sources]
            if not fed:
                text = f"{source} feeds no rail: insulate its ends, or name it as the source of one"
                yield Finding(field=place, severity="improvement", text=text, basis="read off the sheet")
            bridged = [rail for rail in fed if rail.rectifier is not None and rail.rectifier.kind == "bridge"]
            if not secondary.centre_tapped and len({rail.sign for rail in bridged}) > 1:
                names = " and ".join(rail.name for rail in bridged)
                yield Finding(
                    field=place,
                    severity="fault",
                    text=f"{names} have a bridge each on {source}, which has no tap: where their outputs "
                    "share a 0 V, two diodes short it in each half-wave. Feed one from another winding",
                    basis="0 V is the negative end of a positive bridge, the positive end of a negative one",
                )


def _rail(supply: Supply, rail: Rail) -> Iterator[Finding]:
    peak = highest_peak_v(supply, rail)
    if rail.rectifier is not None:
        yield from _rectifier(supply, rail)
    if rail.reservoir is not None:
        if peak is not None:
            yield from _reservoir_rating(supply, rail, rail.reservoir, peak)
        yield from _bleeder(supply, rail, rail.reservoir, peak or abs(rail.nominal_v))
    if rail.regulator is not None:
        yield from _regulator(supply, rail, peak)
    if rail.fuse is not None:
        yield from fuse_rating_findings(rail.fuse, f"rail[{rail.name}].fuse")
        yield from _fuse(rail)
    if rail.targets == Targets():
        text = (
            "no targets on the sheet: its regulation, ripple and tolerance have no limit to be judged against"
        )
        yield _found(rail, "targets", "improvement", text, "a limit is stated before it is measured")


def _found(rail: Rail, key: str, severity: Severity, text: str, basis: str) -> Finding:
    return Finding(
        field=f"rail[{rail.name}].{key}", severity=severity, text=f"{rail.name}: {text}", basis=basis
    )


def _volts(value: float) -> str:
    return show(value, "V", decimals=1)


def _at(supply: Supply) -> str:
    return f"at {show(high_mains_v(supply), 'V')} mains"


def _peak_basis(supply: Supply, rail: Rail) -> str:
    percent, assumed = regulation_pct(supply, *supply.secondary(rail.sources[0]))
    return f"{_PEAK}; regulation taken as {show(percent, '%')}" if assumed else _PEAK


def _reservoir_rating(supply: Supply, rail: Rail, reservoir: Reservoir, peak: float) -> Iterator[Finding]:
    rating = reservoir.voltage_rating_v
    if rating is None or peak <= NEAR * rating:
        return
    if peak > SURGE * rating:
        severity: Severity = "danger"
    else:
        severity = "fault" if peak > rating else "improvement"
    text = f"reservoir rated {show(rating, 'V')} will see {_volts(peak)} {_at(supply)}"
    yield _found(rail, "reservoir.voltage_rating", severity, text, _peak_basis(supply, rail))


def _rectifier(supply: Supply, rail: Rail) -> Iterator[Finding]:
    rectifier, reverse = rail.rectifier, reverse_v(supply, rail)
    assert rectifier is not None
    rating = rectifier.reverse_rating_v
    if rating is not None and reverse is not None and rating < REVERSE_MARGIN * reverse:
        yield _found(
            rail,
            "rectifier.reverse_rating",
            "fault" if rating < reverse else "improvement",
            f"diodes rated {show(rating, 'V')} will block {_volts(reverse)} {_at(supply)}",
            f"the peak in a bridge, else twice it, and 1.5 × for spikes; {_peak_basis(supply, rail)}",
        )
    if rectifier.current_rating_a is not None and rectifier.current_rating_a < rail.rated_current_a:
        rated, asked = show(rectifier.current_rating_a, "A"), show(rail.rated_current_a, "A")
        text = f"rectifier rated {rated} has to carry {asked}"
        yield _found(
            rail, "rectifier.current_rating", "fault", text, "a rectifier is rated by its mean current"
        )


def _bleeder(supply: Supply, rail: Rail, reservoir: Reservoir, peak: float) -> Iterator[Finding]:
    if reservoir.bleeder_ohm is None:
        yield _found(
            rail,
            "reservoir.bleeder",
            "fault" if peak > HAZARDOUS_V else "improvement",
            f"no bleeder on the sheet: the reservoir may hold {_volts(peak)} for hours",
            "above 60 V d.c. hazardous live, IEC 61010-1 6.3.1; below it a charge burns and damages",
        )
        return
    yield from _discharge(supply, rail)
    yield from _bleeder_heat(supply, rail, peak**2 / reservoir.bleeder_ohm)


def _bleeder_heat(supply: Supply, rail: Rail, power: float) -> Iterator[Finding]:
    """Yield that a bleeder burns more than half of its rating [W], or much where none is stated."""
    assert rail.reservoir is not None
    assert rail.reservoir.bleeder_ohm is not None
    rating = rail.reservoir.bleeder_rating_w
    if power <= (WARM_W if rating is None else HALF * rating):
        return
    burns = f"bleeder of {show(rail.reservoir.bleeder_ohm, 'Ω')} burns {_watts(power)}"
    text = f"{burns} {_at(supply)}: it wants a part of twice that, and air"
    basis = "U²/R; a resistor at half its rating (common practice, no source)"
    if rating is None:
        yield _found(rail, "reservoir.bleeder", "improvement", text, basis)
        return
    over = power > rating
    text = f"{text}; its rating is {show(rating, 'W')}"
    text += ": it will open or burn, and leave the reservoir charged" if over else ""
    yield _found(rail, "reservoir.bleeder_rating", "fault" if over else "improvement", text, basis)


def _watts(power: float) -> str:
    return show(power, "W", decimals=1 if power >= 1.0 else 2)


def _discharge(supply: Supply, rail: Rail) -> Iterator[Finding]:
    """Yield that a discharge is slow: to 60 V where a person may reach, or to a voltage that is no matter."""
    start = charged_v(supply, rail)
    to_limit, to_safe = discharge_seconds(supply, rail, HAZARDOUS_V), discharge_seconds(supply, rail)
    if start > HAZARDOUS_V and to_limit is not None and to_limit > INSIDE_S:
        takes = f"reservoir takes {show(to_limit, 's', decimals=0)}"
        text = f"{takes} to fall from {_volts(start)} to {show(HAZARDOUS_V, 'V')}"
        basis = "R C ln(U/60 V); safe 10 s after switch-off where reached, IEC 61010-1 (second hand)"
        yield _found(rail, "reservoir.bleeder", "fault", text, basis)
    elif to_safe is not None and to_safe > LONG_S:
        takes = f"reservoir takes {show(to_safe, 's', decimals=0)}"
        text = f"{takes} to fall from {_volts(start)} to {show(SAFE_V, 'V')} through its bleeder"
        basis = "R C ln(U/5 V), C at the top of its tolerance; a minute is long (common practice)"
        yield _found(rail, "reservoir.bleeder", "improvement", text, basis)


def _regulator(supply: Supply, rail: Rail, peak: float | None) -> Iterator[Finding]:
    regulator = rail.regulator
    assert regulator is not None
    yield from _set_point(rail, regulator.set_point_v)
    if regulator.input_max_v is not None and peak is not None and peak > regulator.input_max_v:
        limit = show(regulator.input_max_v, "V")
        text = f"regulator input of at most {limit} will see {_volts(peak)} {_at(supply)}"
        yield _found(rail, "regulator.input_max", "fault", text, _peak_basis(supply, rail))
    if regulator.current_limit_a is not None and regulator.current_limit_a < rail.rated_current_a:
        limit, rated = show(regulator.current_limit_a, "A"), show(rail.rated_current_a, "A")
        text = f"regulator limits at {limit}, below the rated {rated}"
        yield _found(rail, "regulator.current_limit", "fault", text, "a rail has to give its rated current")


def _set_point(rail: Rail, set_point_v: float | None) -> Iterator[Finding]:
    """Yield where what is regulated is not what the rail is called."""
    off = 0.0 if set_point_v is None or not rail.nominal_v else abs(set_point_v / rail.nominal_v - 1.0)
    if set_point_v is None or off <= BESIDE:
        return
    is_v, called_v = show(set_point_v, "V"), show(rail.nominal_v, "V")
    by = show(100.0 * off, "%", decimals=0)
    text = (
        f"its regulator is set to {is_v} and the rail is nominally {called_v}, {by} off: what its output may "
        "be, and where a run is halted, follow from the set point. Correct whichever is wrong"
    )
    basis = f"from {100 * BESIDE:g} % told, from {100 * AWAY:g} % a fault: common practice, no source"
    yield _found(rail, "regulator.set_point", "fault" if off > AWAY else "improvement", text, basis)


def _fuse(rail: Rail) -> Iterator[Finding]:
    fuse = rail.fuse
    if fuse is not None and fuse.rating_a < rail.rated_current_a:
        text = f"fuse {fuse_words(fuse)} is below the rated {show(rail.rated_current_a, 'A')}"
        basis = "output fuse of 1.25 to 1.5 × the steady current (trade pages)"
        yield _found(rail, "fuse", "fault", text, basis)


__all__ = ["Finding", "discharge_seconds", "findings", "highest_peak_v"]
