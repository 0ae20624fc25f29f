"""Procedure files: what is taken, and every mistake at once with file, field, value and mend."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.errors import InputError, Mistake
from ohmward.procedure import loads
from ohmward.procedure.loader import RESERVED
from ohmward.procedure.model import Step
from ohmward.run.answers import ACTIONS
from support.bench import PROCEDURE

HEAD = 'format = 1\nname = "own"\ntitle = "Own"\n'
DEAD = HEAD + '[[stage]]\nname = "dead"\ntitle = "Dead"\nenergised = false\n'
LIVE = HEAD + '[[stage]]\nname = "live"\ntitle = "Live"\nenergised = true\n'


def step(**fields: str) -> str:
    """Return a step; values are TOML."""
    lines = {"id": '"one"', "kind": '"check"', "title": '"One"'} | fields
    return "[[stage.step]]\n" + "".join(f"{key} = {value}\n" for key, value in lines.items())


def reading(**fields: str) -> str:
    return step(**({"kind": '"reading"', "quantity": '"resistance"', "unit": '"Ω"'} | fields))


def sweep(**fields: str) -> str:
    return reading(**({"kind": '"sweep"', "each": '"rail"'} | fields))


def soak(**fields: str) -> str:
    return reading(**({"kind": '"soak"', "times": '["1 min"]'} | fields))


def mistakes(text: str) -> dict[str, str]:
    with pytest.raises(InputError) as caught:
        loads(text, "own.toml")
    assert all(mistake.where == "own.toml" for mistake in caught.value.mistakes)
    assert all(mistake.why and mistake.mend for mistake in caught.value.mistakes)
    return {mistake.field: str(mistake) for mistake in caught.value.mistakes}


def only(text: str) -> str:
    found = mistakes(text)
    assert len(found) == 1, found
    return next(iter(found.items()))[0] + " | " + next(iter(found.values()))


def first(text: str) -> Step:
    return loads(text).stages[0].steps[0]


def test_a_whole_procedure_is_read() -> None:
    procedure = loads(PROCEDURE)
    assert [stage.name for stage in procedure.stages] == [
        "visual", "earth", "insulation", "no-load", "loaded", "make-safe",
    ]  # fmt: skip
    assert [stage.energised for stage in procedure.stages] == [False, False, False, True, True, False]
    earth = procedure.stages[1].steps[1]
    assert earth.proves_earth
    assert earth.each == "part"
    assert earth.enclosure == "shut"
    assert earth.reads[0].subtract == "lead-null"
    assert (earth.reads[0].plausible_low, earth.reads[0].plausible_high) == (0.0, 5.0)
    sweep = procedure.stages[4].steps[0]
    assert sweep.load_fractions == (0.0, 0.5, 1.0)
    assert [read.name for read in sweep.reads] == ["output"]
    assert procedure.stages[5].role == "make-safe"


def test_what_a_step_leaves_out_has_its_stated_default() -> None:
    plain = first(DEAD + step())
    assert (plain.severity, plain.each, plain.required) == ("fault", "", True)
    assert (plain.enclosure, plain.stale, plain.proves_earth) == ("any", "repair", False)
    assert plain.reads == ()


def test_a_soak_has_times_sensors_and_one_read() -> None:
    soak = first(LIVE + step(
        kind='"soak"', each='"regulated-rail"', times='["0 min", "90 s", "1 h"]', sensors='["room air"]',
        quantity='"temperature"', unit='"°C"',
    ))  # fmt: skip
    assert soak.times_s == (0.0, 90.0, 3600.0)
    assert soak.sensors == ("room air",)
    assert soak.reads[0].name == ""


def test_a_limit_may_be_given_in_full() -> None:
    one = first(DEAD + reading(limit='{ low = "20 MΩ", basis = "house rules", obtained = "found" }'))
    literal = one.reads[0].limit_literal
    assert literal is not None
    assert (literal.low, literal.high, literal.basis) == (20e6, None, "house rules")
    assert one.reads[0].limit == ""


def test_all_rails_together_are_at_rated_current() -> None:
    one = first(LIVE + step(
        kind='"sweep"', each='"rail"', together="true",
        reads='[{ name = "output", quantity = "v", unit = "V" }]',
    ))  # fmt: skip
    assert one.together
    assert one.load_fractions == (1.0,)


def test_a_capture_asks_for_a_waveform_or_for_the_numbers_that_it_lists() -> None:
    plain = first(LIVE + step(kind='"capture"', each='"rail"', load='["100 %"]'))
    assert (plain.kind, plain.reads, plain.load_fractions) == ("capture", (), (1.0,))
    numbers = first(LIVE + reading(kind='"capture"'))
    assert [read.quantity for read in numbers.reads] == ["resistance"]
    assert "this is missing" in only(LIVE + step(kind='"capture"', unit='"V"'))
    assert "this stage is dead" in only(DEAD + step(kind='"capture"'))
    assert first(DEAD + reading(kind='"capture"')).reads
    assert "has no times" in only(LIVE + step(kind='"capture"', times='["1 min"]'))


def test_every_mistake_is_reported_at_once() -> None:
    text = """
format = "1"
name = "Bad Name"
[[stage]]
name = "visual"
title = 3
energised = "no"
[[stage.step]]
id = "note"
kind = "chek"
[[stage.step]]
id = "x"
kind = "check"
title = "T"
limit = "insulation"
severty = "danger"
[[stage.step]]
id = "x"
kind = "reading"
title = "T"
quantity = "r"
unit = "ohm"
limit = "earth_continuty"
subtract = "leadnull"
[[stage]]
name = "live"
title = "L"
energised = true
colour = 1979-05-27
[[stage.step]]
id = "sw"
kind = "sweep"
title = "T"
each = "rail"
load = ["0 %", "500 %", "10 V", 3]
reads = [
  { name = "a", quantity = "q", unit = "V", limit = { high = "3 V" }, stop = "insulation", expct = "x" },
  5,
]
[[stage]]
name = "late"
title = "L"
energised = false
"""
    with pytest.raises(InputError) as caught:
        loads(text, "bad.toml")
    found = [(mistake.field, mistake.value) for mistake in caught.value.mistakes]
    assert set(found) == {
        ("format", "1"),
        ("name", "Bad Name"),
        ("title", ""),
        ("stage[visual].title", "3"),
        ("stage[visual].energised", "no"),
        ("stage[visual].step[note].id", "note"),
        ("stage[visual].step[note].kind", "chek"),
        ("stage[visual].step[x].limit", "insulation"),
        ("stage[visual].step[x].severty", ""),
        ("stage[visual].step[x].unit", "ohm"),
        ("stage[visual].step[x].limit", "earth_continuty"),
        ("stage[visual].step[x].subtract", "leadnull"),
        ("stage[live].colour", ""),
        ("stage[live].step[sw].load", "10 V"),
        ("stage[live].step[sw].load", "3"),
        ("stage[live].step[sw].load", "['0 %', '500 %', '10 V', 3]"),
        ("stage[live].step[sw].reads", "5"),
        ("stage[live].step[sw].reads[a].limit.basis", ""),
        ("stage[live].step[sw].reads[a].limit.obtained", ""),
        ("stage[live].step[sw].reads[a].stop", "insulation"),
        ("stage[live].step[sw].reads[a].expct", ""),
        ("stage[late].step", ""),
        ("stage[late]", ""),
        ("stage.step[x].id", "x"),
    }
    assert len(found) == len(set(found))
    words = str(caught.value)
    for mend in ("'check'", "'severity'", "'earth_continuity'", "'expect'", "Write it 'Ω'"):
        assert mend in words
    assert len(words.splitlines()) == len(found)


@pytest.mark.parametrize("word", sorted(RESERVED))
def test_a_word_of_the_answers_file_is_no_step(word: str) -> None:
    assert "answers file" in only(DEAD + step(id=f'"{word}"'))


def test_every_action_of_the_answers_file_is_reserved() -> None:
    assert set(ACTIONS) <= RESERVED


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        (step(severity='"grave"'), "severity", "'danger', 'fault'"),
        (step(each='"rails"'), "each", "Did you mean 'rail'?"),
        (step(required='"yes"'), "required", "true or false"),
        (step(title='" "'), "title", "empty"),
        (step(load='["0 %"]'), "load", "a check reads nothing"),
        (reading(times='["0 min"]'), "times", "a soak has"),
        (reading(further_times='["90 min"]'), "further_times", "a soak has"),
        (reading(load='["0 %"]'), "load", "no load points"),
        (reading(quantity='""'), "quantity", "empty"),
        (reading(plausible='["5 Ω", "0 Ω"]'), "plausible", "lower first"),
        (reading(plausible='["0 Ω"]'), "plausible", "two ends"),
        (reading(plausible='["0 Ω", "5 V"]'), "plausible", "V"),
        (reading(plausible='["0 Ω", ">5 Ω"]'), "plausible", "not a bound"),
        (reading(plausible="[0, 5]"), "plausible", "in quotes"),
        (reading(limit='"earth"'), "limit", "no limit has this name"),
        (reading(limit='"residual_voltage"'), "limit", "this limit is in V"),
        (reading(limit='{ basis = "x", obtained = "found" }'), "limit", "low side"),
        (reading(limit='{ high = "1 Ω", basis = "x" }'), "limit.obtained", "missing"),
        (reading(stop='{ high = "1 Ω", basis = "x", obtained = "found" }'), "stop", "dead"),
        (reading(meter='"lamp"'), "meter", "'low-ohm'"),
        (reading(expect='"output"'), "expect", "Did you mean 'output_v'?"),
        (reading(expect='"output_v"'), "expect", "one rail"),
        (reading(expect='"winding_ohm"'), "expect", "one secondary"),
        (reading(condition='"mains_v"'), "condition", "read in V"),
        (reading(subtract='"one"'), "subtract", "only after"),
        (reading(subtract='"two"'), "subtract", "no step"),
        (reading(name='"x"'), "name", "'reads'"),
        (reading(test_current='"25 A"'), "test_current", "a table"),
        (reading(test_current='{ times_fuse = "1.5" }'), "test_current.at_most", "above zero"),
        (reading(test_current='{ times_fuse = "0", at_most = "25 A" }'), "test_current.times_fuse", "zero"),
        (reading(test_current='{ times_fuse = "2", at_most = "9 A", x = 1 }'), "test_current.x", "not known"),
        (reading(unit='"V"', test_current='{ times_fuse = "2", at_most = "9 A" }'), "test_current", "resist"),
        (step(kind='"reading"', reads="[]"), "reads", "reads something"),
        (step(proves_earth="true", required="false"), "required", "cannot be left out"),
        (reading(kind='"sweep"', each='"rail"', load='["5 %"]'), "kind", "live supply"),
        (step(left_out_with='"one"'), "left_out_with", "no earlier step"),
        (step(left_out_with="3"), "left_out_with", "a text"),
    ],
)
def test_a_mistake_in_a_dead_step_is_one_line_about_its_field(text: str, key: str, words: str) -> None:
    found = only(DEAD + text)
    assert found.startswith(f"stage[dead].step[one].{key} | own.toml: ")
    assert words in found
    assert "\n" not in found


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        (step(enclosure='"open"'), "enclosure", "case shut"),
        (step(proves_earth="true"), "proves_earth", "before mains"),
        (reading(unit='"V"', limit='"output_loaded"'), "limit", "one rail"),
        (sweep(), "load", "load points"),
        (sweep(load='["50 %"]', each='""'), "each", "of a rail"),
        (sweep(load='["5 %", "5 %"]'), "load", "twice"),
        (sweep(load='["-5 %"]'), "load", "between 0 %"),
        (sweep(load='["50 %"]', together="true"), "together", "rated"),
        (reading(kind='"soak"'), "times", "needs its times"),
        (soak(times='["5 min", "1 min"]'), "times", "later than"),
        (soak(further_times='["1 min", "5 min"]'), "further_times", "come after the times"),
        (soak(further_times='["9 min", "5 min"]'), "further_times", "later than the one before"),
        (soak(each='"secondary"'), "each", "secondary"),
        (soak(sensors="[3]"), "sensors", "a text"),
    ],
)
def test_a_mistake_in_a_live_step_is_one_line_about_its_field(text: str, key: str, words: str) -> None:
    found = only(LIVE + text)
    assert found.startswith(f"stage[live].step[one].{key} | own.toml: ")
    assert words in found


@pytest.mark.parametrize(
    ("text", "field", "words"),
    [
        (HEAD, "stage", "no stages"),
        (HEAD + "stage = 3\n", "stage", "a list of tables"),
        (HEAD + "stage = [3]\n", "stage", "a table is wanted"),
        (DEAD, "stage[dead].step", "no steps"),
        (DEAD.replace("format = 1\n", "") + step(), "format", "missing"),
        (DEAD.replace("format = 1", "format = true") + step(), "format", "format 1"),
        (DEAD + 'role = "makesafe"\n' + step(), "stage[dead].role", "Did you mean 'make-safe'?"),
        (LIVE + 'role = "make-safe"\n' + step(), "stage[live].energised", "plug out"),
        (DEAD + 'cautions = "x"\n' + step(), "stage[dead].cautions", "a list"),
        (DEAD + step(id='"One"'), "stage[dead].step[One].id", "lower case"),
        (DEAD + step(id='"a.b"'), "stage[dead].step[a.b].id", "lower case"),
        ("x = ", "", "not TOML"),
    ],
)
def test_a_mistake_outside_the_steps_is_one_line_about_its_field(text: str, field: str, words: str) -> None:
    found = only(text)
    assert found.startswith(f"{field} | own.toml: ")
    assert words in found


def test_a_dead_stage_after_a_live_one_could_never_be_reached() -> None:
    late = '[[stage]]\nname = "late"\ntitle = "Late"\nenergised = false\n'
    found = only(LIVE + step() + late + step(id='"two"'))
    assert found.startswith("stage[late] | ")
    assert "'live'" in found
    loads(LIVE + step() + late + 'role = "make-safe"\n' + step(id='"two"'))


def test_names_used_twice() -> None:
    again = '[[stage]]\nname = "dead"\ntitle = "Again"\nenergised = false\n'
    found = mistakes(DEAD + step() + again + step())
    assert set(found) == {"stage[dead].name", "stage.step[one].id"}
    twice = '[{ name = "a", quantity = "q", unit = "V" }, { name = "a", quantity = "q", unit = "V" }]'
    assert "two reads are called 'a'" in only(DEAD + step(kind='"reading"', reads=twice))


@pytest.mark.parametrize(
    ("null", "words"),
    [
        (step(id='"null"'), "taken once"),
        (reading(id='"null"', each='"part"'), "taken once"),
        (reading(id='"null"', unit='"V"'), "read in V"),
    ],
)
def test_only_a_like_reading_taken_once_can_be_subtracted(null: str, words: str) -> None:
    assert words in only(DEAD + null + reading(subtract='"null"'))


LEAD = step(id='"lead"')


@pytest.mark.parametrize(
    ("lead", "text", "words"),
    [
        (LEAD, step(left_out_with='"leed"'), "Did you mean 'lead'?"),
        (LEAD, step(left_out_with='"lead"', severity='"danger"'), "guards against injury"),
        (LEAD, step(left_out_with='"lead"', severity='"danger"', required="false"), "guards against injury"),
        (LEAD, step(left_out_with='"lead"', always="true"), "guards against injury"),
        (LEAD, reading(left_out_with='"lead"', proves_earth="true"), "guards against injury"),
        (step(id='"lead"', severity='"danger"'), step(left_out_with='"lead"'), "never left out itself"),
        (step(id='"lead"', each='"part"'), step(left_out_with='"lead"'), "taken once"),
        (
            LEAD + step(id='"next"', left_out_with='"lead"'),
            step(left_out_with='"next"'),
            "Name 'lead'",
        ),
    ],
)
def test_what_guards_a_person_is_never_left_out_because_of_another_step(
    lead: str, text: str, words: str
) -> None:
    found = only(DEAD + lead + text)
    assert found.startswith("stage[dead].step[one].left_out_with | own.toml: ")
    assert words in found


def test_no_step_of_making_safe_is_left_out_because_of_another() -> None:
    safe = '[[stage]]\nname = "safe"\ntitle = "Safe"\nenergised = false\nrole = "make-safe"\n'
    assert "guards against injury" in only(DEAD + LEAD + safe + step(left_out_with='"lead"'))


def test_a_step_is_left_out_with_one_that_comes_before_it() -> None:
    later = only(DEAD + step(left_out_with='"lead"') + LEAD)
    assert "no earlier step has this id" in later
    stages = loads(DEAD + LEAD + step(left_out_with='"lead"')).stages
    assert [each.left_out_with for each in stages[0].steps] == ["", "lead"]


def test_terminal_escapes_in_a_file_are_shown_not_obeyed() -> None:
    found = only(DEAD + step(severity='"\\u001b[31mred\\u202e"'))
    assert "\x1b" not in found
    assert "\u202e" not in found
    assert "red" in found


def assert_in_words(text: str) -> None:
    """Read a text; a refusal has words for each mistake, and nothing else is raised."""
    found: tuple[Mistake, ...] = ()
    try:
        loads(text, "any")
    except InputError as error:
        found = error.mistakes or (Mistake(where="", field="", value="", why="", mend=""),)
    assert all(mistake.why and mistake.mend for mistake in found)


@given(text=st.text(max_size=200))
@settings(max_examples=100)
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    assert_in_words(text)


def _places(text: str) -> Iterator[tuple[int, int]]:
    start = 0
    for line in text.splitlines(keepends=True):
        yield start, start + len(line)
        start += len(line)


LINES = list(_places(PROCEDURE))


@given(
    place=st.sampled_from(LINES),
    instead=st.sampled_from(
        ["", "x = 1\n", "title = 3\n", "unit = []\n", "load = {}\n", "id = true\n", 'kind = "soak"\n']
    ),
)
@settings(max_examples=150)
def test_a_changed_line_is_read_or_refused_never_a_fault_of_the_loader(
    place: tuple[int, int], instead: str
) -> None:
    assert_in_words(PROCEDURE[: place[0]] + instead + PROCEDURE[place[1] :])
