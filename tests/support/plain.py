"""A run typed line by line: a story turned into what a person types, and lines read as lines."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

from ohmward.desk.moves import LEAST_ALIKE
from ohmward.desk.place import first_of, next_after, start_of
from ohmward.desk.rehearsal import Rehearsal
from ohmward.logbook import open_run
from ohmward.plain.opening import run_plain
from ohmward.run import LiveRun, guidance
from ohmward.run.answers import Row, play
from ohmward.run.together import alike
from ohmward.taking.at_hand import MetersAtHand
from support.journals import HandClock

ASKED = {"acknowledge": ["", "yes"], "case-shut": ["", "yes"], "energised": ["", "yes"]}
"""What is typed for what the guidance says comes next: go on, and yes."""


def typed_lines(scratch: Path, rows: Sequence[Row]) -> list[str]:
    """Return what a person types to make the entries of `rows`, who goes where the tool leads.

    Where a row is not what comes next, they jump to it. `scratch` is a run like the one it is for.
    """
    lines: list[str] = []
    with LiveRun(open_run(scratch)) as live:
        at = start_of(live.state)
        for row in rows:
            item, led = live.state.by_key.get((row.step, row.subject)), guidance(live.state)
            if item is not None and item != at:
                lines.append(f"jump {live.state.items.index(item) + 1}")
            lines += _typed(row)
            if lines[-1].startswith("skip ") and item is not None:
                lines += ["1"] if len(alike(live.state, item)) >= LEAST_ALIKE else []
            play(live, (row,), "story")
            if item is not None:
                at = next_after(live.state, item.key) or item
            elif row.step in {"acknowledge", "energised"}:
                at = first_of(live.state, led.stage)
            elif row.step in {"case-shut", "switched-off"}:
                at = guidance(live.state).item
    return lines


def _typed(row: Row) -> list[str]:
    if row.step in ASKED:
        return ASKED[row.step]
    if row.step == "parts":
        return [f"parts {row.value}"]
    if row.step == "switched-off":
        return ["", "yes"]
    if row.step == "close":
        return ["", "yes"]
    if row.value in {"", "pass"} and row.note:
        return [f"{row.value or 'skip'} {row.note}"]
    return [row.value]


def held(
    logbook: Path,
    path: Path,
    *lines: str,
    resumed: bool = False,
    encoding: str = "utf-8",
    meters: MetersAtHand | None = None,
    rehearsal: Rehearsal | None = None,
) -> str:
    """Type lines at a run, end the input, and return all that was said."""
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding=encoding, newline="\n")
    into = io.StringIO("".join(f"{line}\n" for line in lines))
    code = run_plain(
        logbook, path, resumed=resumed, clock=HandClock(step_s=0.0), into=into, out=out, meters=meters,
        rehearsal=rehearsal,
    )  # fmt: skip
    assert code == 0
    out.flush()
    return raw.getvalue().decode(encoding)


def words(said: str) -> str:
    """Return what was said with its lines joined, as it reads aloud."""
    return " ".join(said.split())
