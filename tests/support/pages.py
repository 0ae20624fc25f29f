"""HTML pages of every form, of all kinds of run, for checkers from outside the project."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from msgspec.structs import replace

from ohmward.logbook.events import Event, Opened
from ohmward.report.document import documents
from ohmward.report.document.html import to_html
from ohmward.report.document.pictures import drawn
from ohmward.report.document.source import Source
from ohmward.report.document.words import load_words
from report.test_documents import hostile, many_rails
from support.reports import FAULTY, HEALTHY, INTERRUPTED, changed, source

FORMS = ("full", "short", "repair")

RIGHT_TO_LEFT = """
language = "he"
[style]
direction = "rtl"
[outcome]
fail = "\u05e0\u05db\u05e9\u05dc"
"""


def written(run: str, folder: Path) -> dict[str, Path]:
    """Write the page of every form of a run of `RUNS` into a folder; return where each is."""
    words, made = load_words(), RUNS[run](folder)
    if run == "right-to-left":
        own = folder / "he.toml"
        own.write_text(RIGHT_TO_LEFT, encoding="utf-8")
        words = load_words(str(own))
    paths = {}
    for form in FORMS:
        if form == "full" and run == "rehearsal":
            document = documents.full(words, made, pictures=tuple(drawn(words, made)))
        else:
            document = getattr(documents, form)(words, made)
        paths[form] = folder / f"{run}-{form}.html"
        paths[form].write_text(to_html(document), encoding="utf-8")
    return paths


def _real(event: Event) -> Event:
    if isinstance(event, Opened):
        sheet = event.sheet.replace("(simulated example)", "")
        return replace(event, simulated=False, sheet=sheet, purpose="the yearly look")
    return event


def _to_the_left(event: Event) -> Event:
    if isinstance(event, Opened):
        return replace(
            event, operator="\u05d1\u05d3\u05d9\u05e7\u05d4", purpose="\u05d1\u05d3\u05d9\u05e7\u05d4 12 V"
        )
    return event


RUNS: dict[str, Callable[[Path], Source]] = {
    "healthy": lambda _: changed(HEALTHY, _real),
    "failed": lambda _: changed(FAULTY, _real),
    "rehearsal": lambda _: source(INTERRUPTED),
    "hostile": lambda _: hostile(FAULTY),
    "right-to-left": lambda _: changed(FAULTY, _to_the_left),
    "many": lambda folder: many_rails(folder, 40, 200),
}
