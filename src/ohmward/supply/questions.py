"""What to ask a person whose supply has no design sheet yet, and the sheet made of the answers.

Pure: whoever shows a question puts the answer under its `key`, asks `check` whether it will do, and
takes `next_question` until there is none. An empty answer means the default, or 'not known'.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import pairwise
from typing import Any

from ohmward.errors import InputError, Mistake
from ohmward.quantity import QuantityError, parse, show_exact
from ohmward.supply.question import (
    NO,
    NOT_KNOWN,
    YES,
    Place,
    Question,
    check,
    read_answer,
    said_of,
    understood,
)
from ohmward.supply.schema import LIMIT_SETS, TABLES
from ohmward.supply.sheet import from_data
from ohmward.supply.writing import dumps

Answers = Mapping[str, str]

MOST = 20
"""Most transformers, secondaries of one, or rails."""
_USUAL = {"output_tolerance": "4 %", "load_regulation": "1 %", "ripple": "5 mV", "heatsink_max": "70 °C"}
"""Targets of a regulated rail that are offered: common practice, no source. Those of a bare rail depend on
its transformer: none is usual."""
_NO_SOURCE = "what is offered is usual for a regulated rail, no source"


def questions(answers: Answers | None = None) -> Iterator[Question]:
    """Yield every question that the answers lead to, in order; where there is none, its default leads on."""
    known = answers or {}
    yield from _supply()
    yield from _mains(known)
    sources: list[str] = []
    yield _count(
        "transformer.count", "How many mains transformers (0 if nothing is known of them)", "1", "supply"
    )
    for place in range(_counted(known, "transformer.count", "1")):
        yield from _transformer(known, place, sources)
    yield _count("rail.count", "How many output rails", "1", "rails", least=1)
    for place in range(_counted(known, "rail.count", "1", least=1)):
        yield from _rail(known, place, tuple(sources))


def next_question(answers: Answers) -> Question | None:
    """Return the first question that has no answer yet; None when the sheet can be built."""
    return next((question for question in questions(answers) if question.key not in answers), None)


def build(answers: Answers) -> str:
    """Return the commented sheet that the answers make; what was left open stands in it as comments.

    Raises
    ------
    InputError
        When an answer will not do, or they do not fit together: every mistake at once.
    """
    data: dict[str, Any] = {}
    mistakes: list[Mistake] = []
    for question in questions(answers):
        text = said_of(question, answers.get(question.key, ""))
        problem = check(question, answers.get(question.key, ""))
        if problem is not None:
            mend = "Answer again"
            mistakes.append(Mistake(where="answers", field=question.key, value=text, why=problem, mend=mend))
        elif text and question.spec is not None:
            _put(data, question.place, read_answer(question, text))
    if mistakes:
        raise InputError(mistakes)
    return dumps(from_data(data, "answers"), hints=True)


# --- answers to data ------------------------------------------------------------------------------


def _put(data: dict[str, Any], place: Place, value: Any) -> None:
    """Set a value at a place such as ``('rail', 0, 'nominal')``, making tables and lists on the way."""
    here: Any = data
    for step, after in pairwise(place):
        empty: Any = [] if isinstance(after, int) else {}
        if isinstance(step, int):
            while len(here) <= step:
                here.append({})
            here = here[step]
        else:
            here = here.setdefault(step, empty)
    here[place[-1]] = value


# --- the questions --------------------------------------------------------------------------------


def _ask(
    table: str, name: str, place: Place, section: str, prompt: str, *, default: str = "", why: str = "",
    choices: tuple[str, ...] = (), required: bool | None = None, among: tuple[str, ...] = (),
) -> Question:  # fmt: skip
    spec = next(key for key in TABLES[table].keys if key.name == name)
    shown = (YES, NO) if spec.form == "flag" else choices or spec.choices
    key = ".".join(str(step + 1 if isinstance(step, int) else step) for step in (*place, name))
    return Question(
        key=key, prompt=prompt, section=section, unit=spec.unit, default=default, choices=shown,
        required=spec.required if required is None else required, why=why, spec=spec, place=(*place, name),
        example=spec.example.strip("[]").replace('"', ""), among=among,
    )  # fmt: skip


def _steer(key: str, prompt: str, section: str) -> Question:
    # no default: an answer that nobody gave would decide which limits hold
    return Question(key=key, prompt=prompt, section=section, required=True, choices=(YES, NO), example=YES)


def _count(key: str, prompt: str, default: str, section: str, least: int = 0) -> Question:
    numbers = tuple(str(number) for number in range(least, MOST + 1))
    return Question(
        key=key, prompt=prompt, section=section, default=default, choices=numbers, example=default
    )


def _counted(answers: Answers, key: str, default: str, least: int = 0) -> int:
    text = answers.get(key, "").strip() or default
    return min(max(int(text), least), MOST) if text.isdecimal() and text.isascii() else least


def _given(answers: Answers, question: Question) -> str:
    return said_of(question, answers.get(question.key, ""))


def _supply() -> Iterator[Question]:
    def ask(name: str, prompt: str, default: str = "", why: str = "") -> Question:
        return _ask("sheet", name, (), "supply", prompt, default=default, why=why)

    yield ask("tag", "Tag: what is written on the supply")
    yield ask("title", "What it is, in a few words")
    yield ask("protection_class", "Protection class (I: earthed metal case)", "I",
              "II: double insulation, no earth; III: fed by a safe low voltage; IEC 61140")  # fmt: skip
    yield ask("serial", "Serial number")
    yield ask("ambient_max", "Hottest room it must work in", "40 °C")
    yield ask("limit_set", "Limit set: which limits it is judged by", LIMIT_SETS[0],
              "iec for a new build; uk, eu, au-nz as tested in service or after repair there")  # fmt: skip
    yield ask("parts", "Metal parts that a hand can touch, with commas between", "case",
              "earth continuity is measured to each")  # fmt: skip


def _mains(answers: Answers) -> Iterator[Question]:
    def ask(name: str, prompt: str, default: str = "", why: str = "") -> Question:
        return _ask("mains", name, ("mains",), "mains", prompt, default=default, why=why)

    yield ask("voltage", "Mains voltage", "230 V")
    yield ask("frequency", "Mains frequency", "50 Hz")
    yield ask("fuse", "Mains fuse, such as T 1.6 A", why="it is checked against the primary current")
    place = ("mains", "cord")
    yield _ask("cord", "detachable", place, "mains", "Does the cord unplug from the supply",
               why="yes where there is an inlet on the case: from there or from the plug earth is measured; "
               "a fixed cord's anchorage is looked at")  # fmt: skip
    length = _ask("cord", "length", place, "mains", "Length of the mains cord", required=False,
                  why="its resistance is allowed for in the earth limit; a tape measure will do")  # fmt: skip
    yield length
    if _given(answers, length):
        yield _ask("cord", "area", place, "mains", "Cross-section of one core", default="0.75 mm²")


def _transformer(answers: Answers, place: int, sources: list[str]) -> Iterator[Question]:
    section, at = f"transformer {place + 1}", ("transformer", place)

    def ask(name: str, prompt: str, default: str = "", why: str = "") -> Question:
        return _ask("transformer", name, at, section, prompt, default=default, why=why)

    name = ask("name", "Its name", f"T{place + 1}")
    yield name
    yield ask("rating", "Rating")
    yield ask("regulation", "Regulation, (no-load - full-load) / full-load", why="gives the no-load voltage")
    yield ask("core", "Core")
    yield ask(
        "insulation_class", "Insulation class of its windings, as marked", why="decides how hot they may get"
    )
    count = f"transformer.{place + 1}.count"
    yield _count(count, "How many secondaries", "1", section, least=1)
    for number in range(_counted(answers, count, "1", least=1)):
        yield from _secondary(answers, (*at, "secondaries", number), section, _given(answers, name), sources)


def _secondary(
    answers: Answers, at: Place, section: str, owner: str, sources: list[str]
) -> Iterator[Question]:
    number = int(at[-1])
    label = f"{section}, secondary {number + 1}"
    name = _ask("secondary", "name", at, label, "Its name", default=chr(ord("a") + number))
    yield name
    yield _ask("secondary", "voltage", at, label, "Voltage at rated load (of each half, if centre-tapped)",
               why="not known? Go back, and answer 0 transformers")  # fmt: skip
    yield _ask("secondary", "current", at, label, "Rated current")
    yield _ask("secondary", "centre_tapped", at, label, "Centre-tapped", default=NO)
    sources.append(f"{owner}.{_given(answers, name)}")


def _named(answers: Answers, table: str, place: int) -> tuple[str, ...]:
    """Return the names given to those of a table before one."""
    return tuple(answers.get(f"{table}.{number + 1}.name", "").strip() for number in range(place))


def _with_before(answers: Answers, question: Question) -> Question:
    """Return a question about a further rail that knows what was said of the rail before.

    It is never what an empty answer means: a bleeder or a target that nobody stated would stand on the sheet.
    """
    _, number, rest = question.key.split(".", 2)
    before = answers.get(f"rail.{int(number) - 1}.{rest}", "").strip()
    if not before or before == NOT_KNOWN or check(question, before) is not None:
        return question
    return replace(question, before=understood(question, before))


def _rail(answers: Answers, place: int, sources: tuple[str, ...]) -> Iterator[Question]:
    section, at = f"rail {place + 1}", ("rail", place)

    def ask(table: str, name: str, prompt: str, *, default: str = "", why: str = "",
            required: bool | None = None) -> Question:  # fmt: skip
        where = at if table == "rail" else (*at, table)
        question = _ask(table, name, where, section, prompt, default=default, why=why, required=required)
        return _with_before(answers, question)

    called = _ask("rail", "name", at, section, "Name, as +15")
    yield replace(called, taken=_named(answers, "rail", place))
    nominal = _ask("rail", "nominal", at, section, "Nominal voltage (negative for a negative rail)",
                   default=_nominal_of(answers.get(called.key, "")))  # fmt: skip
    yield nominal
    yield ask("rail", "rated_current", "Rated current")
    if sources:
        used = {answers.get(f"rail.{number + 1}.source", "").strip() for number in range(place)}
        free = [each for each in sources if each not in used]
        only = sources if len(sources) == 1 else free if place and len(free) == 1 else ("",)
        source = _ask("rail", "source", at, section, f"Fed by which secondary: {', '.join(sources)}",
                      default=only[0], among=sources)  # fmt: skip
        yield source
        if fed := _given(answers, source):
            yield ask("rectifier", "kind", "Rectifier", default="centre-tap" if "," in fed else "bridge")
    capacitance = ask("reservoir", "capacitance", "Reservoir capacitance", required=False)
    yield capacitance
    if _given(answers, capacitance):
        yield ask("reservoir", "voltage_rating", "Voltage rating of the reservoir")
        bleeder = ask("reservoir", "bleeder", "Bleeder resistor across it",
                      why="gives the time to wait before hands go in")  # fmt: skip
        yield bleeder
        if _given(answers, bleeder):
            yield ask("reservoir", "bleeder_rating", "Power rating of the bleeder")
    steer = replace(_steer(f"rail.{place + 1}.regulated", "Is it regulated", section),
                    why="a regulator holds its voltage; most bench supplies have one")  # fmt: skip
    regulated = _with_before(answers, steer)
    yield regulated
    cooled = False
    if _given(answers, regulated) == YES:
        volts = _given(answers, nominal)
        yield _ask("regulator", "set_point", (*at, "regulator"), section, "Set point", default=volts)
        yield ask("regulator", "tolerance", "Its set point is within ±", why="what the regulator itself does")
        yield ask("regulator", "dropout", "Dropout: least voltage across it")
        yield ask("regulator", "ripple_rejection", "Ripple rejection")
        sink = ask("heatsink", "thermal_resistance", "Heat sink to air", required=False)
        yield sink
        cooled = bool(_given(answers, sink))
        if cooled:
            yield ask("heatsink", "time_constant", "Time constant of the heat sink",
                      why="two thirds of its rise are done by then: tells what a soak reads")  # fmt: skip
    usual = _USUAL if _given(answers, regulated) == YES else {}
    what = "what the supply is to hold at its terminals"
    for name, prompt, why in (
        ("output_tolerance", "Target: output within ±", what),
        ("load_regulation", "Target: load regulation at most", ""),
        ("ripple", "Target: ripple, peak to peak, at most", ""),
        *([("heatsink_max", "Target: heat sink at most", "")] if cooled else []),
    ):
        told = "; ".join(part for part in (why, _NO_SOURCE if name in usual else "") if part)
        yield ask("targets", name, prompt, default=usual.get(name, ""), why=told)


def _nominal_of(name: str) -> str:
    """Return the voltage that a rail's name says, as '-15 V' of -15; empty where it says none."""
    try:
        value = parse(name.strip(), "V")
    except QuantityError:
        return ""
    known = value.number is not None and value.kind == "exact" and value.si
    return show_exact(value.si, "V") if known else ""
