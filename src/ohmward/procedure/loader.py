"""Reading a procedure file: TOML in, an immutable procedure out, every mistake at once.

The format (1) has the field names of `procedure.model`. A step of kind ``reading``, ``sweep`` or ``soak``
either has its one read inline or lists several under ``reads``, each with a name; a ``capture`` may, and
asks for a waveform where it does not. A limit is a name, or the limit itself:
``limit = { low = "20 MΩ", basis = "…" }``; there is no formula language.
"""

from __future__ import annotations

from itertools import pairwise
from typing import get_args

from ohmward.errors import Mistake
from ohmward.fields import Fields, closest, parse_toml, raise_if_any
from ohmward.physics.expectation import (
    SECONDARY_KEYS,
    TRANSFORMER_KEYS,
    UNIT_KEYS,
)
from ohmward.procedure.coherence import RAIL_KEYS, incoherent
from ohmward.procedure.limits import LIMIT_UNITS
from ohmward.procedure.limitset import MOST_TEST_V, check_format, provenance, sides
from ohmward.procedure.model import (
    WAITED_FROM,
    Aim,
    Drive,
    Each,
    Enclosure,
    Kind,
    Limit,
    Procedure,
    Read,
    Role,
    Severity,
    Stage,
    Stale,
    Step,
    TestCurrent,
)
from ohmward.quantity import UNITS
from ohmward.quantity.units import TABLE

KINDS: tuple[Kind, ...] = get_args(Kind)
EACH: tuple[Each, ...] = get_args(Each)
SEVERITIES: tuple[Severity, ...] = get_args(Severity)
ENCLOSURES: tuple[Enclosure, ...] = get_args(Enclosure)
STALE: tuple[Stale, ...] = get_args(Stale)
DRIVES: tuple[Drive, ...] = get_args(Drive)
AIMS: tuple[Aim, ...] = get_args(Aim)
LONGEST_WAIT_S = 24 * 3600.0
ROLES: tuple[Role, ...] = get_args(Role)

METERS = ("", "multimeter", "low-ohm", "insulation", "oscilloscope", "thermometer", "power")
CONDITIONS = {"": "", "mains_v": "V", "ambient_c": "°C"}
"""Conditions of the moment, and the unit that a reading of one must have."""
EXPECTATIONS = ("", *sorted(RAIL_KEYS | {*SECONDARY_KEYS, *TRANSFORMER_KEYS, *UNIT_KEYS}))
RESERVED = frozenset(
    {
        "parts", "acknowledge", "case-opened", "case-shut", "repaired", "energised", "switched-off",
        "test-voltage",
        "override", "skip", "note", "amend", "withdraw-waveform", "close",
    }
)  # fmt: skip
"""Words that an answers file uses for what is not a step."""

MAX_LOAD = 1.5
"""Highest load point, as a fraction of the rated current."""

_READ_KEYS = (
    "name", "quantity", "unit", "plausible", "limit", "stop", "expect", "subtract", "meter", "condition",
    "test_voltage", "test_current", "aim",
)  # fmt: skip
_SOAK_KEYS = ("times", "further_times", "sensors")


def loads(text: str, where: str = "procedure") -> Procedure:
    """Read a procedure.

    Parameters
    ----------
    text : str
        TOML.
    where : str
        What the text is called in mistakes, such as its path.

    Raises
    ------
    InputError
        With every mistake in the text at once: what it is, where, and its mend.
    """
    mistakes: list[Mistake] = []
    top = Fields(parse_toml(text, where), where, "", mistakes)
    check_format(top)
    name, title, purpose = top.name("name"), top.text("title"), top.text("purpose", "")
    rows = top.rows("stage", "name")
    if not rows and "stage" not in top.table:
        top.miss("stage", "the procedure has no stages", "Add [[stage]] with its steps")
    stages = tuple(_stage(row) for row in rows)
    top.finish()
    mistakes += incoherent(stages, where)
    raise_if_any(mistakes)
    return Procedure(name=name, title=title, purpose=purpose, stages=stages)


def _stage(fields: Fields) -> Stage:
    name, title = fields.name("name"), fields.text("title")
    energised = fields.flag("energised")
    role = fields.choice("role", ROLES, "")
    purpose, cautions = fields.text("purpose", ""), fields.texts("cautions")
    rows = fields.rows("step", "id")
    if not rows:
        fields.miss("step", "the stage has no steps", "Add [[stage.step]]", "")
    steps = tuple(_step(row) for row in rows)
    fields.finish()
    return Stage(
        name=name,
        title=title,
        energised=energised,
        steps=steps,
        role=role,
        purpose=purpose,
        cautions=cautions,
    )


def _step(fields: Fields) -> Step:
    step_id = fields.name("id")
    if step_id in RESERVED:
        fields.miss("id", "an answers file uses this word for something else", "Choose another id")
    kind = fields.choice("kind", KINDS)
    if fields.table.get("kind") not in KINDS:
        return Step(id=step_id, kind="reading", title="")  # what else it should hold cannot be known
    load = _load(fields) if kind in {"sweep", "capture"} else ()
    together = fields.flag("together", False) if kind in {"sweep", "capture"} else False
    if together and not load:
        load = (1.0,)
    elif kind == "sweep" and "load" not in fields.table:
        fields.miss("load", "a sweep needs its load points", 'Add load = ["0 %", "50 %", "100 %"]')
    wait_from, wait_s = _wait(fields)
    times = _times(fields) if kind == "soak" else ()
    step = Step(
        wait_from=wait_from,
        wait_s=wait_s,
        settles=fields.text("settles", "") if kind == "check" else "",
        held_reading=fields.text("held_reading", "") if kind == "check" else "",
        drive=fields.choice("drive", DRIVES, "") if kind == "check" else "",
        id=step_id,
        kind=kind,
        title=fields.text("title"),
        group=fields.text("group", ""),
        do=fields.text("do", ""),
        why=fields.text("why", ""),
        method=fields.text("method", ""),
        caution=fields.text("caution", ""),
        severity=fields.choice("severity", SEVERITIES, "fault"),
        each=fields.choice("each", EACH, ""),
        several_rails=fields.flag("several_rails", False),
        fixed_cord=fields.flag("fixed_cord", False),
        required=fields.flag("required", True),
        enclosure=fields.choice("enclosure", ENCLOSURES, "any"),
        stale=fields.choice("stale", STALE, "repair"),
        left_out_with=fields.text("left_out_with", ""),
        always=fields.flag("always", False),
        proves_earth=fields.flag("proves_earth", False),
        reads=() if kind == "check" or _waveform_only(fields, kind) else _reads(fields, kind),
        load_fractions=load,
        together=together,
        times_s=times,
        further_times_s=_further_times(fields, times) if kind == "soak" else (),
        sensors=fields.texts("sensors") if kind == "soak" else (),
    )
    fields.finish(refused=_out_of_place(kind))
    return step


def _wait(fields: Fields) -> tuple[str, float | None]:
    """Return what a step is waited from, and for how long."""
    begins, lasts = fields.text("wait_from", ""), fields.number("wait", "s", None)
    if lasts is not None and not 0 < lasts <= LONGEST_WAIT_S:
        fields.miss("wait", "a wait is above zero, and a day at most", 'Write "60 s"')
    if lasts is not None and not begins:
        mend = f"Add wait_from: {', '.join(WAITED_FROM)}, or the id of an earlier check"
        fields.miss("wait", "nothing says what it is waited from", mend)
    if lasts is None and begins not in {"", "switched-off"}:
        fields.miss("wait_from", "it is not said how long", 'Add wait = "60 s"')
    return begins, lasts


def _waveform_only(fields: Fields, kind: Kind) -> bool:
    return kind == "capture" and not any(key in fields.table for key in ("reads", *_READ_KEYS))


def _out_of_place(kind: Kind) -> dict[str, str]:
    if kind == "check":
        keys = (*_READ_KEYS, "reads", "load", "together", *_SOAK_KEYS)
        return dict.fromkeys(keys, "a check reads nothing")
    refused = {"name": "only a read listed under 'reads' has a name"}
    refused |= dict.fromkeys(("load", "together"), f"a {kind} has no load points")
    return refused | dict.fromkeys(_SOAK_KEYS, f"a {kind} has no times; a soak has")


def _load(fields: Fields) -> tuple[float, ...]:
    fractions = tuple(percent / 100 for percent in fields.numbers("load", "%"))
    if len(set(fractions)) < len(fractions):
        fields.miss("load", "a load point is given twice", "Give each once")
    if any(not 0 <= fraction <= MAX_LOAD for fraction in fractions):
        why = f"a load point lies between 0 % and {100 * MAX_LOAD:g} % of rated current"
        fields.miss("load", why, "Change it")
    return fractions


def _times(fields: Fields) -> tuple[float, ...]:
    times = fields.numbers("times", "s")
    if "times" not in fields.table:
        fields.miss("times", "a soak needs its times", 'Add times = ["0 min", "10 min", "30 min"]')
    if any(later <= earlier for earlier, later in pairwise(times)) or any(time < 0 for time in times):
        why = "times begin at or after 0 and each is later than the one before"
        fields.miss("times", why, "Put them in order")
    return times


def _further_times(fields: Fields, times: tuple[float, ...]) -> tuple[float, ...]:
    """Return the times of a soak that are asked for only while the rise has not stopped."""
    if "further_times" not in fields.table:
        return ()
    further = fields.numbers("further_times", "s")
    if any(later <= earlier for earlier, later in pairwise((*times[-1:], *further))):
        why = "further times come after the times, and each is later than the one before"
        fields.miss("further_times", why, "Put them in order")
    return further


def _reads(fields: Fields, kind: Kind) -> tuple[Read, ...]:
    if not fields.has("reads"):
        return (_read(fields, inline=True),)
    rows = fields.rows("reads", "name")
    if not rows:
        fields.miss("reads", f"a {kind} reads something", "Add a read: quantity and unit")
    for key in _READ_KEYS:
        if key in fields.table:
            fields.has(key)
            fields.miss(key, "this belongs into an entry of 'reads'", "Move it there")
    reads = tuple(_read(row, inline=False) for row in rows)
    names = [read.name for read in reads]
    for name in dict.fromkeys(name for name in names if name and names.count(name) > 1):
        fields.miss("reads", f"two reads are called '{name}'", "Give each its own name", name)
    return reads


def _read(fields: Fields, *, inline: bool) -> Read:
    unit, unit_known = _unit(fields)
    low, high = fields.interval("plausible", unit) if unit_known else (None, None)
    limit, limit_literal = _limit(fields, "limit", unit if unit_known else None)
    stop, stop_literal = _limit(fields, "stop", unit if unit_known else None)
    condition = fields.choice("condition", tuple(CONDITIONS), "")
    if condition and unit_known and unit != CONDITIONS[condition]:
        fields.miss("condition", f"this condition is read in {CONDITIONS[condition]}", "Change the unit")
    test_voltage = fields.number("test_voltage", "V", None)
    if test_voltage is not None and not 0 < test_voltage <= MOST_TEST_V:
        fields.miss("test_voltage", f"it lies above zero and at {MOST_TEST_V:g} V at most", 'Write "500 V"')
    if test_voltage is not None and unit_known and unit != "Ω":
        fields.miss("test_voltage", "only insulation is tested at a voltage", "Leave it out")
    read = Read(
        test_voltage_v=test_voltage,
        test_current=_test_current(fields, unit if unit_known else None),
        name="" if inline else fields.name("name"),
        quantity=fields.text("quantity"),
        unit=unit,
        plausible_low=low,
        plausible_high=high,
        limit=limit,
        stop=stop,
        limit_literal=limit_literal,
        stop_literal=stop_literal,
        expect=fields.choice("expect", EXPECTATIONS, ""),
        subtract=fields.text("subtract", ""),
        required=True if inline else fields.flag("required", True),
        meter=fields.choice("meter", METERS, ""),
        condition=condition,  # type: ignore[arg-type]
        aim=_aim(fields, condition),
    )
    for key in _READ_KEYS[1:]:
        fields.has(key)
    if not inline:
        fields.finish()
    return read


def _aim(fields: Fields, condition: str) -> Aim:
    aim = fields.choice("aim", AIMS, "")
    if aim and condition != "mains_v":
        fields.miss("aim", "only mains voltage is brought to an end of its band", 'Add condition = "mains_v"')
    return aim


def _test_current(fields: Fields, unit: str | None) -> TestCurrent | None:
    inner = fields.below("test_current")
    if inner is None:
        return None
    times, most = inner.number("times_fuse", ""), inner.number("at_most", "A")
    inner.finish()
    if unit not in {None, "Ω"}:
        fields.miss("test_current", "only a resistance is measured at a current", "Leave it out", "")
    for key, value in (("times_fuse", times), ("at_most", most)):
        if value is None or value <= 0:
            inner.miss(key, "it has to be above zero", 'Write { times_fuse = "1.5", at_most = "25 A" }')
            return None
    return TestCurrent(times_fuse=times, at_most_a=most)  # type: ignore[arg-type]  # both were looked at


def _unit(fields: Fields) -> tuple[str, bool]:
    """Return the unit of a read, and whether the file gives a known one."""
    unit = fields.text("unit")
    if unit in UNITS and isinstance(fields.table.get("unit"), str):
        return unit, True
    if unit:
        meant = [name for name, known in TABLE.items() if unit in (*known.symbols, *known.plain)]
        mend = f"Write it '{meant[0]}'" if meant else closest(unit, UNITS)
        fields.miss("unit", "this is not a unit that the procedures use", mend)
    return "", False


def _limit(fields: Fields, key: str, unit: str | None) -> tuple[str, Limit | None]:
    """Return a limit by name or in full; `unit` is None where the file does not give a known one."""
    if isinstance(fields.table.get(key), dict):
        inner = fields.below(key)
        return "", None if inner is None or unit is None else _literal(inner, unit)
    name = fields.text(key, "")
    if not name:
        return "", None
    if name not in LIMIT_UNITS:
        fields.miss(key, "no limit has this name", closest(name, LIMIT_UNITS))
    elif unit is not None and LIMIT_UNITS[name] != unit:
        why = f"this limit is in {LIMIT_UNITS[name]}, the reading in {unit or 'no unit'}"
        fields.miss(key, why, "Change one of them")
    return name, None


def _literal(fields: Fields, unit: str) -> Limit:
    low, high = sides(fields, unit)
    basis, obtained, advice = provenance(fields)
    fields.finish()
    return Limit(low=low, high=high, basis=basis, obtained=obtained, advice=advice)
