"""Which readings of an assessment are listed: by how they turned out, by stage or rail, by words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from ohmward.analysis.assessment import Assessment
from ohmward.analysis.rows import MissingRow, ReadingRow
from ohmward.desk.assessment_rows import name_of, reading_cells
from ohmward.run.state import RunState
from ohmward.supply.model import Rail
from ohmward.text import one_line

Kind = Literal["all", "failed", "unexpected", "not done", "gone on with"]
KINDS: tuple[Kind, ...] = ("all", "failed", "unexpected", "not done", "gone on with")
Row = ReadingRow | MissingRow


class Place(NamedTuple):
    """A stage or a rail; neither: everywhere."""

    stage: str = ""
    rail: str = ""


EVERYWHERE = Place()


@dataclass(frozen=True, slots=True, kw_only=True)
class Filter:
    """What is asked for; all three have to hold."""

    kind: Kind = "all"
    place: Place = EVERYWHERE
    words: str = ""

    def next_kind(self) -> Kind:
        """Return the kind after this one, round and round."""
        return KINDS[(KINDS.index(self.kind) + 1) % len(KINDS)]


def places(state: RunState) -> list[tuple[str, Place]]:
    """Return every place that can be asked for, with its name."""
    stages = [
        (one_line(f"stage {number}: {stage.title}"), Place(stage=stage.name))
        for number, stage in enumerate(state.procedure.stages if state.procedure else (), 1)
    ]
    rails = [(one_line(f"rail {rail.name}"), Place(rail=rail.name)) for rail in _rails(state)]
    return [("everywhere", EVERYWHERE), *stages, *rails]


def listed(result: Assessment, state: RunState, wanted: Filter) -> list[Row]:
    """Return the rows asked for, in the order of the procedure.

    'Not done' also lists what is missing, the checks among it; a reading that is stale counts as both.
    """
    rows: list[Row] = [row for row in result.readings if _is(row, wanted.kind)]
    if wanted.kind == "not done":
        have = {(row.step, row.subject) for row in result.readings if _is(row, "not done")}
        rows += [row for row in result.missing if (row.step, row.subject) not in have]
        order = {item.key: number for number, item in enumerate(state.items)}
        rows.sort(key=lambda row: order.get((row.step, row.subject), len(order)))
    return [row for row in rows if _in(row, state, wanted.place) and _says(row, wanted.words)]


def filter_words(wanted: Filter, state: RunState, count: int, total: int) -> str:
    """Return what is listed, in a line."""
    where = {place: name for name, place in places(state)}[wanted.place]
    parts: list[str] = [wanted.kind if wanted.kind != "all" else "all readings"]
    parts += [where] if wanted.place != EVERYWHERE else []
    parts += [f"with '{one_line(wanted.words)}'"] if wanted.words.strip() else []
    return f"Listed: {', '.join(parts)} – {count} of {total}"


def _is(row: ReadingRow, kind: Kind) -> bool:
    return {
        "all": True,
        "failed": row.failed,
        "unexpected": row.as_expected is False,
        "not done": row.verdict == "not done" or row.stale,
        "gone on with": bool(row.override),
    }[kind]


def _in(row: Row, state: RunState, place: Place) -> bool:
    item = state.by_key.get((row.step, row.subject))
    right_rail = not place.rail or (item is not None and item.rail == place.rail)
    return right_rail and (not place.stage or row.stage == place.stage)


def _says(row: Row, words: str) -> bool:
    text = name_of(row.title, row.subject)
    if isinstance(row, ReadingRow):
        text = " ".join((text, *reading_cells(row), row.note, row.override, row.meter))
    return all(word in text.casefold() for word in words.casefold().split())


def _rails(state: RunState) -> tuple[Rail, ...]:
    return state.supply.rails if state.supply else ()
