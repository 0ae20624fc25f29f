"""Questions that make a sheet: every path ends in a sheet that loads, or in reasons."""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ohmward.errors import InputError
from ohmward.shipped import names
from ohmward.supply import loads
from ohmward.supply.model import Cord, HeatSink, Reservoir, Targets
from ohmward.supply.question import Question, check, help_words, meant, offered, understood
from ohmward.supply.questions import build, next_question, questions
from ohmward.supply.schema import LIMIT_SETS


def answer_all(script: dict[str, str]) -> dict[str, str]:
    """Answer as a person does: what the script says, and an empty line to everything else."""
    answers: dict[str, str] = {}
    while (question := next_question(answers)) is not None:
        text = script.get(question.key, "")
        assert check(question, text) is None, question
        answers[question.key] = text
    assert not set(script) - set(answers), "a question of the script was never asked"
    return answers


NAMEPLATE = {"tag": "CR-02", "title": "Without papers", "transformer.count": "0", "rail.1.name": "+5",
             "rail.1.nominal": "5", "rail.1.rated_current": "3", "rail.1.regulated": "no"}  # fmt: skip


def test_a_nameplate_is_enough() -> None:
    sheet = loads(build(answer_all(NAMEPLATE)))
    assert (sheet.tag, sheet.protection_class, sheet.mains.voltage_v) == ("CR-02", "I", 230.0)
    assert (sheet.rails[0].nominal_v, sheet.rails[0].rated_current_a) == (5.0, 3.0)
    assert sheet.transformers == ()
    assert sheet.parts == ("case",)


def test_bare_numbers_take_the_unit_that_was_asked_for() -> None:
    script = NAMEPLATE | {"mains.cord.length": "2", "rail.1.reservoir.capacitance": "6800u",
                          "rail.1.reservoir.bleeder": "2k2", "rail.1.reservoir.bleeder_rating": "2",
                          "mains.fuse": "T 1.6 A"}  # fmt: skip
    sheet = loads(build(answer_all(script)))
    assert sheet.mains.cord == Cord(length_m=2.0, area_mm2=0.75)
    assert sheet.rails[0].reservoir == Reservoir(
        capacitance_f=6800e-6, bleeder_ohm=2200.0, bleeder_rating_w=2.0
    )


def test_what_was_understood_is_said_with_its_unit() -> None:
    asked = {question.key: question for question in questions({"rail.1.regulated": "yes"})}
    for key, typed, shown in (
        ("rail.1.nominal", "15", "15 V"), ("rail.1.reservoir.capacitance", "6800u", "6800 µF"),
        ("rail.1.rated_current", "", "not known"), ("mains.voltage", "", "230 V"), ("tag", "15", "15"),
    ):  # fmt: skip
        assert understood(asked[key], typed) == shown
    later = questions(NAMEPLATE | {"rail.count": "2", "rail.1.rated_current": "3"})
    again = next(each for each in later if each.key == "rail.2.rated_current")
    assert (again.default, again.before) == ("", "3 A")


def test_of_a_heat_sink_its_time_constant_and_its_highest_temperature_are_asked() -> None:
    keys = ("rail.1.heatsink.time_constant", "rail.1.targets.heatsink_max")
    known = {"rail.1.regulated": "yes", "rail.1.heatsink.thermal_resistance": "2.5 K/W"}
    asked = {each.key: each for each in questions(known)}
    assert set(keys) <= set(asked)
    assert not asked[keys[0]].required
    assert asked[keys[1]].default == "70 °C"
    assert "no source" in asked[keys[1]].why
    assert not set(keys) & {each.key for each in questions({"rail.1.regulated": "yes"})}
    made = loads(build(answer_all(NAMEPLATE | known | {keys[0]: "12 min"}))).rails[0]
    assert made.heatsink == HeatSink(thermal_resistance_kpw=2.5, time_constant_s=720.0)
    assert made.targets.heatsink_max_c == 70.0


def test_whether_a_rail_is_regulated_is_asked_without_a_usual_answer() -> None:
    asked = next(each for each in questions() if each.key == "rail.1.regulated")
    assert (asked.default, asked.required) == ("", True)
    assert check(asked, "") is not None


def test_usual_targets_are_offered_of_a_regulated_rail_only_and_marked_as_without_source() -> None:
    def targets(regulated: str) -> list[Question]:
        return [each for each in questions({"rail.1.regulated": regulated}) if ".targets." in each.key]

    assert [each.default for each in targets("yes")] == ["4 %", "1 %", "5 mV"]
    assert all("no source" in each.why for each in targets("yes"))
    assert not any(each.default or "source" in each.why for each in targets("no"))


@pytest.mark.parametrize(("said", "unplugs"), [("yes", True), ("no", False)])
def test_whether_the_cord_unplugs_is_asked_also_where_its_length_is_not_known(
    said: str, unplugs: bool
) -> None:
    """What it decides needs no length: where earth is measured from, and whether its anchorage is due."""
    cord = loads(build(answer_all(NAMEPLATE | {"mains.cord.detachable": said}))).mains.cord
    assert cord == Cord(detachable=unplugs)
    assert loads(build(answer_all(NAMEPLATE))).mains.cord is None


def test_several_transformers_secondaries_and_rails() -> None:
    script = {
        "tag": "CR-07", "title": "Console", "transformer.count": "2", "rail.count": "3",
        "transformer.1.count": "2", "transformer.1.secondaries.1.voltage": "18 V",
        "transformer.1.secondaries.2.voltage": "18 V", "transformer.2.secondaries.1.voltage": "20 V",
        "transformer.2.name": "lamp", "transformer.2.secondaries.1.centre_tapped": "yes",
        "rail.1.name": "+15", "rail.1.nominal": "15 V", "rail.1.rated_current": "1.2 A",
        "rail.1.source": "T1.a", "rail.1.regulated": "yes", "rail.1.regulator.dropout": "2.2",
        "rail.2.name": "-15", "rail.2.nominal": "-15 V", "rail.2.rated_current": "1.2 A",
        "rail.2.source": "T1.b", "rail.2.regulated": "yes",
        "rail.3.name": "24", "rail.3.nominal": "24 V", "rail.3.rated_current": "2 A",
        "rail.3.source": "lamp.a", "rail.3.rectifier.kind": "centre-tap", "rail.3.regulated": "no",
    }  # fmt: skip
    sheet = loads(build(answer_all(script)))
    assert [transformer.name for transformer in sheet.transformers] == ["T1", "lamp"]
    assert [rail.sources for rail in sheet.rails] == [("T1.a",), ("T1.b",), ("lamp.a",)]
    assert [rail.set_point_v for rail in sheet.rails] == [15.0, -15.0, None]
    assert sheet.transformers[1].secondaries[0].centre_tapped


def test_two_halves_of_a_centre_tap() -> None:
    script = NAMEPLATE | {"transformer.count": "1", "transformer.1.count": "2",
                          "transformer.1.secondaries.1.voltage": "9",
                          "transformer.1.secondaries.2.voltage": "9",
                          "rail.1.source": "T1.a, T1.b"}  # fmt: skip
    rail = loads(build(answer_all(script))).rails[0]
    assert rail.sources == ("T1.a", "T1.b")
    assert rail.rectifier is not None
    assert rail.rectifier.kind == "centre-tap"


def find(key: str) -> Question:
    return next(question for question in questions() if question.key == key)


@pytest.mark.parametrize(
    ("key", "text", "words"),
    [
        ("tag", "", "needed"),
        ("tag", "-5", "begins with -"),
        ("tag", "...", "no letter and no digit"),
        ("title", "-", "no letter and no digit"),
        ("parts", "case, ?", "no letter and no digit in it. Such as case lid, front panel"),
        ("parts", ", front panel", "The first name of the list is empty. Write them with commas between"),
        ("parts", "case,, lid", "Name 2 of the list is empty"),
        ("parts", "case,", "The last name of the list is empty"),
        ("limit_set", "ukk", "There is no ukk here. There are: iec, uk, eu, au-nz"),
        ("rail.1.name", "+", "no letter and no digit"),
        ("rail.1.source", "main", "There is no main. There are: T1.a"),
        ("mains.voltage", "-230", "not possible"),
        ("mains.voltage", "230 A", "unit is A"),
        ("mains.voltage", "2,30", "comma"),
        ("mains.voltage", "230 mV", "not possible"),
        ("mains.voltage", ">230", "bound"),
        ("mains.fuse", "1.6 A", "not a fuse"),
        ("protection_class", "1", "one of I, II, III"),
        ("transformer.count", "many", "a whole number from 0 to 20"),
        ("transformer.1.core", "ring", "toroid, laminated"),
        ("rail.1.regulated", "perhaps", "yes, no"),
        ("rail.count", "0", "a whole number from 1 to 20"),
        ("rail.1.source", "T1.a, T1.a, T1.a", "two halves"),
    ],
)
def test_an_answer_that_will_not_do(key: str, text: str, words: str) -> None:
    problem = check(find(key), text)
    assert problem is not None
    assert words in problem


@pytest.mark.parametrize(
    ("key", "text"),
    [("mains.voltage", ""), ("mains.voltage", "115"), ("mains.fuse", ""), ("serial", ""),
     ("mains.fuse", "T1A"), ("mains.fuse", "400 mA T"), ("limit_set", "au-nz"), ("limit_set", "own.toml"),
     ("ambient_max", "35 °C"), ("parts", "case, lid"), ("transformer.1.core", "")],
)  # fmt: skip
def test_an_answer_that_will_do(key: str, text: str) -> None:
    assert check(find(key), text) is None


@pytest.mark.parametrize("question", list(questions({"rail.1.regulated": "yes"})), ids=lambda q: q.key)
def test_a_question_mark_is_no_answer_and_says_what_is_asked_for(question: Question) -> None:
    told = check(question, "?")
    assert told == check(question, "?Bench supply") == help_words(question)
    wanted = question.default or ("needed" if question.required else "not known")
    assert wanted in told.partition("Enter alone:")[2]


def test_every_limit_set_that_is_shipped_is_offered() -> None:
    asked = find("limit_set")
    assert set(LIMIT_SETS) == set(names("limits"))
    assert all(name in offered(asked) for name in names("limits"))


def test_every_wrong_answer_is_named_at_once() -> None:
    with pytest.raises(InputError) as caught:
        build(NAMEPLATE | {"mains.voltage": "230 A", "rail.1.nominal": "x"})
    assert [mistake.field for mistake in caught.value.mistakes] == ["mains.voltage", "rail.1.nominal"]


def test_answers_that_do_not_fit_together_are_refused() -> None:
    script = {"transformer.count": "1", "transformer.1.secondaries.1.voltage": "18 V",
              "rail.1.source": "T1.a", "rail.1.rectifier.kind": "centre-tap"}  # fmt: skip
    with pytest.raises(InputError, match="a winding without a tap"):
        build(answer_all(NAMEPLATE | script))


def test_every_question_says_what_it_wants() -> None:
    asked = list(questions({"transformer.count": "2", "rail.count": "2", "rail.1.regulated": "yes"}))
    assert len({question.key for question in asked}) == len(asked)
    for question in asked:
        assert question.prompt
        assert question.section
        assert question.unit or question.choices or question.spec is not None
        if question.example and question.spec is not None and not question.choices:
            assert check(question, question.example) is None


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_whoever_answers_gets_a_sheet_or_reasons(data: st.DataObject) -> None:
    answers: dict[str, str] = {}
    for _ in range(400):
        question = next_question(answers)
        if question is None:
            break
        options = [question.default, question.example, *question.choices[:3]]
        answers[question.key] = data.draw(st.sampled_from([option for option in options if option] or [""]))
    try:
        text = build(answers)
    except InputError as error:
        reasons = error.mistakes
        assert reasons
    else:
        assert loads(text)


TWO_RAILS = {
    "tag": "CR-83", "title": "Bench supply", "transformer.1.count": "2", "rail.count": "2",
    "transformer.1.secondaries.1.voltage": "18 V", "transformer.1.secondaries.2.voltage": "18 V",
    "rail.1.name": "+15", "rail.1.rated_current": "1.5 A", "rail.1.source": "T1.a",
    "rail.1.reservoir.capacitance": "10000 µF", "rail.1.reservoir.voltage_rating": "35 V",
    "rail.1.reservoir.bleeder": "2.2 kΩ", "rail.1.regulated": "yes", "rail.1.regulator.dropout": "3 V",
    "rail.1.targets.load_regulation": "0.5 %", "rail.1.targets.ripple": "10 mV", "rail.2.name": "aux 19",
    "rail.2.nominal": "19 V", "rail.2.rated_current": "0.5 A",
}  # fmt: skip


def test_enter_never_gives_a_rail_what_was_said_of_the_one_before() -> None:
    """A bleeder that is not there makes a charged reservoir pass for one that empties itself."""
    bare = TWO_RAILS | {"rail.2.reservoir.capacitance": "2200 µF", "rail.2.regulated": "no"}
    second = loads(build(answer_all(bare))).rails[1]
    assert second.sources == ("T1.b",)  # the only winding that is free
    assert second.reservoir == Reservoir(capacitance_f=2200e-6)
    assert (second.regulator, second.targets) == (None, Targets())
    asked = list(questions(answer_all(bare)))
    one, two = (
        {each.key.removeprefix(rail): each.default for each in asked if each.key.startswith(rail)}
        for rail in ("rail.1.", "rail.2.")
    )
    shared = {key: default for key, default in two.items() if default and key in one}
    assert shared == {"rectifier.kind": "bridge", "source": "T1.b"}


def test_what_was_said_of_the_rail_before_is_taken_by_a_word_of_its_own() -> None:
    script = TWO_RAILS | {"rail.2.name": "-15", "rail.2.nominal": "", "rail.2.rated_current": "="} | {
        f"rail.2.{key}": "=" for key in (
            "reservoir.capacitance", "reservoir.voltage_rating", "regulated", "regulator.dropout",
            "targets.ripple")
    }  # fmt: skip
    answers: dict[str, str] = {}
    while (question := next_question(answers)) is not None:
        answers[question.key] = meant(question, script.get(question.key, ""))
        assert check(question, answers[question.key]) is None, question
        assert not question.before or question.before in help_words(question)
    first, second = loads(build(answers)).rails
    assert (second.nominal_v, second.set_point_v, second.rated_current_a) == (-15.0, -15.0, 1.5)
    assert second.reservoir == Reservoir(capacitance_f=10000e-6, voltage_rating_v=35.0)
    assert first.regulator is not None
    assert second.regulator == msgspec.structs.replace(first.regulator, set_point_v=-15.0)
    assert second.targets.ripple_pp_v == 0.01
    assert second.targets.load_regulation_pct == 1.0  # usual for a regulated rail; not what was said before


def test_of_several_free_windings_none_is_taken_for_a_further_rail() -> None:
    three = TWO_RAILS | {"transformer.1.count": "3"}
    assert next(each for each in questions(three) if each.key == "rail.2.source").default == ""


@pytest.mark.parametrize(
    ("typed", "is_"),
    [("a", "T1.a"), ("A", "T1.a"), ("t1.B", "T1.b"), ("a, b", "T1.a, T1.b"), ("T1.a", "T1.a"), ("c", "c"),
     ("", "")],
)  # fmt: skip
def test_a_secondary_is_known_by_its_last_letter(typed: str, is_: str) -> None:
    asked = next(each for each in questions(TWO_RAILS) if each.key == "rail.1.source")
    assert meant(asked, typed) == is_


def test_a_letter_that_two_secondaries_have_is_asked_again() -> None:
    two = TWO_RAILS | {"transformer.count": "2", "transformer.2.secondaries.1.voltage": "9 V"}
    asked = next(each for each in questions(two) if each.key == "rail.1.source")
    assert meant(asked, "a") == "a"
    assert "There is no a. There are: T1.a, T1.b, T2.a" in (check(asked, "a") or "")


def test_a_name_that_another_rail_has_is_refused_where_it_is_given() -> None:
    answers = answer_all(
        NAMEPLATE
        | {"rail.count": "2", "rail.2.name": "-5", "rail.2.rated_current": "3", "rail.2.regulated": "no"}
    )
    again = next(each for each in questions(answers) if each.key == "rail.2.name")
    assert check(again, "-5") is None
    assert "already" in (check(again, "+5") or "")


@pytest.mark.parametrize(
    ("key", "typed", "is_"),
    [
        ("rail.1.regulated", "y", "yes"), ("rail.1.regulated", "N", "no"), ("protection_class", "ii", "II"),
        ("transformer.1.core", "toroidal", "toroid"), ("transformer.count", "2", "2"),
        ("protection_class", "i", "I"), ("tag", "y", "y"), ("rail.1.regulated", "perhaps", "perhaps"),
    ],
)  # fmt: skip
def test_a_choice_is_what_it_can_only_mean(key: str, typed: str, is_: str) -> None:
    assert meant(find(key), typed) == is_
