"""A run in hand is offered before another of its supply is begun; the page knows what is due."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import msgspec

from ohmward.desk.bench_look import look_at, procedure_due
from ohmward.desk.bench_rows import supply_rows
from ohmward.desk.other_runs import Begin, instead
from ohmward.logbook import create_run
from ohmward.run import LiveRun
from support import bench as b
from support.journals import HandClock

SAMPLES = Path(__file__).parents[2] / "sample_logs"


class Picks:
    """Talks: takes one of the options, and keeps what was said."""

    def __init__(self, pick: int | None) -> None:
        self.pick, self.said = pick, ""

    async def aside(self, work: Callable[[], Any]) -> Any:
        return work()

    async def choose(
        self, heading: str, options: Sequence[str], lines: Sequence[str] = (), at: int = 0, keys: str = ""
    ) -> int | None:
        self.said = "\n".join((heading, *options, *lines))
        return self.pick


def run_of(folder: Path, *, simulated: bool = False, entered: bool = False) -> Path:
    shelf = folder / "supplies"
    shelf.mkdir(exist_ok=True)
    (shelf / "CR-07.toml").write_text(b.SHEET, encoding="utf-8")
    opened = msgspec.structs.replace(b.opened(), simulated=simulated)
    with create_run(folder, tag="CR-07", procedure_name="short", opened=opened, clock=HandClock()) as journal:
        if entered:
            LiveRun(journal).answer("plug", "", "pass")
        return journal.path


async def asked(folder: Path, pick: int | None) -> tuple[Begin | None, str]:
    desk = Picks(pick)
    found = await instead(desk, folder, folder / "supplies" / "CR-07.toml", simulated=False)
    return found, desk.said


async def test_a_run_in_hand_is_resumed_or_another_begun_beside_it(tmp_path: Path) -> None:
    path = run_of(tmp_path, entered=True)
    found, said = await asked(tmp_path, 0)
    assert found == Begin(path)
    assert said.startswith(
        "1 run of CR-07 in hand\nresume short, begun 2026-03-01, at 'Visual inspection': 2 records"
    )
    assert "Nothing is entered" not in said
    assert (await asked(tmp_path, 1))[0] == Begin()
    assert (await asked(tmp_path, None))[0] is None


async def test_of_one_without_entries_it_is_said_how_to_be_rid_of_it(tmp_path: Path) -> None:
    path = run_of(tmp_path)
    _, said = await asked(tmp_path, 0)
    assert "Nothing is entered in CR-07/" in said
    assert f"or delete its file, {path.name}" in said


async def test_nothing_is_asked_where_none_is_in_hand_or_only_a_rehearsal(tmp_path: Path) -> None:
    run_of(tmp_path, simulated=True)
    assert await asked(tmp_path, None) == (Begin(), "")


def test_what_is_due_is_what_the_bench_says(tmp_path: Path) -> None:
    shutil.copytree(SAMPLES / "runs", tmp_path / "runs")
    shutil.copytree(SAMPLES / "supplies", tmp_path / "supplies")
    today = date(2026, 12, 1)
    rows = [row for row in supply_rows(look_at(tmp_path, today)) if row.sheet is not None]
    assert {row.procedure for row in rows} - {"commissioning"}
    for row in rows:
        assert row.sheet is not None
        assert procedure_due(tmp_path, row.sheet, today) == row.procedure
