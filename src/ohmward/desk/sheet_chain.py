"""The chain of a rail drawn in text: from the mains to its output, each part with what the sheet says.

What is expected at a part stands in its box after ``≈``; a part that a finding is about has its mark.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from ohmward.desk.words import SEVERITIES
from ohmward.physics.expectation import Band, Expectation
from ohmward.physics.targets import all_findings
from ohmward.quantity import show, show_centre, show_exact
from ohmward.supply.finding import Finding, Severity
from ohmward.supply.model import Mains, Rail, Regulator, Reservoir, Secondary, Supply, Transformer
from ohmward.supply.relations import arrangement, share_a
from ohmward.supply.schema import TABLES
from ohmward.supply.writing import fuse_words
from ohmward.text import one_line

WIDTH = 76
"""Columns that a drawing fits into, unless it is given more."""
LEGEND = "≈ expected with every rail at its rated current"
_MOST = 26
"""Columns of the words in a box."""
_LINE, _INTO, _OUT = "─", "→─", "─→"
"""Between two boxes, and where a row goes on below."""
_NOT_STATED = "not on the sheet"
_ORDER: tuple[Severity, ...] = ("danger", "fault", "improvement")


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """One part of the chain: what it is called, and words about it."""

    title: str
    lines: tuple[str, ...]

    @property
    def inside(self) -> int:
        """Columns between its sides."""
        return max([cells(self.title) + 1, *(cells(line) for line in self.lines)]) + 2


def chain(
    supply: Supply,
    rail: Rail,
    *,
    width: int = WIDTH,
    expected: Expectation | None = None,
    found: Iterable[Finding] = (),
) -> list[str]:
    """Return the drawing of one rail, as lines of at most `width` columns (at least 40)."""
    return drawn(list(boxes(supply, rail, expected=expected, found=tuple(found))), width)


def drawings(supply: Supply, width: int = WIDTH, expected: Expectation | None = None) -> list[str]:
    """Return the chains of all rails, one below the other, with what their signs mean."""
    found = all_findings(supply, expected)
    lines = [LEGEND if expected is not None else "What is expected at each part is being computed …"]
    if found:
        marks = ", ".join(f"{SEVERITIES[severity].mark} {severity}" for severity in _ORDER)
        lines.append(f"Parts that a finding is about: {marks}")
    for rail in supply.rails:
        lines += ["", f"rail {one_line(rail.name)}"]
        lines += chain(supply, rail, width=width, expected=expected, found=found)
    return lines


def boxes(
    supply: Supply, rail: Rail, *, expected: Expectation | None = None, found: tuple[Finding, ...] = ()
) -> Iterator[Box]:
    """Yield the parts of a rail's chain, from the mains on."""
    known = expected.rails.get(rail.name) if expected is not None else None
    full: Mapping[str, Band] = known.together if known is not None else {}

    def box(title: str, lines: Iterable[str], *names: str) -> Box:
        mark = _mark(found, names)
        words = tuple(clipped(line) for line in lines if line)
        return Box(title=f"{clipped(title, _MOST - 3)}{mark and f' {mark}'}", lines=words or (_NOT_STATED,))

    name = f"rail[{rail.name}]"
    yield box("mains", _mains(supply.mains), "mains.voltage", "mains.cord", "mains.band")
    yield box("fuse", [fuse_words(supply.mains.fuse)] if supply.mains.fuse else [], "mains.fuse")
    made = {supply.secondary(source)[0].name: supply.secondary(source)[0] for source in rail.sources}
    for transformer in made.values():
        yield box(transformer.name, _transformer(transformer), *_of_transformer(transformer))
    wound = (_winding_field(*supply.secondary(source)) for source in rail.sources)
    yield box(
        " + ".join(rail.sources) or "transformer", _windings(supply, rail, expected, full),
        *wound, f"{name}.source",
    )  # fmt: skip
    if rail.rectifier is not None or rail.sources:
        yield box(arrangement(supply, rail)[0], _diodes(rail), f"{name}.rectifier")
    else:
        yield box("rectifier", [])
    yield box("reservoir", _reservoir(rail.reservoir, full), f"{name}.reservoir")
    if rail.regulator is not None:
        yield box(
            "regulator", _regulator(rail, rail.regulator, full), f"{name}.regulator", f"{name}.heatsink"
        )
    if rail.fuse is not None:
        yield box("fuse", [fuse_words(rail.fuse)], f"{name}.fuse")
    yield box(f"output {one_line(rail.name)}", _output(rail, full), f"{name}.targets")


def _mark(found: Iterable[Finding], names: tuple[str, ...]) -> str:
    """Return the mark of the worst finding about one of the parts."""
    severities = {
        each.severity
        for each in found
        if any(each.field == name or each.field.startswith((f"{name}.", f"{name}[")) for name in names)
    }
    worst = next((severity for severity in _ORDER if severity in severities), None)
    return SEVERITIES[worst].mark if worst else ""


# --- what stands in the boxes -------------------------------------------------------------------------


def _mains(mains: Mains) -> Iterator[str]:
    yield f"{show_exact(mains.voltage_v, 'V')} {show_exact(mains.frequency_hz, 'Hz')}"
    yield f"{mains.low_pct:g} % +{mains.high_pct:g} %"
    if mains.cord is not None:
        known = ((mains.cord.length_m, "m"), (mains.cord.area_mm2, "mm²"))
        size = " ".join(show_exact(value, unit) for value, unit in known if value is not None)
        yield f"cord {size or ('unplugs' if mains.cord.detachable else 'fixed')}"


def _transformer(transformer: Transformer) -> Iterator[str]:
    rating = show_exact(transformer.rating_va, "VA") if transformer.rating_va is not None else ""
    yield f"{rating or 'rating not stated'}{_then(transformer.regulation_pct, '%')}"
    yield transformer.core or ""


def _of_transformer(transformer: Transformer) -> Iterator[str]:
    """Yield its fields in a finding, but for those of its secondaries."""
    for key in TABLES["transformer"].names:
        if key != "secondaries":
            yield f"transformer[{transformer.name}].{key}"


def _winding_field(transformer: Transformer, secondary: Secondary) -> str:
    return f"transformer[{transformer.name}].secondaries[{secondary.name}]"


def _windings(
    supply: Supply, rail: Rail, expected: Expectation | None, full: Mapping[str, Band]
) -> Iterator[str]:
    for source in rail.sources:
        _, secondary = supply.secondary(source)
        twice = "2 × " if secondary.centre_tapped else ""
        yield f"{twice}{show_exact(secondary.voltage_v, 'V')}{_then(secondary.current_a, 'A')}"
        others = [each.name for each in supply.rails if source in each.sources and each.name != rail.name]
        if others:
            yield f"feeds {', '.join(one_line(other) for other in others)} too"
    for source in rail.sources[:1]:
        idle = expected.band("no_load_v", source) if expected is not None else None
        yield _about(idle, "V", " idle")
    yield _about(full.get("secondary_rms_a"), "A", " RMS")
    share = share_a(supply.secondary(rail.sources[0])[0]) if rail.sources else None
    if share is not None:
        yield f"{show(share, 'A', decimals=2)} by share of rating"


def _diodes(rail: Rail) -> Iterator[str]:
    rectifier = rail.rectifier
    if rectifier is not None:
        if rectifier.forward_v is not None:
            yield f"{show_exact(rectifier.forward_v, 'V')} a diode"
        rated = _both((rectifier.reverse_rating_v, "V"), (rectifier.current_rating_a, "A"))
        yield rated or "ratings not stated"


def _reservoir(reservoir: Reservoir | None, full: Mapping[str, Band]) -> Iterator[str]:
    if reservoir is not None:
        yield show_exact(reservoir.capacitance_f, "F") + _then(reservoir.voltage_rating_v, "V")
        esr = "" if reservoir.esr_ohm is None else f", ESR {show_exact(reservoir.esr_ohm, 'Ω')}"
        yield f"{reservoir.tolerance_low_pct:g} % +{reservoir.tolerance_high_pct:g} %{esr}"
        bleeder = reservoir.bleeder_ohm
        rated = _then(reservoir.bleeder_rating_w, "W")
        yield "no bleeder" if bleeder is None else f"bleeder {show_exact(bleeder, 'Ω')}{rated}"
    yield _about(full.get("reservoir_mean_v"), "V", " mean")
    yield _about(full.get("reservoir_ripple_pp_v"), "V", " ripple p-p")


def _regulator(rail: Rail, regulator: Regulator, full: Mapping[str, Band]) -> Iterator[str]:
    set_point = rail.set_point_v
    if set_point is not None:
        within = "" if regulator.tolerance_pct is None else f" ±{show_exact(regulator.tolerance_pct, '%')}"
        yield f"{show_exact(set_point, 'V')}{within}"
    if regulator.dropout_v is not None:
        yield f"dropout {show_exact(regulator.dropout_v, 'V')}"
    if rail.heatsink is not None:
        yield f"sink {show_exact(rail.heatsink.thermal_resistance_kpw, 'K/W')}"
    yield _about(full.get("headroom_v"), "V", " headroom")
    heat, sink = _about(full.get("dissipation_w"), "W", ""), full.get("heatsink_c")
    yield heat + ("" if sink is None or not heat else f", sink {show(sink.value, '°C', decimals=0)}")


def _output(rail: Rail, full: Mapping[str, Band]) -> Iterator[str]:
    yield f"{show_exact(rail.nominal_v, 'V')}, {show_exact(rail.rated_current_a, 'A')}"
    if rail.targets.ripple_pp_v is not None:
        yield f"ripple ≤ {show_exact(rail.targets.ripple_pp_v, 'V')}"
    yield _about(full.get("output_v"), "V", "")
    yield _about(full.get("output_ripple_pp_v"), "V", " ripple p-p")


def _then(value: float | None, unit: str) -> str:
    return "" if value is None else f", {show_exact(value, unit)}"


def _both(*values: tuple[float | None, str]) -> str:
    return ", ".join(show_exact(value, unit) for value, unit in values if value is not None)


def _about(band: Band | None, unit: str, words: str) -> str:
    if band is None:
        return ""
    return f"≈ {show_centre(band.value, band.low, band.high, unit)}{words}"


# --- how boxes are laid out ---------------------------------------------------------------------------


def drawn(parts: list[Box], width: int) -> list[str]:
    """Return boxes joined by lines, in as many rows as it takes."""
    lines: list[str] = []
    rows = _balanced(parts, width)
    for number, row in enumerate(rows):
        lines += _row(row, first=number == 0, last=number == len(rows) - 1)
    return lines


def _balanced(parts: list[Box], width: int) -> list[list[Box]]:
    """Return the fewest rows that fit, about equally long: no box stands alone where it need not."""
    rows = list(_rows(parts, width))
    while len(narrower := list(_rows(parts, width - 1))) == len(rows) and width > 1:
        rows, width = narrower, width - 1
    return rows


def _rows(parts: list[Box], width: int) -> Iterator[list[Box]]:
    row: list[Box] = []
    for number, part in enumerate(parts, start=1):
        joined = sum(each.inside + 2 for each in [*row, part]) + len(_LINE) * len(row)
        if row and len(_INTO) + joined + (len(_OUT) if number < len(parts) else 0) > width:
            yield row
            row = []
        row.append(part)
    if row:
        yield row


def _row(row: list[Box], *, first: bool, last: bool) -> list[str]:
    height = max(len(box.lines) for box in row)
    indent, blank = " " * len(_INTO), " " * len(_LINE)
    into, out = indent if first else _INTO, "" if last else _OUT
    tops = [f"┌ {box.title} {'─' * (box.inside - cells(box.title) - 2)}┐" for box in row]
    lines = [indent + blank.join(tops)]
    for number in range(height):
        words = [_padded(box.lines[number] if number < len(box.lines) else "", box.inside) for box in row]
        if number:
            lines.append(indent + blank.join(f"│{each}│" for each in words))
            continue
        joined = _LINE.join(
            f"{'│' if first and not at else '┤'}{each}{'│' if last and at == len(row) - 1 else '├'}"
            for at, each in enumerate(words)
        )
        lines.append(f"{into}{joined}{out}")
    return [*lines, indent + blank.join(f"└{'─' * box.inside}┘" for box in row)]


def _padded(words: str, inside: int) -> str:
    return f" {words}{' ' * (inside - 1 - cells(words))}"


def clipped(words: str, most: int = _MOST) -> str:
    """Return words on one line, in at most so many columns."""
    words = one_line(words)
    if cells(words) <= most:
        return words
    while cells(words) > most - 1:
        words = words[:-1]
    return f"{words}…"


def cells(text: str) -> int:
    """Return how many columns of a terminal a text takes."""
    return sum(_columns(char) for char in text)


def _columns(char: str) -> int:
    if unicodedata.combining(char) or unicodedata.category(char) in {"Mn", "Me", "Cf"}:
        return 0
    return 2 if unicodedata.east_asian_width(char) in {"W", "F"} else 1
