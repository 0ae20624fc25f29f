"""A retest's document says what has changed since the run that it carries along, row by row."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from msgspec.structs import replace as struct

from ohmward.logbook import read
from ohmward.logbook.events import Reading
from ohmward.quantity import parse
from ohmward.report.document.blocks import Document, Row, Table
from ohmward.report.document.front import findings
from ohmward.report.document.html import to_html
from ohmward.report.document.pictures import comparison
from ohmward.report.document.source import Source, load_source
from ohmward.report.document.words import load_words
from ohmward.run.assess import assess_run
from report.test_documents import made, pages_of, text_of
from support import aged
from support.reports import squeezed

FIRST, LAST = aged.VISITS[0], aged.VISITS[-1]


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Journals of the commissioning of a supply, and of a retest seven years on: 18 % less capacitance."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("OHMWARD_BENCH", "bench-a")
        first, last = aged.write(tmp_path_factory.mktemp("years"), (FIRST, LAST))
    return first, last


@pytest.fixture(scope="module")
def retest(pair: tuple[Path, Path]) -> Source:
    return load_source(pair[1])


def rows_of(document: Document) -> tuple[Row, ...]:
    found = [each for each in document.blocks if isinstance(each, Table) and each.caption == "Then and now"]
    return tuple(row for block in found for group in block.groups for row in group.rows)


def readings(path: Path) -> dict[tuple[str, str], Reading]:
    events = (record.event for record in read(path))
    return {(event.step, event.subject): event for event in events if isinstance(event, Reading)}


def test_each_row_says_what_the_two_journals_say(pair: tuple[Path, Path], retest: Source) -> None:
    """Where nothing is scaled both values are those of the records, in the row of that reading."""
    then, now = map(readings, pair)
    rows, found = rows_of(made("full", retest)), retest.assessment.comparison
    seen = set()
    for row, change in zip(rows, found, strict=True):
        key = change.step, change.subject
        name, *both = row.cells[:3]
        assert change.subject in name
        if change.how or change.quantity == "capacitance_left":
            continue
        for cell, run in zip(both, (then, now), strict=True):
            seen.add(key)
            event = run[key]
            bound = {"above": "> ", "below": "< "}.get(event.value.kind, "")
            assert cell.startswith(bound)
            number = parse(cell.removeprefix(bound), change.unit).number
            assert number is not None
            assert float(number) == pytest.approx(event.judged.net, rel=0.005)
    assert seen >= {("ripple.output", "24 @ 100 %"), ("insulation", ""), ("earth", "lid")}


def test_the_capacitance_that_was_put_in_is_what_is_left(retest: Source) -> None:
    """The supply was simulated with 82 % of it left; the interval stated has to hold that."""
    (row,) = (row for row in rows_of(made("full", retest)) if row.cells[0].startswith("Reservoir cap"))
    _, then, _, change, verdict, _ = row.cells
    assert then == "100.0 %"
    lost, spread = (float(part) for part in re.findall(r"-?[\d.]+", change.replace("\u2212", "-")))
    assert lost == pytest.approx(100 * (LAST.left - 1), abs=spread)
    assert verdict == "CHANGED, worse"
    assert row.tone == "doubt"


def test_every_row_is_in_the_text_of_the_page_and_of_the_paper(retest: Source) -> None:
    document = made("full", retest)
    rows = rows_of(document)
    assert len(rows) == len(retest.assessment.comparison) > 30
    html, _ = text_of(to_html(document))
    for text in (squeezed("".join(pages_of(document)[1])), squeezed(html)):
        for row in rows:
            assert squeezed("".join(row.cells)) in text, row.cells  # in one row, in this order
        assert squeezed("CR-11/2019-03-07-01-commissioning") in text


def test_the_run_compared_with_is_named_by_its_hash(pair: tuple[Path, Path], retest: Source) -> None:
    """SHA-256 of the last record of the earlier journal, read from its file."""
    last = json.loads(pair[0].read_bytes().splitlines()[-1])["digest"]
    for text in (text_of(to_html(made("full", retest)))[0], "".join(pages_of(made("full", retest))[1])):
        assert last in squeezed(text)


def test_what_changed_is_among_the_findings_of_the_first_page(retest: Source) -> None:
    _, pages = pages_of(made("full", retest))
    assert squeezed("Since 2019-03-07 (CR-11/2019-03-07-01-commissioning)") in squeezed(pages[0])
    first, second, third = findings(load_words(), retest)
    assert first.startswith("Since 2019-03-07")
    assert "then," in second  # the greatest change
    assert third.startswith("Watch: ")


def test_a_fault_sheet_says_what_changed_and_nothing_else_of_the_earlier_run(
    pair: tuple[Path, Path], retest: Source
) -> None:
    changed = [each for each in retest.assessment.comparison if each.verdict == "changed"]
    rows = rows_of(made("repair", retest))
    assert len(rows) == len(changed) > 0
    assert all("changed" in row.cells[4].lower() for row in rows)
    assert rows_of(made("repair", load_source(pair[0]))) == ()


def test_a_fault_sheet_lists_the_conditions_that_its_verdict_refers_to(retest: Source) -> None:
    conditional = replace(retest, assessment=struct(retest.assessment, verdict="conditional pass"))
    html, _ = text_of(to_html(made("repair", conditional)))
    above = html.partition("First, whatever is done")[0]
    assert all(line in above for line in findings(load_words(), conditional))


def test_a_picture_shows_what_changed_and_a_run_that_carries_none_along_has_none(
    pair: tuple[Path, Path], retest: Source
) -> None:
    (picture,) = comparison(load_words(), retest)
    assert "Changed too, and without a limit" in picture.instead
    assert "Ripple at full load, output, 24 @ 100 %" in picture.instead
    assert comparison(load_words(), load_source(pair[0])) == ()


def test_a_document_compares_as_the_assessment_does(pair: tuple[Path, Path], retest: Source) -> None:
    assert retest.assessment.comparison == assess_run(pair[1]).comparison


def test_a_run_that_carries_none_along_compares_nothing(pair: tuple[Path, Path]) -> None:
    document = made("full", load_source(pair[0]))
    assert rows_of(document) == ()
    assert "Then and now" not in text_of(to_html(document))[0]
