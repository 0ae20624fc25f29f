"""Documents on paper and as HTML: all of a run is there, nothing in it acts, no failure looks like a pass."""

from __future__ import annotations

import re
import warnings
from dataclasses import replace as changed_to
from datetime import date
from decimal import Decimal
from functools import cache
from pathlib import Path

import html5lib
import msgspec
import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from ohmward.analysis.history_glance import glance
from ohmward.analysis.rows import HistoryRow, ReadingRow
from ohmward.logbook import create_run, read, verify
from ohmward.logbook.events import Answered, Closed, Event, Opened, Overridden, Parts, Reading, Transcribed
from ohmward.procedure import source_text, source_text_limits
from ohmward.quantity import show, show_band
from ohmward.report.document import documents
from ohmward.report.document.blocks import Document, Fields, Heading, Paragraph, Picture, Table, Verdict
from ohmward.report.document.front import cut
from ohmward.report.document.html import to_html
from ohmward.report.document.pdf import to_pdf
from ohmward.report.document.source import Source, months_on, source_of
from ohmward.report.document.words import load_words
from ohmward.run import state
from ohmward.run.history import past_of_state
from support.journals import HandClock
from support.reports import FAULTY, HEALTHY, INTERRUPTED, changed, source, squeezed

WORDS = load_words()
FORMS = ("full", "short", "repair")
RUNS = {"healthy": HEALTHY, "faulty": FAULTY, "interrupted": INTERRUPTED}
HOSTILE = (
    '#panic("x") #emph[y] $x^2$ *bold* _it_ `raw` <label> @ref \\ // /* */ [a](b)',
    "<script>alert(1)</script><img src=x onerror=alert(1)> &amp; \"quoted\" 'single' </td></table>",
    "nul\x00 esc\x1b[31m rlo\u202eevil",
    "\u05d1\u05d3\u05d9\u05e7\u05d4 12 V",
    "漢字 देव",
    "A" * 300,
    "word " * 900,
)

ELEMENTS = {
    "html", "head", "meta", "title", "style", "body", "div", "header", "main", "h1", "h2", "h3", "h4",
    "small", "p", "strong", "ol", "ul", "li", "dl", "dt", "dd", "section", "table", "caption", "colgroup",
    "col", "thead", "tbody", "tr", "th", "td", "code", "span", "footer", "nav", "a", "br", "figure", "img",
    "figcaption",
}  # fmt: skip


def made(form: str, run: Source) -> Document:
    document = getattr(documents, form)(WORDS, run)
    assert isinstance(document, Document)
    return document


def pages_of(document: Document, fonts: tuple[str, ...] = ()) -> tuple[pypdf.PdfReader, list[str]]:
    import io

    reader = pypdf.PdfReader(io.BytesIO(to_pdf(document, fonts)[0]))
    return reader, [page.extract_text() for page in reader.pages]


def text_of(page: str) -> tuple[str, list[str]]:
    """All text of an HTML page and the names of its elements; a strict parser has no objection."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    names = [element.tag for element in tree.iter() if isinstance(element.tag, str)]
    return "".join(tree.itertext()), names


@cache
def hostile(path: Path) -> Source:
    count = iter(range(10_000))

    def change(event: Event) -> Event:
        if isinstance(event, Opened):
            sheet = event.sheet.replace(
                'title = "Mixing-console', 'title = "<b>#strong[x]</b> \u05de\u05d9 漢'
            )
            return replace(event, sheet=sheet, operator="<i>bench</i> #B", purpose=HOSTILE[0])
        if isinstance(event, Answered | Reading):
            return replace(event, note=HOSTILE[next(count) % len(HOSTILE)])
        if isinstance(event, Overridden):
            return replace(event, reason=HOSTILE[next(count) % len(HOSTILE)])
        return event

    return changed(path, change)


def many_rails(folder: Path, rails: int, parts: int) -> Source:
    """A run of a supply with many rails and metal parts, just begun."""
    names = [f"rail {number}" for number in range(1, rails + 1)]
    sheet = ['tag = "CR-40"', 'title = "Lamp bank (simulated)"', 'protection_class = "I"']
    sheet += ["[mains]", 'voltage = "230 V"', 'frequency = "50 Hz"']
    for name in names:
        sheet += ["[[rail]]", f'name = "{name}"', 'nominal = "12 V"', 'rated_current = "1 A"']
    opened = Opened(
        run="", tag="CR-40", operator="bench A", simulated=True, tool="ohmward test",
        sheet="\n".join(sheet), procedure=source_text("commissioning"), limits=source_text_limits("iec"),
    )  # fmt: skip
    metal = tuple(f"metal part {number}" for number in range(1, parts + 1))
    with create_run(
        folder, tag="CR-40", procedure_name="commissioning", opened=opened, clock=HandClock()
    ) as journal:
        journal.append(Parts(names=metal))
        path = journal.path
    records = read(path)
    return source_of(records, state(records), verify(path), path)


def verdict_of(document: Document) -> Verdict:
    return next(block for block in document.blocks if isinstance(block, Verdict))


@pytest.mark.parametrize("name", RUNS)
def test_every_reading_limit_verdict_and_basis_is_in_the_pdf_and_the_html(name: str) -> None:
    run = source(RUNS[name])
    document = made("full", run)
    _, pages = pages_of(document)
    html, _ = text_of(to_html(document))
    for text in (squeezed("".join(pages)), squeezed(html)):
        for row in run.assessment.readings:
            for piece in pieces(row):
                assert squeezed(piece) in text, (row.title, row.subject, piece)
        for check in run.assessment.checks:
            assert squeezed(check.title) in text
            assert squeezed(check.note) in text
        for override in run.assessment.overrides:
            assert squeezed(override.reason) in text
        for missing in run.assessment.missing:
            assert squeezed(missing.title) in text
        for meter in run.state.meters:
            assert squeezed(meter.name) in text
        assert run.verification.last_digest in text


def pieces(row: ReadingRow) -> list[str]:
    """What has to be printed of a reading, written here by `quantity` alone."""
    found = [row.raw, row.basis, row.subject]
    if row.net is not None:
        found.append(show(row.net, row.unit, uncertainty=row.uncertainty))
    if row.uncertainty:
        unit = "K" if row.unit == "°C" else row.unit
        found.append(f"± {show(row.uncertainty, unit, uncertainty=row.uncertainty)}")
    if row.limit_low is not None or row.limit_high is not None:
        found.append(show_band(row.limit_low, row.limit_high, row.unit))
    if row.expected_low is not None and row.expected_high is not None:
        found.append(show_band(row.expected_low, row.expected_high, row.unit))
    return found


def test_every_row_of_a_stage_is_the_assessments_own() -> None:
    """Cell by cell, so that no figure stands in another's row."""
    run = source(FAULTY)
    document = made("full", run)
    rows = [
        (row.cells, row.note)
        for block in document.blocks
        if isinstance(block, Table) and block.caption.startswith("Readings:")
        for group in block.groups
        for row in group.rows
    ]
    assert len(rows) == len(run.assessment.readings)
    for cells, note, reading in zip(*zip(*rows, strict=True), run.assessment.readings, strict=True):
        assert cells[0].startswith(reading.subject or "–")
        if reading.verdict == "not done":
            assert note.startswith(f"Not done, {reading.at[11:16]}. Left out: ")
            continue
        assert reading.raw in {cells[1], ""}
        if reading.uncertainty is not None and reading.net is not None:
            assert show(reading.net, reading.unit, uncertainty=reading.uncertainty) in cells[2]
        plain = reading.verdict.replace("not stated: ", "")
        assert cells[6].startswith((plain, "recorded, no limit applies"))
        assert reading.at[11:16] in cells[7]


def test_the_first_page_answers_what_readers_ask() -> None:
    _, pages = pages_of(made("full", source(FAULTY)))
    first = squeezed(pages[0])
    for asked in (
        "CR-07", "Mixing-console supply", "REHEARSAL – FAIL", "What matters most",
        "Failed, and gone on with in writing",
        "Serial number", "bench A", "3 March 2026", "Commissioning of a linear bench supply", "IEC 61010-1",
        "Mains as read", "231.4 V", "21.5 to 21.6 °C", "150 min", "6 used", "As found on 3 March 2026",
        "no promise of future safety", "signature", "Last digest", "ohmward verify",
    ):  # fmt: skip
        assert squeezed(asked) in first, asked


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("name", RUNS)
def test_a_rehearsal_says_so_across_every_page(form: str, name: str) -> None:
    document = made(form, source(RUNS[name]))
    _, pages = pages_of(document)
    for page in pages:
        assert page.count("REHEARSAL") >= 2  # the running head and the mark across
    assert 'data-mark="REHEARSAL"' in to_html(document)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(("name", "word"), [("faulty", "FAIL"), ("interrupted", "NOT FINISHED")])
def test_every_page_of_a_bad_run_says_what_it_is(form: str, name: str, word: str) -> None:
    document = made(form, source(RUNS[name]))
    _, pages = pages_of(document)
    assert all(word in " ".join(page.split("\n")[:2]) for page in pages)  # behind the mark across it
    assert "PASS" not in "".join(pages)
    assert verdict_of(document).tone == ("fail" if word == "FAIL" else "open")


def test_the_head_of_a_printed_page_is_no_way_into_the_style_sheet() -> None:
    evil = 'x"; } body { display: none } </style><script>alert(1)</script> \\22 \u05d1'
    page = to_html(replace(made("short", source(FAULTY)), running=evil))
    style = page.partition("<style>")[2].partition("</style>")[0]
    assert "display: none }" not in style
    (head,) = re.findall(r'@top-left \{ content: "([^"]*)"', style)
    assert re.fullmatch(r"(?:[0-9A-Za-z]|\\[0-9a-f]+ )*", head)
    shown = re.sub(r"\\([0-9a-f]+) ", lambda code: chr(int(code[1], 16)), head)  # CSS Syntax 3, 4.3.7
    assert shown == evil.replace("\u05d1", "\u2068\u05d1\u2069")


@pytest.mark.parametrize("form", FORMS)
def test_a_real_run_is_not_called_a_rehearsal(form: str) -> None:
    def real(event: Event) -> Event:
        if isinstance(event, Opened):
            sheet = event.sheet.replace("(simulated example)", "")
            # what the simulated low-ohm meter measures an earth with; without it a pass is on that condition
            meters = event.meters.replace('kind = "low-ohm"', 'kind = "low-ohm"\ntest_current = "25 A"')
            return replace(event, simulated=False, sheet=sheet, meters=meters, purpose="the yearly look")
        return event

    document = made(form, changed(HEALTHY, real))
    assert verdict_of(document).word == "PASS"
    assert document.rehearsal == ""
    assert "REHEARSAL" not in "".join(pages_of(document)[1])
    assert "REHEARSAL" not in to_html(document).replace(".rehearsal", "")


def test_what_a_meter_gave_is_printed_as_it_reads_with_how_it_was_taken() -> None:
    def by_meter(event: Event) -> Event:
        if isinstance(event, Reading) and event.step == "load-points.output":
            at_once = replace(event.value, number=event.value.number + 1) if event.value.number else None
            return replace(
                event, replies=("+1.5E+01",) * 5, count=5, standard_deviation=0.0123, immediate=at_once
            )
        return event

    html, _ = text_of(to_html(made("full", changed(HEALTHY, by_meter))))
    assert "Mean of 5 readings, standard deviation 12 mV" in html
    alike = changed(
        HEALTHY, lambda e: replace(by_meter(e), standard_deviation=0.0) if isinstance(e, Reading) else e
    )
    assert "5 readings, all alike." in text_of(to_html(made("full", alike)))[0]
    assert "At once, before it settled: 16.12 V" in html
    assert "15.12 V" in html


METERS_OF_FOUR_KINDS = """
[[meter]]
name = "multimeter"
calibrated = 2026-01-12
due = 2027-01-12
[[meter]]
name = "low-ohm"
calibrated = 2026-01-12
[[meter]]
name = "insulation"
[[meter]]
name = "thermometer"
due = 2026-01-12
"""


def test_the_first_page_tells_a_calibration_without_a_due_date_from_none() -> None:
    """The faulty run used these four, and two that are not in this list, on 3 March 2026."""
    run = changed(FAULTY, lambda e: replace(e, meters=METERS_OF_FOUR_KINDS) if isinstance(e, Opened) else e)
    said = dict(row for block in made("full", run).blocks if isinstance(block, Fields) for row in block.rows)
    assert said["Meters, calibration"] == (
        "6 used: 1 RUN OUT when used; 1 in date; 1 calibrated, until when not stated; "
        "3 calibration not stated"
    )


def test_insulation_says_at_what_voltage() -> None:
    """500 V is what the limit set 'iec' names, and these logs do not name another."""
    from ohmward.report.plots import pictures
    from ohmward.report.plots.material import Material

    run = source(HEALTHY)
    html, _ = text_of(to_html(made("full", run)))
    assert html.count("Tested at 500 V DC.") == 2
    assert "> 200 MΩ; limit at least 1 MΩ" in html
    other = changed(HEALTHY, lambda e: replace(e, test_v=250.0) if isinstance(e, Reading) else e)
    (drawn,) = pictures(Material(facts=other.facts, assessment=other.assessment), "safety")
    assert "Line and neutral to earth, one minute: > 200 MΩ at 250 V DC, limit at least 1 MΩ" in drawn.words


def test_a_run_that_was_not_closed_is_no_pass() -> None:
    run = changed(HEALTHY, lambda event: None if isinstance(event, Closed) else event)
    assert run.assessment.verdict == "pass"
    assert verdict_of(made("full", run)).word == "REHEARSAL – NOT CLOSED"
    assert run.due is None


def test_a_run_copied_from_paper_is_no_pass() -> None:
    copied = Transcribed(date="2019-05-03", by="bench B", source="a notebook")
    opened = replace(source(HEALTHY).opened, transcribed=copied)
    run = changed_to(source(HEALTHY), state=changed_to(source(HEALTHY).state, opened=opened))
    document = made("short", run)
    assert verdict_of(document).word == "REHEARSAL – COPIED FROM PAPER"
    assert "3 May 2019" in to_html(document)


def test_a_journal_that_is_not_sound_is_no_pass() -> None:
    sound = source(HEALTHY)
    problem = replace_verification(sound)
    document = made("full", problem)
    assert verdict_of(document).word == "REHEARSAL – NOT TO BE RELIED ON"
    assert "line 7: an edited byte" in to_html(document)


def replace_verification(run: Source) -> Source:
    broken = changed_to(run.verification, intact=False, problems=((7, "an edited byte"),))
    return changed_to(run, verification=broken)


@pytest.mark.parametrize("form", FORMS)
def test_what_a_person_wrote_is_printed_and_does_nothing(form: str) -> None:
    run = hostile(FAULTY)
    document = made(form, run)
    pdf = squeezed("".join(pages_of(document)[1]))
    html, names = text_of(to_html(document))
    assert set(names) <= ELEMENTS
    shown = HOSTILE if form == "full" else (HOSTILE[0],)
    for text in shown:
        plain = squeezed(text.replace("\x00", "\\x00").replace("\x1b", "\\x1b").replace("\u202e", "\\u202e"))
        assert plain in squeezed(html)
        if text.isascii() or "\u202e" in text:
            assert plain in pdf, text[:40]
    assert squeezed("[Han: U+6F22]") in pdf  # the title; no box, no silence
    assert "漢" in html


@pytest.mark.parametrize("form", FORMS)
def test_html_needs_nothing_from_outside_and_runs_nothing(form: str) -> None:
    picture = Picture(svg="<svg xmlns='http://www.w3.org/2000/svg'/>", caption="c", instead="i")
    run = hostile(FAULTY)
    document = documents.full(WORDS, run, pictures=[picture]) if form == "full" else made(form, run)
    page = to_html(document)
    _, names = text_of(page)
    assert {"script", "link", "iframe", "object", "embed", "form"}.isdisjoint(names)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        tree = html5lib.parse(page, namespaceHTMLElements=False)
    for element in tree.iter():
        for name, value in getattr(element, "attrib", {}).items():
            assert not name.startswith("on")
            if name in {"src", "href"}:
                assert value.startswith(("#", "data:image/svg+xml;base64,"))
    assert "url(" not in page
    assert "@import" not in page
    assert "default-src 'none'" in page
    if form == "full":
        assert names.count("img") == 1


@pytest.mark.parametrize("form", FORMS)
def test_the_same_run_gives_the_same_bytes(form: str) -> None:
    run = source(FAULTY)
    assert to_pdf(made(form, run)) == to_pdf(made(form, run))
    assert to_html(made(form, run)) == to_html(made(form, run))


def test_metadata_and_structure_of_the_pdf() -> None:
    run = source(HEALTHY)
    reader, _ = pages_of(made("full", run))
    assert reader.metadata is not None
    assert "CR-07" in str(reader.metadata.title)
    assert run.verification.last_digest in str(reader.metadata.get("/Keywords"))
    assert str(reader.metadata.get("/CreationDate")).startswith("D:20260302")
    root = reader.root_object
    assert "'/Marked': True" in str(root["/MarkInfo"])
    assert str(root["/Lang"]) == "en"
    assert "/StructTreeRoot" in root
    assert len(reader.outline) > 10


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_short_form_is_one_page_whatever_the_run(paper: str, tmp_path: Path) -> None:
    runs = [source(HEALTHY), source(FAULTY), source(INTERRUPTED), hostile(FAULTY)]
    if paper == "a4":
        runs += [many_rails(tmp_path / "40", 40, 200), many_rails(tmp_path / "60", 60, 1)]
    for run in runs:
        document = documents.short(WORDS, run, paper=paper)  # type: ignore[arg-type]
        reader, pages = pages_of(document)
        assert len(pages) == 1
        width = float(reader.pages[0].mediabox.width) / 72 * 25.4
        assert width == pytest.approx(210.0 if paper == "a4" else 215.9, abs=0.1)
        assert run.verification.last_digest in squeezed(pages[0])


def test_forty_rails_and_two_hundred_metal_parts_are_all_named(tmp_path: Path) -> None:
    run = many_rails(tmp_path, 40, 200)
    _, pages = pages_of(made("full", run))
    text = squeezed("".join(pages))
    assert all(squeezed(f"rail {number}") in text for number in range(1, 41))
    assert all(squeezed(f"metal part {number}") in text for number in range(1, 201))
    assert "NOTFINISHED" in text


def test_a_font_that_a_person_names_is_used(tmp_path: Path) -> None:
    from report.test_scripts import small_font

    small_font(tmp_path, "漢字")
    document = made("short", hostile(HEALTHY))
    assert "Han" in to_pdf(document)[1]
    assert "Han" not in to_pdf(document, (str(tmp_path),))[1]


def test_the_fault_sheet_ranks_causes_and_says_how_to_be_sure() -> None:
    run = source(FAULTY)
    html, _ = text_of(to_html(made("repair", run)))
    (cause,) = (each for each in run.assessment.causes if each.probability > 0.5)
    assert html.index("First, whatever is done") < html.index(cause.make_safe) < html.index(cause.confirm)
    assert all(reason in html for reason in cause.because)
    assert "T 1.6 A" in html
    assert "measure the residual voltage" in html


def test_what_was_not_weighed_for_the_causes_stands_under_them_everywhere() -> None:
    from ohmward.report.plots.causes import causes
    from ohmward.report.plots.material import Material
    from ohmward.report.text import assessment_text
    from ohmward.tui.assessment_view import Shown

    told = "T1 feeds 40 rails: only the 12 farthest were weighed"
    whole = source(FAULTY)
    run = changed_to(whole, assessment=replace(whole.assessment, causes_left_out=(told,)))
    for form in ("full", "repair"):
        assert told not in text_of(to_html(made(form, whole)))[0]
        assert told in text_of(to_html(made(form, run)))[0]
        assert squeezed(told) in squeezed("".join(pages_of(made(form, run))[1]))
    said = assessment_text(run.assessment)
    assert said.index("What is most likely wrong") < said.rindex(told)
    assert f"causes: {told}." in said
    drawn = causes(Material(facts=run.facts, assessment=run.assessment, meters=run.state.meters))
    assert told in drawn.words
    pane = Shown(state=run.state, result=run.assessment, facts=run.facts).causes()
    assert told in pane[-1].words


def test_pictures_stand_in_the_report_with_words_for_who_cannot_see_them() -> None:
    from ohmward.report.document.pictures import drawn

    told: list[tuple[int, int, str]] = []
    pictures = drawn(WORDS, source(INTERRUPTED), lambda *each: told.append(each))
    assert pictures
    assert [number for number, _, _ in told] == list(range(1, told[0][1] + 1))
    document = documents.full(WORDS, source(INTERRUPTED), pictures=pictures)
    html, names = text_of(to_html(document))
    assert names.count("img") == len(pictures)
    assert pictures[0].caption in html
    reader, _ = pages_of(document)
    assert len(reader.pages) > len(pages_of(made("full", source(INTERRUPTED)))[0].pages)
    assert len(pictures[0].instead) > 40


def test_pictures_drawn_on_two_boards_are_the_same_bytes_as_on_one_also_when_one_is_lost() -> None:
    from ohmward.report.document.pictures import drawn
    from ohmward.report.document.second_board import SecondBoard

    run = source(INTERRUPTED)
    alone = drawn(WORDS, run)
    with SecondBoard() as second:
        assert drawn(WORDS, run, second=second) == alone
    with SecondBoard() as second:
        process = second._process
        assert process is not None
        process.kill()
        assert drawn(WORDS, run, second=second) == alone


def test_causes_weighed_in_the_second_process_are_the_same_also_when_it_is_lost() -> None:
    from ohmward.analysis.assessment import assess
    from ohmward.report.document.second_board import SecondBoard

    facts = source(FAULTY).facts
    alone = assess(facts)
    assert alone.causes
    with SecondBoard() as second:
        assert second._process is not None
        assert assess(facts, weigh=second.weigh) == alone
        waited = second.weigh(facts)
        second._process.kill()
        assert waited() == (alone.causes, alone.causes_left_out)
        assert second.weigh(facts)() == (alone.causes, alone.causes_left_out)


def test_nothing_is_said_of_a_cause_where_nothing_asked_for_one() -> None:
    html, _ = text_of(to_html(made("repair", source(HEALTHY))))
    assert "Nothing failed in this run" in html


@given(st.dates(date(1990, 1, 1), date(2090, 1, 1)), st.integers(1, 36))
def test_months_on_is_that_day_or_the_last_of_its_month(day: date, months: int) -> None:
    found = months_on(day, months)
    assert (found.year * 12 + found.month) - (day.year * 12 + day.month) == months
    assert found.day <= day.day
    if found.day < day.day:
        assert months_on(date(found.year, found.month, 1), 1).toordinal() - found.toordinal() == 1


def test_the_next_test_is_due_in_a_year_and_never_for_a_unit_that_failed() -> None:
    assert source(HEALTHY).due == date(2027, 3, 2)
    assert source(FAULTY).due is None
    assert source(INTERRUPTED).due is None


def test_who_accepted_which_failure_when_and_why() -> None:
    run = source(FAULTY)
    accepted = next(
        block
        for block in made("full", run).blocks
        if isinstance(block, Table) and block.caption == "Failed, and gone on with in writing"
    )
    ((rows),) = (group.rows for group in accepted.groups)
    assert len(rows) == len(run.assessment.overrides)
    for row, override in zip(rows, run.assessment.overrides, strict=True):
        assert row.cells[0] == override.title
        assert row.cells[2] == override.reason
        assert row.cells[3].startswith("bench A\n3 March 2026, ")


def test_who_set_aside_which_check_when_and_why() -> None:
    """What the worst case asks: who let which danger go, when, and why."""

    def aside(event: Event) -> Event:
        if isinstance(event, Answered) and event.step == "plug-grip":
            return replace(event, answer="not applicable", note="it has an inlet")
        return event

    run = changed(HEALTHY, aside)
    item = next(item for item in run.state.items if item.step == "plug-grip")
    table = next(
        block
        for block in made("full", run).blocks
        if isinstance(block, Table) and block.caption == "Set aside as not applicable"
    )
    ((row,),) = (group.rows for group in table.groups)
    assert row.cells[:4] == (item.title, "", item.spec.severity, "it has an inlet")
    assert row.cells[4].startswith("bench A\n2 March 2026, ")


def test_a_document_is_plain_data_all_the_way() -> None:
    document = made("full", source(INTERRUPTED))
    assert msgspec.json.decode(msgspec.json.encode(document), type=Document) == document
    assert re.fullmatch(r"[0-9a-f]{64}", document.digest)


def test_what_has_no_room_on_one_page_is_cut_at_a_sentence() -> None:
    first, second = "The earth joint is loose (heat sink). ", "A cord of 0.75 mm² reads alike."
    assert cut(first + second, 200) == first + second
    assert cut(first + second, 45) == first.strip()
    # a first sentence that is too long wraps; the point in 0.75 ends none
    assert cut(f"{second} {first}", 20) == second
    assert cut("ends never " * 40, 50) == f"{('ends never ' * 40)[:49].rstrip()}…"


def test_a_soak_that_was_cut_short_says_after_how_long() -> None:
    """Its first readings were due after five minutes, and were taken after 15 s by the clock."""

    def short(event: Event) -> Event | None:
        if isinstance(event, Reading) and event.step == "soak":
            if event.subject.endswith("@ 5 min"):
                return replace(event, after_s=15.4)
            return event if event.subject.endswith("@ 0 min") else None
        return event

    said = _figures(changed(HEALTHY, short))
    assert said["Time at full load"] == "15 s; the soak was cut short, after 15 s of 60 min"
    run = changed(HEALTHY, short)
    conditional = changed_to(run, assessment=replace(run.assessment, verdict="conditional pass"))
    banner = next(block for block in made("full", conditional).blocks if isinstance(block, Verdict))
    assert "the soak was cut short, after 15 s of 60 min" in banner.sentence
    hottest = said["Hottest part against its limit"]
    assert "the soak was cut short, after 15 s of 60 min" in hottest
    assert "at the end of the soak" not in hottest
    run = changed(HEALTHY, _untouched)
    whole = _figures(run)
    assert whole["Time at full load"] == "150 min"
    assert "settles at" in whole["Hottest part against its limit"]
    soaks = tuple(replace(soak, enough_data=False) for soak in run.assessment.soaks)
    unsure = _figures(changed_to(run, assessment=replace(run.assessment, soaks=soaks)))
    assert "settles at" not in unsure["Hottest part against its limit"]
    assert "the soak was too short to tell" in unsure["Hottest part against its limit"]


def test_a_negative_rail_has_its_sign_in_every_form() -> None:
    for form in ("full", "short"):
        tables = [block for block in made(form, source(HEALTHY)).blocks if isinstance(block, Table)]
        rows = [
            row for table in tables for group in table.groups for row in group.rows if row.cells[0] == "-15"
        ]
        volts = rows[0].cells[2:5]
        assert all(cell.startswith(("-15", "-14")) for cell in volts), volts


def _untouched(event: Event) -> Event | None:
    return None if isinstance(event, Reading) and event.step == "hot-terminals" else event


def test_the_part_nearest_to_its_limit_is_named_by_one_rule_for_all() -> None:
    """A terminal of 38 °C in a room of 22.7 °C comes to 55.3 °C in one of 40 °C; its limit is 55 °C.

    The transformer's 80.3 °C is 19.7 K from its limit there, the case's 55.3 °C is 9.7 K.
    """
    named = _figures(source(HEALTHY))["Hottest part against its limit"]
    assert named == "Hottest terminal or knob: 38 °C; in a room of 40 °C at 55.3 °C; limit 55 °C"

    def hotter(event: Event) -> Event | None:
        if not isinstance(event, Reading) or event.step != "hot-terminals":
            return event
        value = replace(event.value, raw="52", number=Decimal(52))
        return replace(event, value=value, judged=replace(event.judged, net=52.0))

    run = changed(HEALTHY, hotter)  # 69.3 °C: beyond any doubt of the thermometer, and within 55 °C as read
    assert run.assessment.verdict == "conditional pass"
    (hot,) = run.assessment.too_hot
    assert hot.sensor == "Hottest terminal or knob"
    assert "would reach 69 °C in the hottest room allowed, limit 55 °C" in run.assessment.summary[1]
    worst = glance([past_of_state(run.state)])  # the fleet says the same of the same reading
    assert worst.margin_what == "Hottest terminal or knob (optional), in the hottest room"
    assert worst.margin_value == pytest.approx(69.3)
    soak = replace(run.assessment.soaks[0], withheld=True, may_pass_untold=True, enough_data=False)
    both = replace(run.assessment, soaks=(soak, hot))
    assert both.too_hot == (hot, soak)  # what would is said before what nobody knows


def _figures(run: Source) -> dict[str, str]:
    blocks = made("full", run).blocks
    return dict(row for block in blocks if isinstance(block, Fields) for row in block.rows)


def test_below_a_picture_stands_the_tallest_later_one_that_still_fits_and_each_stands_once() -> None:
    def picture(name: str, height: int) -> Picture:
        svg = f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 174 {height}'><path d='M0 0h9'/></svg>"
        return Picture(svg=svg, caption=f"Caption {name}.", instead=name)

    # of 258 mm of a page: 'half' and 'third' stand together, though 'tall' is between them
    drawn = (picture("half", 140), picture("tall", 220), picture("low", 40), picture("third", 85))
    blocks = (Heading(text="Pictures"), *drawn, Paragraph(text="What comes after."))
    pages, texts = pages_of(replace(made("full", source(HEALTHY)), blocks=blocks))
    at = {name: [n for n, text in enumerate(texts) if f"Caption {name}." in text] for name in
          ("half", "tall", "low", "third")}  # fmt: skip
    assert at == {"half": [0], "third": [0], "tall": [1], "low": [2]}
    assert "Pictures" in texts[0]
    assert "What comes after." in texts[2]
    assert len(pages.pages) == 3


def test_many_attempts_at_one_reading_are_one_line_and_each_stands_in_a_table_behind() -> None:
    run = source(HEALTHY)
    tried = tuple(
        HistoryRow(
            at=f"2026-03-02T09:{n:02}:00+01:00", kind="replaced", step="earth", subject="case",
            title="Earth continuity", text=f"{n}.5 Ω (fail); taken again", failed=True, attempt=True,
        )
        for n in range(1, 12)
    )  # fmt: skip
    assessment = msgspec.structs.replace(run.assessment, history=tried)
    document = made("full", changed_to(run, assessment=assessment))
    tables = {block.caption: block for block in document.blocks if isinstance(block, Table)}
    texts = {
        words: [row.cells[-1] for group in tables[WORDS(words)].groups for row in group.rows]
        for words in ("results.history", "results.attempts")
    }
    (line,) = texts["results.history"]
    assert line.startswith("read 11 times before what stands now, 11 failed; the last of them 11.5 Ω (fail)")
    assert texts["results.attempts"] == [row.text for row in tried]
    assert WORDS("results.attempts") not in [
        block.text for block in made("full", run).blocks if isinstance(block, Heading)
    ]
