"""The label: sizes of common stock, a code that reads back, and a verdict nobody can mistake."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date
from pathlib import Path

import pypdf
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace as changed
from PIL import Image

from ohmward.errors import InputError
from ohmward.report.document.label import STOCK, Size, label, label_pdf, label_png, parse_size
from ohmward.report.document.words import load_words
from support.reports import FAULTY, HEALTHY, INTERRUPTED, source, squeezed

WORDS = load_words()


@pytest.mark.parametrize("size", [*STOCK, "25x45", "4x2in"])
def test_the_code_reads_back_from_the_picture_at_every_size(size: str) -> None:
    run = source(FAULTY)
    data, _ = label_png(label(WORDS, run, parse_size(size)))
    image = Image.open(io.BytesIO(data))
    width = parse_size(size).width_mm
    assert image.width / 300 * 25.4 == pytest.approx(width, abs=0.2)
    (code,) = zxingcpp.read_barcodes(image.convert("L"))
    assert run.verification.last_digest in code.text
    assert run.facts.run in code.text
    assert code.text.startswith("REHEARSAL")
    assert "FAIL" in code.text


@pytest.mark.parametrize("size", STOCK)
@pytest.mark.parametrize(
    ("path", "word", "told"),
    [
        (HEALTHY, "PASS", "Next due 2 March 2027"),
        (FAULTY, "FAIL", "DO NOT USE"),
        (INTERRUPTED, "NOT FINISHED", "Test again before use"),
    ],
)
def test_the_verdict_and_what_follows_from_it_stand_on_every_size(
    size: str, path: Path, word: str, told: str
) -> None:
    run = source(path)
    reader = pypdf.PdfReader(io.BytesIO(label_pdf(label(WORDS, run, parse_size(size)))[0]))
    (page,) = reader.pages
    text = page.extract_text()
    asked = parse_size(size)
    assert float(page.mediabox.width) / 72 * 25.4 == pytest.approx(asked.width_mm, abs=0.05)
    assert float(page.mediabox.height) / 72 * 25.4 == pytest.approx(asked.height_mm, abs=0.05)
    for piece in (word, told, "REHEARSAL", "CR-07"):
        assert squeezed(piece) in squeezed(text)
    if word != "PASS":
        assert "PASS" not in text
    assert run.verification.last_digest in str(reader.metadata)


def test_another_day_can_be_named_and_the_same_run_gives_the_same_bytes() -> None:
    run = replace(source(HEALTHY), due=date(2026, 9, 1))
    made = label(WORDS, run, Size(89, 36))
    assert "Next due 1 September 2026" in made.lines
    assert label_pdf(made) == label_pdf(label(WORDS, run, Size(89, 36)))
    assert label_png(made) == label_png(label(WORDS, run, Size(89, 36)))


def test_the_least_label_leaves_off_a_line_rather_than_cut_it() -> None:
    """Text that is clipped is still in a PDF: what does not fit must not be there at all."""
    made = label(WORDS, source(FAULTY), parse_size("25x45"))
    (page,) = pypdf.PdfReader(io.BytesIO(label_pdf(made)[0])).pages
    text = squeezed(page.extract_text())
    for piece in ("REHEARSAL", "FAIL", "DO NOT USE", "CR-07", "Tested 3 March 2026, by bench A"):
        assert squeezed(piece) in text
    assert "Test again" not in page.extract_text()


def test_a_long_tag_and_title_stay_on_the_label() -> None:
    run = source(HEALTHY)
    facts = changed(run.facts, tag="T" * 120)
    data, _ = label_png(label(WORDS, replace(run, facts=facts), Size(62, 29)))
    assert zxingcpp.read_barcodes(Image.open(io.BytesIO(data)).convert("L"))


@pytest.mark.parametrize(
    "text", ["", "89", "89x", "x36", "10x10", "24x30", "400x36", "89x36cm", "-89x36", "9e1x36"]
)
def test_a_size_that_is_none_or_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="common stock"):
        parse_size(text)


@given(st.integers(45, 300), st.integers(24, 300))
def test_sizes_are_taken_as_written(width: int, height: int) -> None:
    assert parse_size(f"{width}x{height}") == parse_size(f" {width} × {height} mm ") == Size(width, height)


def test_inches() -> None:
    assert parse_size("4x2in") == Size(101.6, 50.8)


@pytest.mark.parametrize("size", STOCK)
def test_what_stands_against_a_pass_is_on_every_size_and_as_large_as_what_names_the_unit(size: str) -> None:
    words = load_words()
    finding = words("label.finding", title="One diode, or one half of the winding, is open")
    made = changed(
        label(words, source(HEALTHY), parse_size(size)),
        word=words("outcome.conditional_pass"), tone="conditions", rehearsal="", finding=finding,
    )  # fmt: skip
    page = pypdf.PdfReader(io.BytesIO(label_pdf(made)[0])).pages[0]
    sizes: dict[str, float] = {}

    def seen(text: str, _: object, matrix: list[float], __: object, points: float) -> None:
        for word in ("leave", "CR-07", "Tested"):
            if word in text:
                sizes[word] = points * abs(matrix[0])

    said = " ".join(page.extract_text(visitor_text=seen).split())
    assert finding.replace(" ", "") in said.replace(" ", "")
    assert sizes["leave"] >= sizes["CR-07"] > sizes.get("Tested", 0.0)


def test_a_likely_fault_goes_before_the_pass_and_no_next_date_is_given() -> None:
    whole = source(HEALTHY)
    causes = source(FAULTY).assessment.causes
    assessment = changed(whole.assessment, verdict="conditional pass", causes=causes)
    made = label(load_words(), replace(whole, assessment=assessment, due=None), parse_size("62x29"))
    assert made.word == "FAULT LIKELY"
    assert made.finding.startswith("Do not leave it on.")
    assert not any("Next due" in line for line in made.lines)
