"""Limit sets: the limits that come from outside the design sheet, each with its basis.

A set is a TOML file (format 1): who wrote the rule, how the figure was obtained, the rule itself::

    format = 1
    name = "iec"
    title = "New build: IEC 61010-1 and EN 50106 practice"
    edition = "IEC 61010-1 Ed. 3 (2010) with A1:2016"
    rules = "The standard itself and local codes rule; …"

    [insulation_test]
    voltage = "500 V"
    alternative = "250 V"
    basis = "…"
    obtained = "found"
    advice = "…"

    [limit.earth_continuity]
    rule = "base plus cord"          # fixed | base plus cord | by cord length
    base = "0.1 Ω"                   # | by protection class | by insulation class
    fixed_cord_ceiling = "0.2 Ω"
    test_current = "10 A"            # the least to measure it with, where the basis asks for one
    unit = "Ω"
    basis = "EN 50106:2008; …"       # standard, edition, clause
    obtained = "found"               # found | second hand | from memory | computed
    advice = "…"                     # | common practice, no source

The set goes into the first record of a run as written, so this format is read for ever.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from ohmward.errors import Mistake
from ohmward.fields import Fields, closest, parse_toml, raise_if_any
from ohmward.supply.model import ProtectionClass

FORMAT = 1

SET_LIMITS: dict[str, str] = {
    "earth_continuity": "Ω",
    "insulation": "Ω",
    "insulation_secondary": "Ω",
    "isolation_ohms": "Ω",
    "residual_voltage": "V",
    "case_temperature": "°C",
    "transformer_temperature": "°C",
    "terminal_temperature": "°C",
    "protective_conductor_current": "A",
}
"""Limits that a set gives, and the unit of each."""

NEEDED = ("earth_continuity", "insulation", "residual_voltage")
"""Limits without which the gates could not judge whether a supply may go live or be opened."""

OBTAINED = ("found", "second hand", "from memory", "computed", "common practice, no source")
"""How a figure was obtained; words may follow, as in ``second hand (a trade summary)``."""

PROTECTION_CLASSES: tuple[ProtectionClass, ...] = ("I", "II", "III")
MOST_TEST_V = 1000.0
"""No insulation tester puts more than this on a supply of this kind [V] (common practice, no source)."""
INSULATION_CLASSES = ("A", "E", "B", "F", "H")


class _Rule(msgspec.Struct, frozen=True, kw_only=True, tag_field="rule"):
    pass


class Fixed(_Rule, frozen=True, kw_only=True, tag="fixed"):
    """The same for every supply."""

    low: float | None = None
    high: float | None = None


class BasePlusCord(_Rule, frozen=True, kw_only=True, tag="base plus cord"):
    """A base [Ω] plus the resistance of the cord."""

    base_ohm: float
    fixed_cord_ceiling_ohm: float | None = None
    """Upper stop of the whole for a cord that is part of the supply [Ω]."""
    detachable_cord_counts: bool = False
    """Whether a detachable cord is measured with the supply; if not, the base alone holds at the inlet."""


class ByCordLength(_Rule, frozen=True, kw_only=True, tag="by cord length"):
    """Steps of cord length, for a cord up to a cross-section; a thicker one is computed."""

    first_m: float
    first_ohm: float
    step_m: float
    step_ohm: float
    max_ohm: float
    max_area_mm2: float
    base_ohm: float
    """What is added to the computed resistance of a thicker cord [Ω]."""


class ByProtectionClass(_Rule, frozen=True, kw_only=True, tag="by protection class"):
    """By the protection class of IEC 61140; a class left out has no limit."""

    low: dict[str, float] = {}
    high: dict[str, float] = {}


class ByInsulationClass(_Rule, frozen=True, kw_only=True, tag="by insulation class"):
    """By the thermal class of the transformer's insulation (IEC 60085)."""

    high: dict[str, float]
    unmarked: float


Rule = Fixed | BasePlusCord | ByCordLength | ByProtectionClass | ByInsulationClass


class LimitRule(msgspec.Struct, frozen=True, kw_only=True):
    """One limit of a set: the rule, and where it comes from."""

    unit: str
    rule: Rule
    basis: str
    """Standard, edition and clause."""
    obtained: str
    advice: str = ""
    test_current_a: float | None = None
    """Resistance: the least current that the basis asks it to be measured with [A]; None for any."""


class InsulationTest(msgspec.Struct, frozen=True, kw_only=True):
    """The DC voltage that insulation is tested at [V]."""

    voltage_v: float
    alternative_v: float | None = None
    """Where surge suppressors cannot be lifted."""
    basis: str
    obtained: str
    advice: str = ""


class LimitSet(msgspec.Struct, frozen=True, kw_only=True):
    """A whole limit set (format 1)."""

    format: int = FORMAT
    name: str
    title: str
    edition: str
    """Standards and editions it follows."""
    rules: str
    """The statement that the standard itself and local codes rule."""
    insulation_test: InsulationTest
    limits: dict[str, LimitRule]

    @property
    def insulation_test_v(self) -> float:
        """Insulation test voltage [V]."""
        return self.insulation_test.voltage_v


def loads_limits(text: str, where: str = "limit set") -> LimitSet:
    """Read a limit set.

    Parameters
    ----------
    text : str
        TOML.
    where : str
        What the text is called in mistakes, such as its path.

    Raises
    ------
    InputError
        With every mistake in the text at once.
    """
    mistakes: list[Mistake] = []
    top = Fields(parse_toml(text, where), where, "", mistakes)
    check_format(top)
    name, title = top.name("name"), top.text("title")
    edition, rules = top.text("edition"), top.text("rules")
    test = _insulation_test(top)
    limits = _limits(top)
    top.finish()
    raise_if_any(mistakes)
    assert test is not None
    return LimitSet(name=name, title=title, edition=edition, rules=rules, insulation_test=test, limits=limits)


def check_format(top: Fields) -> None:
    """Report a file whose `format` is not the one that this version reads."""
    if not top.has("format"):
        top.miss("format", "this is missing", f"Add format = {FORMAT}", "")
    elif isinstance(top.table["format"], bool) or top.table["format"] != FORMAT:
        top.miss("format", f"this version reads format {FORMAT}", f"Write format = {FORMAT}")


def _insulation_test(top: Fields) -> InsulationTest | None:
    fields = top.below("insulation_test")
    if fields is None:
        if not top.has("insulation_test"):
            top.miss("insulation_test", "this table is missing", "Add [insulation_test] with its voltage")
        return None
    voltage = _positive(fields, "voltage", "V")
    alternative = _positive(fields, "alternative", "V", required=False)
    basis, obtained, advice = provenance(fields)
    fields.finish()
    return InsulationTest(
        voltage_v=voltage or 0.0, alternative_v=alternative, basis=basis, obtained=obtained, advice=advice
    )


def _limits(top: Fields) -> dict[str, LimitRule]:
    table = top.below("limit")
    if table is None:
        if not top.has("limit"):
            top.miss("limit", "the set has no limits", "Add [limit.earth_continuity] and the others")
        return {}
    for name in table.table:
        if name not in SET_LIMITS:
            table.miss(name, "no procedure asks for a limit of this name", closest(name, SET_LIMITS), "")
    for name in NEEDED:
        if name not in table.table:
            table.miss(name, "the gates cannot do without this limit", f"Add [limit.{name}]", "")
    rules = {name: _limit(table, name) for name in SET_LIMITS if name in table.table}
    return {name: rule for name, rule in rules.items() if rule is not None}


def _limit(table: Fields, name: str) -> LimitRule | None:
    fields = table.below(name)
    if fields is None:
        return None
    unit = fields.text("unit")
    if unit and unit != SET_LIMITS[name]:
        fields.miss("unit", "the reading has another unit", f"Write unit = '{SET_LIMITS[name]}'")
    kind = fields.choice("rule", tuple(_RULES))
    rule = _RULES[kind](fields, SET_LIMITS[name])
    basis, obtained, advice = provenance(fields)
    current = _positive(fields, "test_current", "A", required=False)
    if current is not None and SET_LIMITS[name] != "Ω":
        fields.miss("test_current", "only a resistance is measured at a current", "Leave it out", "")
    fields.finish()
    return LimitRule(
        unit=SET_LIMITS[name],
        rule=rule,
        basis=basis,
        obtained=obtained,
        advice=advice,
        test_current_a=current,
    )


def provenance(fields: Fields) -> tuple[str, str, str]:
    """Return basis of a limit, how its figure was obtained, and the advice that goes with it."""
    basis, obtained = fields.text("basis"), fields.text("obtained")
    if obtained and not obtained.startswith(OBTAINED):
        fields.miss("obtained", "this does not say how the figure was obtained", closest(obtained, OBTAINED))
    return basis, obtained, fields.text("advice", "")


def sides(fields: Fields, unit: str) -> tuple[float | None, float | None]:
    """Return the low and high side of a limit written in full, in `unit`."""
    low, high = fields.number("low", unit), fields.number("high", unit)
    if not {"low", "high"} & fields.table.keys():
        fields.miss("", "a limit has a low side, a high side or both", "Add low or high", "")
    if low is not None and high is not None and low >= high:
        fields.miss("low", "the low side is not below the high side", "Exchange them")
    return low, high


def _fixed(fields: Fields, unit: str) -> Rule:
    low, high = sides(fields, unit)
    return Fixed(low=low, high=high)


def _base_plus_cord(fields: Fields, unit: str) -> Rule:
    return BasePlusCord(
        base_ohm=_positive(fields, "base", unit) or 0.0,
        fixed_cord_ceiling_ohm=_positive(fields, "fixed_cord_ceiling", unit, required=False),
        detachable_cord_counts=fields.flag("detachable_cord_counts", False),
    )


def _by_cord_length(fields: Fields, unit: str) -> Rule:
    return ByCordLength(
        first_m=_positive(fields, "first_length", "m") or 0.0,
        first_ohm=_positive(fields, "first", unit) or 0.0,
        step_m=_positive(fields, "step_length", "m") or 1.0,
        step_ohm=_positive(fields, "step", unit) or 0.0,
        max_ohm=_positive(fields, "max", unit) or 0.0,
        max_area_mm2=_positive(fields, "max_area", "mm²") or 0.0,
        base_ohm=_positive(fields, "base", unit) or 0.0,
    )


def _by_protection_class(fields: Fields, unit: str) -> Rule:
    low = _by_class(fields, "low", unit, PROTECTION_CLASSES)
    high = _by_class(fields, "high", unit, PROTECTION_CLASSES)
    if not {"low", "high"} & fields.table.keys():
        fields.miss("", "a limit has a low side, a high side or both", 'Add low = { I = "…", II = "…" }', "")
    for name in low.keys() & high.keys():
        if low[name] >= high[name]:
            fields.miss(f"low.{name}", "the low side is not below the high side", "Exchange them", "")
    return ByProtectionClass(low=low, high=high)


def _by_insulation_class(fields: Fields, unit: str) -> Rule:
    high = _by_class(fields, "high", unit, INSULATION_CLASSES)
    if "high" not in fields.table:
        fields.miss("high", "this is missing", 'Add high = { A = "…", B = "…" }')
    return ByInsulationClass(high=high, unmarked=_positive(fields, "unmarked", unit) or 0.0)


def _by_class(fields: Fields, key: str, unit: str, classes: tuple[str, ...]) -> dict[str, float]:
    table = fields.below(key)
    if table is None:
        return {}
    values = {name: table.number(name, unit) for name in classes}
    table.finish()
    return {name: value for name, value in values.items() if value is not None}


def _positive(fields: Fields, key: str, unit: str, *, required: bool = True) -> float | None:
    value = fields.number(key, unit)
    if value is None:
        if required and key not in fields.table:
            fields.miss(key, "this is missing", f"Add {key}", "")
    elif value <= 0:
        fields.miss(key, "this is not above zero", "Give a value above zero")
    return value


_RULES: dict[str, Callable[[Fields, str], Rule]] = {
    "fixed": _fixed,
    "base plus cord": _base_plus_cord,
    "by cord length": _by_cord_length,
    "by protection class": _by_protection_class,
    "by insulation class": _by_insulation_class,
}
