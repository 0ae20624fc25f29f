"""A danger is answered on purpose, and an answer that stands is not given again without a word."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from ohmward.desk.deliberate import Deliberate
from ohmward.logbook import create_run
from ohmward.logbook.events import Amended, Answered
from support import bench as b
from support.journals import HandClock
from support.screens import events, press, run_screen, shown, typed

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]
THREE_DANGERS = b.PROCEDURE.replace(
    '[[stage.step]]\nid = "label"',
    """[[stage.step]]
id = "cord"
kind = "check"
title = "Cord sound"
severity = "danger"
[[stage.step]]
id = "grip"
kind = "check"
title = "Grip sound"
severity = "danger"
[[stage.step]]
id = "label\"""",
    1,
)
REPEAT_S, HELD_BACK_S = 0.033, 0.66
"""Thirty repeats a second after the longest wait that keyboards come set to (common practice, no source)."""


class ByHand:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def held_time(monkeypatch: pytest.MonkeyPatch) -> ByHand:
    clock = ByHand()
    monkeypatch.setattr("ohmward.desk.deliberate.PAUSE_S", 0.8)
    monkeypatch.setattr("ohmward.tui.run_view.Deliberate", lambda _: Deliberate(clock))
    return clock


@pytest.fixture
def dangers(logbook: Path) -> Path:
    opened = b.opened(procedure=THREE_DANGERS)
    with create_run(
        logbook, tag="CR-07", procedure_name="short", opened=opened, clock=HandClock()
    ) as journal:
        return journal.path


def answers(path: Path) -> list[tuple[str, str]]:
    return [(event.step, event.answer) for event in events(path) if isinstance(event, Answered)]


async def test_a_key_held_down_answers_one_danger_and_says_why_no_more(
    open_app: Open, dangers: Path, held_time: ByHand
) -> None:
    async with open_app(path=dangers) as pilot:
        held_time.now += 5.0
        await press(pilot, "p")
        held_time.now += HELD_BACK_S
        for _ in range(40):  # well over a second of it
            await press(pilot, "p")
            held_time.now += REPEAT_S
        assert "danger: read; press again in 1 s" in shown(pilot)
        assert answers(dangers) == [("plug", "pass")]
        held_time.now += 1.0
        await press(pilot, "p")
    assert answers(dangers) == [("plug", "pass"), ("cord", "pass")]


async def test_a_danger_just_shown_takes_no_answer_of_any_kind(
    open_app: Open, dangers: Path, held_time: ByHand
) -> None:
    async with open_app(path=dangers) as pilot:
        await press(pilot, "p", "f", "n")
        assert answers(dangers) == []
        assert "What is wrong" not in shown(pilot)
        held_time.now += 1.0
        await press(pilot, "p")
    assert answers(dangers) == [("plug", "pass")]


async def test_what_is_no_danger_is_answered_as_fast_as_one_likes(
    open_app: Open, run_path: Path, held_time: ByHand
) -> None:
    async with open_app() as pilot:
        held_time.now += 1.0
        await press(pilot, "p", "p", "p")
    assert answers(run_path) == [("plug", "pass"), ("label", "pass"), ("vents", "pass")]


async def test_the_same_answer_again_records_nothing_and_says_so(open_app: Open, run_path: Path) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "up", "p")
        assert "PASS is on record already" in shown(pilot)
        assert "e amend" in shown(pilot)
    assert answers(run_path) == [("plug", "pass")]


async def test_another_answer_is_an_amendment_with_its_reason(open_app: Open, run_path: Path) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "up", "f")
        assert "stays in the journal as it is" in shown(pilot)
        await press(pilot, "escape")
        assert not any(isinstance(event, Amended) for event in events(run_path))
        await press(pilot, "f")
        await typed(pilot, "crack under the grip")
        assert "✗ FAIL" in shown(pilot)
        assert "Amended, reason: “crack under the grip”" in shown(pilot)
    amendment = events(run_path)[-1]
    assert isinstance(amendment, Amended)
    assert amendment.answer is not None
    assert (amendment.answer.answer, amendment.answer.note) == ("fail", "crack under the grip")


async def test_after_a_fail_it_is_asked_whether_it_was_mended_or_a_mistake(
    open_app: Open, run_path: Path
) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "f", "enter", "p", "enter")
        await typed(pilot, "fan renewed")
        await press(pilot, "up")
        assert "fan renewed" in shown(pilot)
    assert [event.note for event in events(run_path) if isinstance(event, Answered)][-1] == "fan renewed"


async def test_enter_leads_to_what_comes_before_an_entry_that_is_refused(
    open_app: Open, logbook: Path
) -> None:
    # no danger itself: a danger would not be answered so soon after it is shown
    procedure = b.CHARGE_FIRST.replace('severity = "danger"\nenclosure', 'severity = "fault"\nenclosure')
    opened = b.opened(procedure=procedure)
    with create_run(
        logbook, tag="CR-07", procedure_name="short", opened=opened, clock=HandClock()
    ) as journal:
        path = journal.path
    async with open_app(path=path) as pilot:
        await press(pilot, "p", "down", "p")
        assert "before a hand goes in" in " ".join(shown(pilot).replace("┃", " ").split())
        await press(pilot, "escape", "enter")
        assert run_screen(pilot).at == ("charge-left", "+15")
