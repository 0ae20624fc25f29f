"""Old results on paper into the logbook: dates kept, said to be copied, mistakes all at once."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from ohmward.errors import InputError
from ohmward.logbook import Logbook, contents, read, verify
from ohmward.logbook.events import Answered, Closed, Noted, Opened, Parts, Reading, Repaired
from ohmward.run.state import Phase, state
from ohmward.run.transcribe import NO_NULL, PaperRun, paper_template, transcribe
from ohmward.run.transcribe_rows import COLUMNS, parse_paper
from support import bench
from support.journals import HandClock

TODAY = date(2026, 3, 1)

PAPER = """\
date,step,subject,value,meter,note,operator,what
# results of the blue folder (simulated)
2019-05-03,parts,,case; front panel,,,,
2019-05-03,earth,case,0.08,blue handheld,,bench B,
2019-05-03,earth,front panel,85m,blue handheld,,bench B,
2019-05-03,insulation,,>200M,,,,
2019-05-03,output,+15,15.02,,warm,,
2019-05-03,output,,,,not on the sheet,,
2019-05-03,plug,,pass,,,,
2019-05-03,repaired,,,,reservoir replaced,,
2019-05-03,note,,,,"=HYPERLINK(""x""), \u202ehidden",,
2021-06-01,earth,case,1.2,,,,
2021-06-01,output,+15,12.0,,,,
"""


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """A folder with a sheet, a procedure and a file of old results."""
    (tmp_path / "sheet.toml").write_text(bench.SHEET, encoding="utf-8")
    (tmp_path / "test.toml").write_text(bench.PROCEDURE, encoding="utf-8")
    (tmp_path / "paper.csv").write_text(PAPER, encoding="utf-8")
    return tmp_path


def copied(desk: Path, text: str | None = None, **options: object) -> tuple[PaperRun, ...]:
    if text is not None:
        (desk / "paper.csv").write_text(text, encoding="utf-8")
    given: dict[str, object] = {
        "by": "bench A", "source": "blue folder", "tool": "ohmward test", "clock": HandClock(),
        "procedure": str(desk / "test.toml"), "simulated": True,
    }  # fmt: skip
    return transcribe(desk / "logbook", desk / "sheet.toml", desk / "paper.csv", **(given | options))  # type: ignore[arg-type]


def refused(desk: Path, text: str, **options: object) -> str:
    with pytest.raises(InputError) as caught:
        copied(desk, text, **options)
    assert not (desk / "logbook").exists()
    return str(caught.value)


def test_each_date_becomes_a_closed_sealed_anchored_run_that_says_it_was_copied(desk: Path) -> None:
    found = copied(desk)
    assert [(each.day.isoformat(), each.readings, each.checks) for each in found] == [
        ("2019-05-03", 4, 1),
        ("2021-06-01", 2, 0),
    ]
    first = found[0]
    assert first.path is not None
    assert first.path.name == "2019-05-03-01-short.jsonl"
    assert contents(first.path).sealed
    checked = verify(first.path)
    assert (checked.intact, checked.anchored, checked.notices) == (True, True, ())
    records = read(first.path)
    opened = records[0].event
    assert isinstance(opened, Opened)
    assert opened.transcribed is not None
    assert (opened.transcribed.date, opened.transcribed.by) == ("2019-05-03", "bench A")
    assert (opened.transcribed.source, opened.operator) == ("blue folder", "bench B")
    assert opened.run == "CR-07/2019-05-03-01-short"
    assert records[0].at.startswith("2026-03-01")  # the day of typing
    assert [run.counts_for for run in Logbook(desk / "logbook").runs()] == ["2021-06-01", "2019-05-03"]


def test_what_the_paper_says_is_kept_as_it_says_it(desk: Path) -> None:
    path = copied(desk)[0].path
    assert path is not None
    events = [record.event for record in read(path)]
    assert events[1] == Parts(names=("case", "front panel"))
    assert Answered(step="plug", answer="pass") in events
    assert Repaired(what="reservoir replaced") in events
    assert Noted(text="not on the sheet", step="output") in events
    assert Noted(text='=HYPERLINK("x"), \u202ehidden') in events
    readings = [event for event in events if isinstance(event, Reading)]
    assert [(each.value.raw, each.meter) for each in readings] == [
        ("0.08", "blue handheld"), ("85m", "blue handheld"), (">200M", ""), ("15.02", ""),
    ]  # fmt: skip
    assert {each.judged.uncertainty for each in readings} == {None}
    assert {each.judged.verdict for each in readings} <= {"not stated: pass", "not applicable"}
    closed = events[-1]
    assert isinstance(closed, Closed)
    assert closed.records == len(events) - 1
    assert closed.summary[0].startswith("Copied from paper (blue folder) by bench A: the results are of 2019")


def test_its_run_is_folded_without_a_violation_and_never_energised(desk: Path) -> None:
    for each in copied(desk):
        assert each.path is not None
        records = read(each.path)
        result = state(records)
        assert (result.violations, result.energised_seq, result.phase) == ((), -1, Phase.CLOSED)
        assert state(records[:-1]).phase is Phase.PAPER


def test_a_result_past_its_limit_fails_on_paper_too(desk: Path) -> None:
    assert copied(desk)[1].verdict == "fail"  # 1.2 Ω of earth


def test_a_lead_null_on_the_paper_is_subtracted_and_one_that_is_not_is_said_to_be_missing(desk: Path) -> None:
    head = "date,step,subject,value\n"
    (without,) = copied(desk, f"{head}2019-05-03,earth,case,0.08\n")
    (with_null,) = copied(desk, f"{head}2020-05-03,lead-null,,0.05\n2020-05-03,earth,case,0.08\n")
    for each, net, note in ((without, 0.08, NO_NULL), (with_null, 0.03, "")):
        assert each.path is not None
        reading = read(each.path)[-2].event
        assert isinstance(reading, Reading)
        assert reading.judged.net == pytest.approx(net)
        assert reading.note == note


def test_every_mistake_is_told_at_once_by_line_column_value_and_mend(desk: Path) -> None:
    text = (
        "date,step,subject,value,meter,note\n"
        "3.5.2019,earth,case,0.08,,\n"
        "2019-05-03,earthx,case,0.08,,\n"
        "2019-05-03,earth,lid,0.08,,\n"
        '2019-05-03,earth,case,"1,5",,\n'
        "2019-05-03,output,+15,15 A,,\n"
        "2019-05-03,plug,,maybe,,\n"
        "2019-05-03,output,+15,pass,,\n"
        "2019-05-03,insulation,,2k,,\n"
        "2026-03-02,insulation,,>200M,,\n"
        ",insulation,,>200M,,\n"
        "2019-05-03,,,5,,\n"
        "2019-05-03,insulation,,>200M,,,,,extra\n"
        "2019-05-03,plug,,fail,,\n"
        "2019-05-03,plug,,pass,,\n"
        "2019-05-03,repaired,,,,\n"
    )
    lines = refused(desk, text).splitlines()
    numbers = [int(re.findall(r"line (\d+)", line)[0]) for line in lines]
    assert numbers == [2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 15, 16]
    told = "\n".join(lines)
    for words in (
        "paper.csv: line 2: date is '3.5.2019': not a date that can be read one way only. Write it as 2019-",
        "line 3: step is 'earthx': this run has no step 'earthx'. Take the names of steps from 'ohmward",
        "line 4: subject is 'lid': step 'earth' has no subject 'lid'. It has: case, front panel",
        "line 5: value is '1,5'",
        "line 6: value is '15 A'",
        "line 10: date is '2026-03-02': later than today, 2026-03-01",
        "line 11: date: missing",
        "line 12: step: missing. Name the step",
        "line 13 is ',,extra': more fields than columns",
        "line 15: value is 'pass': the same step of the same date as line 14",
        "line 16: note: a row 'repaired' without words",
    ):
        assert words in told, words


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the file is empty"),
        ("\n\n", "the file is empty"),
        ("date,step,value\n", "no row with a result"),
        ("date,step,value\n,earth,\n", "no row with a result"),
        ("step,value\nearth,1\n", "date: column missing"),
        ("date,value\n2019-05-03,1\n", "step: column missing"),
        ("date,step,value,volts\n2019-05-03,earth,1,2\n", "unknown column"),
        ("date,step,value,value\n2019-05-03,earth,1,2\n", "column twice"),
        ('date,step,value\n2019-05-03,earth,"1\n', "not CSV"),
    ],
)
def test_a_file_of_another_layout_is_refused_with_the_layout(desk: Path, text: str, words: str) -> None:
    told = refused(desk, text)
    assert words in told
    assert "paper.csv" in told


def test_one_date_for_a_file_without_dates(desk: Path) -> None:
    (found,) = copied(desk, "step,subject,value\nearth,case,0.08\n", day=date(2018, 2, 1))
    assert found.day == date(2018, 2, 1)
    with pytest.raises(InputError, match="Give one of the two"):
        copied(desk, PAPER, day=date(2018, 2, 1))


def test_an_implausible_value_is_asked_about_and_taken_when_meant(desk: Path) -> None:
    row = "date,step,subject,value\n2019-05-03,insulation,,{}\n"
    told = refused(desk, row.format("2k"))
    assert "line 2: value is '2k'" in told
    assert "end the value with '!'" in told
    path = copied(desk, row.format("2k!"))[0].path
    assert path is not None
    reading = read(path)[1].event
    assert isinstance(reading, Reading)
    assert reading.confirmed


def test_the_same_paper_again_writes_nothing_and_a_corrected_one_is_a_run_of_its_own(desk: Path) -> None:
    first = copied(desk)
    again = copied(desk)
    assert [each.already for each in again] == [True, True]
    assert [each.path for each in again] == [each.path for each in first]
    changed = copied(desk, PAPER.replace("15.02", "15.03"))
    assert [each.already for each in changed] == [False, True]
    assert changed[0].path is not None
    assert changed[0].path.name == "2019-05-03-02-short.jsonl"
    assert changed[0].beside == ("CR-07/2019-05-03-01-short",)


def test_a_trial_checks_everything_and_writes_nothing(desk: Path) -> None:
    found = copied(desk, try_only=True)
    assert [each.path for each in found] == [None, None]
    assert not (desk / "logbook").exists()


@pytest.mark.parametrize("field", ["by", "source"])
def test_who_typed_it_and_from_what_is_asked_for(desk: Path, field: str) -> None:
    with pytest.raises(InputError, match="who typed it and from what"):
        copied(desk, **{field: " "})


def test_the_template_filled_in_is_a_file_that_can_be_imported(desk: Path) -> None:
    text = paper_template(desk / "sheet.toml", str(desk / "test.toml"))
    assert text.splitlines()[0] == ",".join(COLUMNS)
    assert ",earth,case,,,,,Earth" in text
    filled = text.replace(",earth,case,,", "2019-05-03,earth,case,0.08,")
    rows, unread = parse_paper(filled, "x", today=TODAY)
    assert [row.key for row in rows] == [("earth", "case")]
    assert unread == ()  # what the paper does not say has no date either
