"""What nothing foresaw: one sentence, the journal intact, the work goes on."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest
from textual.app import App
from textual.pilot import Pilot

from ohmward.desk.trouble import FILE
from ohmward.errors import Exit
from ohmward.logbook import verify
from ohmward.tui import sitting
from ohmward.tui.app import OhmwardApp
from ohmward.tui.assessment_panes import PicturePane
from ohmward.tui.history_plot import HistoryPlot
from ohmward.tui.points_pane import PointsPane
from ohmward.tui.run_view import RunView
from support.journals import HandClock
from support.screens import kinds, press, run_screen, settled, shown, typed

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]


def test_the_name_that_takes_unforeseen_errors_is_still_textuals() -> None:
    assert callable(getattr(App, "_handle_exception", None))


async def test_an_unforeseen_error_in_a_widget_ends_the_app_without_a_traceback(
    logbook: Path, run_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    app = OhmwardApp(logbook, run_path=run_path, clock=HandClock())
    async with app.run_test() as pilot:
        await settled(pilot)
        await press(pilot, "p")

        def broken(_: object) -> None:
            raise ZeroDivisionError("nobody thought of it")

        monkeypatch.setattr(RunView, "show_next", broken)
        app.simulate_key("down")
        while app.crash is None:  # the app is gone then, and nothing of it can be waited for
            await asyncio.sleep(0.01)
    app.let_go()
    assert isinstance(app.crash, ZeroDivisionError)
    assert app.last_run == run_path
    assert verify(run_path).intact
    assert kinds(run_path) == ["Opened", "Resumed", "Answered"]
    assert "Traceback" not in "".join(capsys.readouterr())


async def test_an_unforeseen_error_while_recording_is_one_sentence_and_the_journal_decides(
    open_app: Open, logbook: Path, run_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with open_app() as pilot:

        def broken(*_: object, **__: object) -> None:
            raise ZeroDivisionError("nobody thought of it")

        monkeypatch.setattr(run_screen(pilot).live, "note", broken)
        await press(pilot, "w")
        await typed(pilot, "x")
        text = shown(pilot)
        assert "Not recorded" in text
        assert "ZeroDivisionError" in text
        assert "Traceback" not in text
        await press(pilot, "enter", "p")
    assert kinds(run_path)[-1] == "Answered"
    assert "nobody thought of it" in (logbook / FILE).read_text(encoding="utf-8")


class Scripted(OhmwardApp):
    """An app whose sittings end as told, without a terminal."""

    script: list[Exception | None] = []  # noqa: RUF012
    seen: list[tuple[Path | None, str]] = []  # noqa: RUF012

    def run(self, *_: object, **__: object) -> None:
        self.seen.append((self._first, self._notice))
        self.last_run = self._first
        self.crash = self.script.pop(0)


@pytest.mark.parametrize(
    ("errors", "code", "at_the_run"),
    [(0, Exit.DONE, [True]), (1, Exit.DONE, [True, True]), (2, Exit.DONE, [True, True, False]),
     (3, Exit.UNREACHABLE, [True, True, False])],
)  # fmt: skip
def test_after_an_error_the_run_is_offered_again_then_the_bench_then_it_gives_up_in_one_line(
    errors: int, code: Exit, at_the_run: list[bool], run_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sitting, "OhmwardApp", Scripted)
        patch.setattr(Scripted, "script", [*(KeyError(str(n)) for n in range(errors)), None])
        patch.setattr(Scripted, "seen", [])
        assert sitting.run_app(run_path.parents[2], run_path=run_path) == code
        assert [path is not None for path, _ in Scripted.seen] == at_the_run
        assert all("went wrong" in notice for _, notice in Scripted.seen[1:])
    err = capsys.readouterr().err
    assert "Traceback" not in err
    assert err.count("\n") == (1 if code is Exit.UNREACHABLE else 0)


@pytest.mark.parametrize("kind", [PicturePane, PointsPane, HistoryPlot], ids=lambda kind: str(kind.__name__))
async def test_a_plot_that_is_still_to_be_drawn_when_its_screen_is_closed_harms_nobody(
    kind: type[PicturePane | PointsPane | HistoryPlot],
) -> None:
    app: App[None] = App()
    async with app.run_test() as pilot:
        pane = kind(id="pane")
        await app.mount(pane)
        await pane.remove_children()
        pane.on_resize()
        await pilot.pause()
        await pane._draw()
    assert app._exception is None
