"""What to expect of a design sheet by itself, before there is a run, and what is found on it."""

from __future__ import annotations

from ohmward.desk.words import SEVERITIES
from ohmward.physics.expectation import Expectation
from ohmward.physics.targets import all_findings
from ohmward.run.expected import ROOM_C
from ohmward.supply.model import Supply


def of_sheet(supply: Supply) -> Expectation:
    """Return what to expect at nominal mains and usual room temperature; raises as `physics.expect` does."""
    from ohmward.physics import expect

    return expect(supply, ambient_c=ROOM_C)


def finding_rows(supply: Supply, expected: Expectation | None) -> list[tuple[str, str, str, str]]:
    """Return the findings on a design as rows; one that says so where there is none.

    With nothing expected yet (None), or where nothing can be, targets are not judged.
    """
    found = all_findings(supply, expected)
    rows = [
        (str(SEVERITIES[each.severity]).split(":")[0], each.field, each.text, each.basis) for each in found
    ]
    none = (
        "the sheet gives no cause for concern" if expected is not None else "its targets are not judged yet"
    )
    return rows or [("✓ nothing", "", none, "")]


def grave_words(supply: Supply) -> list[str]:
    """Return each finding of fault or danger on a design as a line, to be told as a run begins."""
    found = all_findings(supply, of_sheet(supply))
    return [f"Design, {each.severity}: {each.text}." for each in found if each.severity != "improvement"]
