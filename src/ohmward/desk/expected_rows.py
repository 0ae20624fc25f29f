"""What to expect of a whole supply, as rows of text: rail by rail and load by load."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from ohmward.physics.expectation import ALL_HOT, Band, Expectation
from ohmward.quantity import show, show_band, show_centre
from ohmward.text import one_line

NO_LOAD = "no load"
"""Nothing connected, in words."""
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
    "mains_no_load_a": ("mains current, no load", "A"),
    "mains_a": (f"mains current, {ALL_HOT}", "A"),
    "input_va": (f"input, {ALL_HOT}", "VA"),
}


class Row(NamedTuple):
    """One reading: of what, under which load, what it ought to be."""

    subject: str
    """Rail, secondary or transformer; ``whole unit`` for the supply."""
    load: str
    reading: str
    value: str
    band: str

    @property
    def cells(self) -> tuple[str, str, str, str]:
        """As a row of a table under `HEADINGS`."""
        return one_line(f"{self.subject} {self.load}"), self.reading, self.value, self.band


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
        yield from _group(f"rail {name}", NO_LOAD, unloaded)
        for point in rail.loaded:
            yield from _group(f"rail {name}", show(point.load_a, "A"), point.values)
        yield from _group(f"rail {name}", ALL_HOT, rail.together)
    yield from _group("whole unit", "", expectation.unit)


def _group(what: str, load: str, values: Mapping[str, Band]) -> Iterator[Row]:
    for key, band in values.items():
        words, unit = _WORDS.get(key, (key, ""))
        value = show_centre(band.value, band.low, band.high, unit)
        yield Row(what, load, words, value, show_band(band.low, band.high, unit))


# --- before and after a change ------------------------------------------------------------------------

_FIRST = (
    "reservoir_ripple_pp_v", "output_v", "reservoir_valley_v", "headroom_v", "output_ripple_pp_v",
    "dissipation_w", "heatsink_c", "junction_c", "reservoir_mean_v", "secondary_rms_a",
)  # fmt: skip
_ORDER = [_WORDS[key][0] for key in _FIRST]
COMPARED = ("reading", "expected", "95 % band")


class Compared(NamedTuple):
    """A reading of the sheet as it is now, with what it was on the sheet as saved; or a heading over some."""

    key: tuple[str, str, str]
    cells: tuple[str, str, str]
    """Under `COMPARED`; the value as ``1.62 V → 2.41 V`` where it differs."""
    changed: bool
    heading: bool = False


def compared(now: Expectation, saved: Expectation | None, rails: Sequence[str]) -> list[Compared]:
    """Return every expected reading: those of `rails` first, then what else has changed, then the rest."""
    before = {} if saved is None else {_key(row): row.value for row in rows(saved)}
    groups: dict[str, list[tuple[Row, Compared]]] = {}
    for row in rows(now):
        groups.setdefault(row.subject, []).append((row, _compared(row, before)))
    own = [f"rail {name}" for name in rails]

    def nearness(subject: str) -> int:
        if subject in own:
            return own.index(subject)
        return len(own) + (0 if any(found.changed for _, found in groups[subject]) else 1)

    found: list[Compared] = []
    for subject in sorted(groups, key=nearness):
        found.append(Compared((subject, "", ""), (one_line(subject), "", ""), changed=False, heading=True))
        found += [each for _, each in sorted(groups[subject], key=lambda pair: _place(pair[0]))]
    return found


def _place(row: Row) -> tuple[int, int]:
    """Return where a reading stands among those of its rail: the telling ones at full load first."""
    load = {ALL_HOT: 0, NO_LOAD: 1}.get(row.load, 2)
    return load, _ORDER.index(row.reading) if row.reading in _ORDER and load == 0 else len(_ORDER)


def _key(row: Row) -> tuple[str, str, str]:
    return row.subject, row.load, row.reading


def _compared(row: Row, before: Mapping[tuple[str, str, str], str]) -> Compared:
    was = before.get(_key(row))
    changed = bool(before) and was != row.value
    value = f"{was or 'none'} → {row.value}" if changed else row.value
    words = f"{row.reading}, {row.load}" if row.load else row.reading
    return Compared(_key(row), (one_line(words), value, row.band), changed)
