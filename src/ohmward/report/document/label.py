"""The label for the case: the verdict large, the date, when it is due again, and the journal's hash."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass

import msgspec

from ohmward.errors import InputError, Mistake
from ohmward.report.document.blocks import Tone
from ohmward.report.document.pdf import typeset
from ohmward.report.document.phrases import outcome_key, outcome_tone
from ohmward.report.document.source import Source
from ohmward.report.document.words import Words

STOCK = ("89x36", "62x29", "57x32", "63.5x38.1", "70x37", "99.1x38.1", "66.7x25.4", "101.6x50.8")
"""Sizes of common label stock, width x height [mm]; the first is taken where none is asked for."""
LEAST_MM, MOST_MM = 24.0, 300.0
LEAST_LONG_MM = 45.0
"""Below these the modules of the code come under 0.3 mm; from trials on 300 dots per inch."""
_SIZE = re.compile(r"(\d{1,3}(?:\.\d+)?)\s*[x×]\s*(\d{1,3}(?:\.\d+)?)\s*(mm|in)?")
_MM_PER_INCH = 25.4
DOTS_PER_INCH = 300.0
LONGEST_TITLE = 60


@dataclass(frozen=True, slots=True)
class Size:
    """Width and height [mm]."""

    width_mm: float
    height_mm: float


class Label(msgspec.Struct, frozen=True, kw_only=True):
    """What a label says."""

    width_mm: float
    height_mm: float
    language: str
    direction: str
    title: str
    word: str
    tone: Tone
    rehearsal: str
    tag: str
    order: str
    """What the reader has to do, beside the tag; empty where nothing."""
    finding: str
    """What stands against a pass, large below the verdict and never left off; empty where nothing does."""
    lines: tuple[str, ...]
    """The last are left off first, where there is no room."""
    svg: str
    """The QR code."""
    instead: str
    """What it holds, in words."""
    digest: str
    at: str


def parse_size(text: str) -> Size:
    """Return the size of a label: ``89x36``, ``89x36mm`` or ``4x2in``.

    Raises
    ------
    InputError
        When it is no size, or one on which nothing could be read.
    """
    found = _SIZE.fullmatch(text.strip().lower())
    why = "not a width and a height"
    if found is not None:
        factor = _MM_PER_INCH if found[3] == "in" else 1.0
        size = Size(float(found[1]) * factor, float(found[2]) * factor)
        least, most = sorted((size.width_mm, size.height_mm))
        if least >= LEAST_MM and LEAST_LONG_MM <= most <= MOST_MM:
            return size
        why = (
            f"too small for a code that can be read, or too large: at least {LEAST_MM:.0f} by "
            f"{LEAST_LONG_MM:.0f} mm, at most {MOST_MM:.0f} mm"
        )
    raise InputError(
        [
            Mistake(
                where="command line",
                field="--size",
                value=text,
                why=why,
                mend=f"Write it as 89x36 (mm) or 4x2in; common stock: {', '.join(STOCK)}",
            )
        ]
    )


def label(words: Words, source: Source, size: Size) -> Label:
    """Return the label of a run: a pure function of it."""
    outcome = source.outcome
    key = outcome_key(outcome, likely=source.assessment.likely_fault is not None)
    # a label has no room for by how little it failed
    word = words("label.conditional_fail" if key == "conditional_fail" else f"outcome.{key}")
    title = source.supply.title
    if len(title) > LONGEST_TITLE:
        title = f"{title[: LONGEST_TITLE - 1].rstrip()}…"
    digest = source.verification.last_digest
    payload = words(
        "label.qr",
        run=source.facts.run,
        verdict=word,
        date=source.tested.isoformat(),
        records=source.verification.records,
        digest=digest,
    )
    if source.facts.simulated:
        payload = f"{words('plain.rehearsal')}\n{payload}"
    return Label(
        width_mm=size.width_mm,
        height_mm=size.height_mm,
        language=words.language,
        direction=words.style.direction,
        title=f"{source.facts.tag}: {word}",
        word=word,
        tone=outcome_tone(outcome),
        rehearsal=words("plain.rehearsal") if source.facts.simulated else "",
        tag=source.facts.tag,
        order=words("label.do_not_use") if outcome in {"fail", "conditional_fail", "unsound"} else "",
        finding=_finding(words, source),
        lines=(*_lines(words, source), title, words("label.alone")),
        svg=qr_svg(payload),
        instead=payload,
        digest=digest,
        at=source.last_at,
    )


def _lines(words: Words, source: Source) -> tuple[str, ...]:
    outcome = source.outcome
    tested = words("label.tested", date=words.day(source.tested.isoformat()))
    people = ", ".join(name for name in source.operators if name)
    lines = [f"{tested}, {words('label.by', operator=people)}" if people else tested]
    if source.due is None:
        lines.append(words("label.no_due"))
    else:
        lines.append(words("label.due", date=words.day(source.due.isoformat())))
    if outcome == "conditional_pass" and not _finding(words, source):
        lines.append(words("label.conditions"))
    if source.facts.untimed:
        lines.append(words("label.fed"))
    digest = source.verification.last_digest
    lines.append(words("label.hash", short=" ".join(digest[at : at + 4] for at in range(0, 16, 4))))
    return tuple(lines)


def _finding(words: Words, source: Source) -> str:
    """Return what stands against a pass, which is never left off: a likely fault, what gets too hot."""
    if source.outcome != "conditional_pass":
        return ""
    likely, hot = source.assessment.likely_fault, source.assessment.too_hot
    said = [words("label.finding", title=likely.title)] if likely is not None else []
    said += [words("label.too_hot", sensor=hot[0].sensor)] if hot else []
    return "\n".join(said)


def qr_svg(payload: str) -> str:
    """Return a QR code with its quiet zone as SVG, the same for the same text."""
    import segno

    out = io.BytesIO()
    segno.make(payload, error="m", micro=False, boost_error=False).save(
        out, kind="svg", border=4, xmldecl=False, svgns=True, light="#fff"
    )
    return out.getvalue().decode()


def label_pdf(made: Label, fonts: Sequence[str] = ()) -> tuple[bytes, tuple[str, ...]]:
    """Set a label as PDF; return it and the scripts that no font has."""
    pages, scripts = typeset("label.typ", made, fonts)
    return pages[0], scripts


def label_png(made: Label, fonts: Sequence[str] = ()) -> tuple[bytes, tuple[str, ...]]:
    """Set a label as PNG at `DOTS_PER_INCH`; return it and the scripts that no font has."""
    pages, scripts = typeset("label.typ", made, fonts, form="png", dots_per_inch=DOTS_PER_INCH)
    return pages[0], scripts
