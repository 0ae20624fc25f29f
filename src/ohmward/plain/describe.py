"""What is said of a run, as lines: where it stands, an entry, its outcome, the assessment."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import msgspec

from ohmward.analysis.rows import Assessment
from ohmward.desk import assessment_rows as rows
from ohmward.desk.allowed import allowed_moves, meter_to_choose, to_begin
from ohmward.desk.assessment_parts import joined, rail_words
from ohmward.desk.card import Card, entry_sign, next_words, outcome, title
from ohmward.desk.meter_will_do import will_do_words
from ohmward.desk.place import operator_of, to_do
from ohmward.desk.points import has_points, point_table
from ohmward.desk.words import case_words, day_words, phase_sign
from ohmward.logbook.events import Record
from ohmward.physics.expectation import Expectation
from ohmward.procedure.model import Item
from ohmward.run import guidance, progress
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import Phase, RunState
from ohmward.text import one_line, plural, tester

REHEARSAL = "REHEARSAL: nothing here is a real supply."
MOST_FOUND, MOST_MISSING = 20, 10


def status_line(state: RunState, clock: str) -> str:
    """Return what the supply is electrically, and the clock that matters."""
    parts = [
        "Rehearsal" if state.simulated else "",
        f"Supply {phase_sign(state).word}, {case_words(state)}",
        clock,
    ]
    return ". ".join(part for part in parts if part) + "."


def place_lines(state: RunState, item: Item) -> list[str]:
    """Return the stage of an entry, how far it is, and the entry's title."""
    stages = progress(state)
    number = next(n for n, stage in enumerate(stages, 1) if stage.name == item.stage)
    stage = stages[number - 1]
    same = [other.key for other in state.items if other.stage == item.stage]
    where = (
        f"Stage {number} of {len(stages)}, {one_line(stage.title)}: {stage.settled} of {stage.total} settled."
    )
    entry = f"Entry {same.index(item.key) + 1} of {len(same)}" if item.key in same else "No longer asked for"
    group = f", {one_line(item.spec.group)}" if item.spec.group else ""
    return [where, f"{entry}{group}: {title(item)}"]


def card_lines(shown: Card, *, brief: bool = False) -> Iterator[str]:
    """Yield what an entry asks for and what its reading ought to be.

    `brief` where the entry before asked for the same: the caution is said again all the same.
    """
    named = (
        ("Now", shown.now),
        ("Do", "as before; 'repeat' says it" if brief and shown.do else shown.do),
        ("Caution", shown.caution),
        ("Severity", "" if brief else shown.severity.word),
        ("Expected", shown.expected),
        ("Earlier", shown.earlier),
        ("Limit", shown.limit),
        ("Stop limit", shown.stop),
        ("Meter", shown.meter),
    )
    yield from (f"{name}: {words}" for name, words in named if words)
    yield from (f"Here: {words}" for words in shown.here)
    yield from (f"Note: {words}" for words in shown.notes)


def why_lines(shown: Card, item: Item) -> list[str]:
    """Return why an entry is asked for, how and with what meter, and where its limit comes from."""
    meter = ("A meter that will do", will_do_words(item))
    named = (("Why", shown.why), ("How", shown.method), meter, ("Limit from", shown.basis))
    return [f"{name}: {words}" for name, words in named if words] or ["Nothing more is said of this entry."]


def outcome_lines(state: RunState, item: Item, first: str) -> list[str]:
    """Return what stands recorded for an entry, begun with `first`; nothing when nothing is."""
    found = outcome(state, item)
    if found is None:
        return []
    parts = [found.figures, found.sign.word, found.predicted.word if found.predicted is not None else ""]
    return [f"{first}: {'; '.join(part for part in parts if part)}.", *found.words]


def recorded_lines(state: RunState, item: Item) -> list[str]:
    """Return what was recorded just now: when, nobody has to be told."""
    entry = state.entries.get(item.key)
    stamp = day_words(entry.at) if entry is not None else ""
    lines = outcome_lines(state, item, "Recorded")
    return [line for line in lines if not (stamp and line.startswith(stamp))]


def wanted_line(state: RunState, item: Item | None) -> str:
    """Return what comes next, and what can be typed now."""
    following = guidance(state)
    mine = item is not None and to_do(state, item) and state.phase is not Phase.HALTED
    said = []
    if following.move != "item" or (not mine and following.item is not None):
        words = next_words(state, following, item).removeprefix("Next").strip()
        if following.move == "item" and following.item is not None and not words:
            words = title(following.item)
        said = [f"Next: {words}" if words[-1:] in ".?" else f"Next: {words}.", "Enter goes on with that."]
    if mine and item is not None and following.move in {"item", "mend"}:
        said.append(_typed_line(item))
    return " ".join(said)


def _typed_line(item: Item) -> str:
    if item.is_waveform:
        return "Type waveform to take it, or skip."
    if item.read is None:
        return "Type pass, fail or not applicable; or p, f, n."
    return f"Type the value in {item.read.unit}." if item.read.unit else "Type the value."


def here_line(state: RunState, item: Item | None, *, can_read: bool) -> str:
    """Return the commands that fit the entry in hand."""
    names = ["off"] if state.phase in MAINS_ON else []
    if item is not None and item.is_waveform:
        names.append("waveform")
    elif item is not None and item.read is None:
        names += ["pass", "fail", "not applicable"]
    if item is not None and can_read and not item.is_waveform:
        names += ["read", "by itself", "points"] if has_points(item) else ["read"]
    if item is not None:
        names += ["begin"] if to_begin(state, item) else []
        names += ["meter"] if meter_to_choose(state, item) else []
    return f"Here: {', '.join([*names, 'why', 'where', 'next', 'list', *allowed_moves(state, item)])}."


def where_lines(state: RunState, records: Sequence[Record], name: str, item: Item | None) -> Iterator[str]:
    """Yield how far the run is."""
    opened = state.opened
    tag = opened.tag if opened is not None else ""
    yield f"Run {name}, {tag}, tested by: {tester(operator_of(records))}."
    stages = progress(state)
    for number, stage in enumerate(stages, 1):
        more = [
            f"{stage.failed} failed" if stage.failed else "",
            f"{stage.undecided} undecided" if stage.undecided else "",
            f"{stage.stale} stale" if stage.stale else "",
        ]
        words = ", ".join([f"{stage.settled} of {stage.total} settled", *(part for part in more if part)])
        yield f"Stage {number} of {len(stages)}, {one_line(stage.title)}: {words}."
    if item is not None:
        yield f"In hand: {title(item)}."
    words = next_words(state, guidance(state), None)
    if words:
        yield f"Next: {words.removeprefix('Next').strip()}"


def entries(state: RunState, wanted: str, here: Item | None) -> list[tuple[int, Item]]:
    """Return entries with their numbers: of the stage in hand, ``all``, those ``open``, or by words."""
    numbered = list(enumerate(state.items, 1))
    if wanted == "all":
        return numbered
    if wanted == "open":
        return [(n, item) for n, item in numbered if not state.settled(item)]
    if wanted:
        return entries_named(state, wanted)
    return [(n, item) for n, item in numbered if here is None or item.stage == here.stage]


def entries_named(state: RunState, words: str) -> list[tuple[int, Item]]:
    """Return the entries whose titles have all the words: as whole words where any has, else as parts."""
    parts = words.lower().replace(",", " ").split()
    named = [
        (n, item, f"{title(item)} {item.step}".lower().replace(",", " ").replace(":", " "))
        for n, item in enumerate(state.items, 1)
    ]
    whole = [(n, item) for n, item, name in named if set(parts) <= set(name.split())]
    return whole or [(n, item) for n, item, name in named if all(part in name for part in parts)]


def entry_line(state: RunState, number: int, item: Item) -> str:
    """Return an entry of the list, with how it stands."""
    return f"{number}. {title(item)}: {entry_sign(state, item).word}"


def points_lines(state: RunState, item: Item | None, expectation: Expectation | None) -> Iterator[str]:
    """Yield the points of the sweep or soak that an entry belongs to, one a line."""
    if item is None or not has_points(item):
        yield "This entry has no points."
        return
    table = point_table(state, item, expectation)
    for row in table.rows:
        cells = [f"{name} {cell}".strip() for name, cell in zip(table.headings, row, strict=False)]
        yield "; ".join(one_line(cell) for cell in cells)


def assessed_lines(result: Assessment, *, everything: bool) -> Iterator[str]:
    """Yield an assessment: the verdict and what to act on, or every row of it."""
    yield f"Verdict: {rows.run_verdict(result).word}."
    yield from result.summary
    readings = [row for row in result.readings if everything or row.failed or row.as_expected is False]
    checks = [row for row in result.checks if everything or row.failed]
    if readings:
        yield "Readings:" if everything else "Readings out of their limits, or not what the design predicts:"
        yield from (f"  {rows.reading_words(row)}" for row in readings)
    if checks:
        yield "Checks:" if everything else "Checks that failed:"
        yield from (f"  {rows.check_words(row)}" for row in checks)
    if everything:
        yield "Rails:"
        yield from (f"  {joined(rail_words(name, rail))}" for name, rail in result.rails.items())
    yield "Set aside, missing, or done more than once:"
    many = len(result.missing) > MOST_MISSING and not everything
    shown = msgspec.structs.replace(result, missing=[]) if many else result
    if not (many and not result.overrides and not result.history):
        yield from (f"  {': '.join(part for part in row[1:] if part)}" for row in rows.override_cells(shown))
    if many:
        lacking = plural(len(result.missing), "entry", "entries")
        yield f"  {lacking} not done, or stale: 'list open' names them."


def left_lines(state: RunState, name: str, logbook: Path) -> Iterator[str]:
    """Yield what is said on leaving."""
    if state.phase is Phase.CLOSED:
        yield "The run is closed; it is in the logbook."
        return
    yield "Everything recorded is on disk, and the run stays open."
    yield f"Go on with it: ohmward resume {name} --plain"
    yield f"Its logbook is {logbook}"
