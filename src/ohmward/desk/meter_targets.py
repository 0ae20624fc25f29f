"""What the listed meters cannot decide of the supplies of a logbook, before a run is begun."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ohmward.bench.meters import Meter
from ohmward.errors import OhmwardError
from ohmward.logbook import Logbook
from ohmward.procedure import expand, load, load_limits
from ohmward.supply import load as load_sheet
from ohmward.taking.deciding import Undecided, undecided
from ohmward.text import one_line

PROCEDURE = "commissioning"
"""What a supply is held against: no other asks for more."""


def undecided_here(logbook: Path, meters: Sequence[Meter]) -> tuple[list[Undecided], list[str]]:
    """Return what the meters cannot decide of each supply, by its tag; and which sheets were not read."""
    found: list[Undecided] = []
    unread: list[str] = []
    try:
        sheets = Logbook(logbook).sheets()
        procedure = load(PROCEDURE)
    except OhmwardError as error:
        return [], [one_line(str(error))]
    for path in sheets:
        try:
            supply = load_sheet(path)
            items = expand(procedure, supply, load_limits(supply.limit_set))
        except OhmwardError:
            unread.append(f"{one_line(path.name)}: not a sheet that reads, so its limits were not looked at")
            continue
        tag = one_line(supply.tag)
        found += [
            Undecided(meter=each.meter, words=f"{tag}: {each.words}") for each in undecided(items, meters)
        ]
    return found, unread


def undecided_json(found: Sequence[Undecided]) -> list[dict[str, object]]:
    """Return the limits that meters cannot decide."""
    return [{"meter": each.meter, "words": each.words} for each in found]


def undecided_text(found: Sequence[Undecided], unread: Sequence[str]) -> str:
    """Return the limits that meters cannot decide, and whose were not looked at; empty where all is well."""
    lines = [*(each.words for each in found), *unread]
    head = "What they cannot decide of the supplies here:" if found else ""
    return "\n".join(line for line in (head, *(f"  {line}" for line in lines)) if line)
