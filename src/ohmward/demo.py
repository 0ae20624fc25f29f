"""The rehearsal of CR-07: shipped sheet, meters and answers, in a logbook of its own."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.logbook.clock import Clock
from ohmward.procedure.model import Item
from ohmward.run.state import RunState
from ohmward.shipped import folder

if TYPE_CHECKING:
    from ohmward.run.answers import Row

TAG = "CR-07"
STORIES = ("healthy", "faulty")


def scratch_logbook() -> Path:
    """Return a new folder for a rehearsal, apart from the real logbook."""
    return Path(tempfile.mkdtemp(prefix="ohmward-rehearsal-"))


def begin(logbook: Path, *, tool: str, operator: str = "bench A", clock: Clock | None = None) -> Path:
    """Start a rehearsal run of CR-07 in `logbook`; return its journal."""
    from ohmward.run.start import start

    shelf = logbook / "supplies"
    shelf.mkdir(parents=True, exist_ok=True)
    sheet = shelf / f"{TAG}.toml"
    if not sheet.exists():
        sheet.write_text((folder("demo") / f"{TAG}.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return start(
        logbook,
        sheet,
        meters=folder("demo") / "meters.toml",
        operator=operator,
        purpose="rehearsal",
        simulated=True,
        tool=tool,
        clock=clock,
    )


def play_story(
    logbook: Path, *, story: str, tool: str, progress: Callable[[int], None] | None = None
) -> Path:
    """Play a shipped answers file through the gates; return the journal."""
    from ohmward.logbook import open_run
    from ohmward.run import LiveRun
    from ohmward.run.answers import play

    path = begin(logbook, tool=tool)
    with LiveRun(open_run(path)) as live:
        play(live, _rows(story), f"{TAG}.{story}.csv", progress)
    return path


class Rehearsal:
    """Offers the readings of a story for a person to take with one key."""

    def __init__(self, story: str) -> None:
        self._values = {
            (row.step, row.subject): row.value for row in _rows(story) if row.value and row.step != "amend"
        }

    def reading_for(self, state: RunState, item: Item) -> str | None:
        """Return what the rehearsal meter shows for `item`, or None where it shows nothing."""
        return self._values.get(item.key)


def rehearse(logbook: Path, *, story: str, operator: str, tool: str) -> int:
    """Run the rehearsal in the terminal UI."""
    from ohmward.tui.app import run_app

    path = begin(logbook, tool=tool, operator=operator)
    return run_app(logbook, run_path=path, rehearsal=Rehearsal(story), operator=operator)


def _rows(story: str) -> tuple[Row, ...]:
    from ohmward.run.answers import parse_answers

    path = folder("demo") / f"{TAG}.{story}.csv"
    return parse_answers(path.read_text(encoding="utf-8"), path.name)
