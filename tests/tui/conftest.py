"""A logbook with one sheet and one short run, and an app over it."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from ohmward.desk.who_tests import Who
from ohmward.logbook import create_run
from ohmward.tui.app import OhmwardApp
from support import bench as b
from support.journals import HandClock
from support.screens import NARROW, Bench, settled

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]


@pytest.fixture(autouse=True)
def _answers_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take answers to dangers as fast as a test gives them, but for `test_deliberate`."""
    monkeypatch.setattr("ohmward.desk.deliberate.PAUSE_S", 0.0)


@pytest.fixture
def logbook(tmp_path: Path) -> Path:
    shelf = tmp_path / "supplies"
    shelf.mkdir()
    (shelf / "CR-07.toml").write_text(b.SHEET, encoding="utf-8")
    return tmp_path


@pytest.fixture
def run_path(logbook: Path) -> Path:
    with create_run(
        logbook, tag="CR-07", procedure_name="short", opened=b.opened(), clock=HandClock()
    ) as journal:
        return journal.path


@pytest.fixture
def open_app(logbook: Path, run_path: Path) -> Open:
    """Open the app on the run; at the end no exception may have gone unforeseen, and the file is let go."""

    @asynccontextmanager
    async def at(
        size: tuple[int, int] = NARROW,
        *,
        path: Path | None = run_path,
        rehearsal: Bench | None = None,
        no_color: bool = False,
        who: Who | None = None,
    ) -> AsyncIterator[Pilot[None]]:
        app = OhmwardApp(
            logbook, run_path=path, rehearsal=rehearsal, clock=HandClock(step_s=0.0), no_color=no_color,
            who=who or Who("bench A"),
        )  # fmt: skip
        try:
            async with app.run_test(size=size) as pilot:
                await settled(pilot)
                yield pilot
        finally:
            app.let_go()
        if app.crash is not None:
            raise app.crash

    return at
