"""What to expect of a whole supply, as rows of text: rail by rail and load by load."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from ohmward.physics.expectation import Band, Expectation
from ohmward.quantity import show, show_band
from ohmward.text import one_line

HEADINGS = ("what", "reading", "expected", "95 % band")
_WORDS = {
    "output_v": ("output", "V"),
    "reservoir_v": ("reservoir", "V"),
    "reservoir_mean_v": ("reservoir, mean", "V"),
    "reservoir_valley_v": ("reservoir, valley", "V"),
    "reservoir_ripple_pp_v": ("ripple p-p at reservoir", "V"),
    "output_ripple_pp_v": ("ripple p-p at output", "V"),
    "bleeder_ohm": ("bleeder", "Ω"),
    "discharge_s": ("discharge to safe volts", "s"),
    "secondary_v": ("secondary", "V"),
    "secondary_rms_a": ("secondary current, RMS", "A"),
    "dissipation_w": ("heat in the regulator", "W"),
    "headroom_v": ("headroom of regulator", "V"),
    "heatsink_c": ("heat sink", "°C"),
    "junction_c": ("junction", "°C"),
    "no_load_v": ("secondary, no load", "V"),
    "winding_ohm": ("winding", "Ω"),
    "primary_ohm": ("primary winding", "Ω"),
    "magnetising_a": ("magnetising current", "A"),
    "surface_c": ("surface", "°C"),
    "mains_no_load_a": ("mains current", "A"),
    "mains_a": ("mains current", "A"),
    "input_va": ("input", "VA"),
}

Row = tuple[str, str, str, str]


def rows(expectation: Expectation) -> list[Row]:
    """Return every reading that is expected, with its band."""
    return list(_rows(expectation))


def _rows(expectation: Expectation) -> Iterator[Row]:
    for name, values in (*expectation.transformers.items(), *expectation.secondaries.items()):
        yield from _group(name, "", values)
    for name, rail in expectation.rails.items():
        unloaded = dict(rail.no_load)
        if rail.discharge_s is not None:
            unloaded["discharge_s"] = rail.discharge_s
        yield from _group(f"rail {name}", "no load", unloaded)
        for point in rail.loaded:
            yield from _group(f"rail {name}", show(point.load_a, "A"), point.values)
        yield from _group(f"rail {name}", "all full", rail.together)
    yield from _group("whole unit", "", expectation.unit)


def _group(what: str, load: str, values: Mapping[str, Band]) -> Iterator[Row]:
    for key, band in values.items():
        words, unit = _WORDS.get(key, (key, ""))
        half = (band.high - band.low) / 2
        value = show(band.value, unit, uncertainty=half) if half > 0 else show(band.value, unit)
        yield one_line(f"{what} {load}"), words, value, show_band(band.low, band.high, unit)
