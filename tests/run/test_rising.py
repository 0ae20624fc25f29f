"""Whether a soak has settled is held against what was read: a pass against the figures wants words.

1 K in half an hour is what the step asks: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from ohmward.desk.card import card
from ohmward.errors import InputError, Refused
from ohmward.logbook.events import Answered
from ohmward.procedure import loads, source_text
from ohmward.run import LiveRun, assess_state
from ohmward.run.rising import gained
from ohmward.run.state import Standing
from support.walked import CR_11, begun, walked

SETTLED = ("soak-settled", "")
MINUTES = (0, 5, 10, 20, 30, 40, 50, 60)


@contextmanager
def soaked(
    tmp_path: Path, transformer: tuple[float, ...], room: tuple[float, ...] = (22.0,) * 8
) -> Iterator[LiveRun]:
    """A run whose soak read these temperatures, up to the check."""
    path = begun(tmp_path, CR_11)
    values = {("soak", f"transformer @ {t} min"): f"{c}" for t, c in zip(MINUTES, transformer, strict=True)}
    values |= {("soak", f"room air @ {t} min"): f"{c}" for t, c in zip(MINUTES, room, strict=True)}
    with walked(path, lambda item: item.key == SETTLED, values) as live:
        yield live


RISING = (22.0, 26.0, 29.0, 33.0, 36.0, 38.0, 39.5, 40.5)
HELD = (22.0, 28.0, 33.0, 38.0, 40.0, 40.5, 40.8, 41.0)


def test_a_pass_against_the_readings_wants_words_and_keeps_the_figures(tmp_path: Path) -> None:
    with soaked(tmp_path, RISING) as live:
        before = live.state.last_seq
        with pytest.raises(Refused) as refused:
            live.answer(*SETTLED, "pass")
        assert "transformer +4.5 K in the last 30 min" in refused.value.reasons[0]
        with pytest.raises(Refused):
            live.answer(*SETTLED, "not applicable")
        assert live.state.last_seq == before
        live.answer(*SETTLED, "pass", "an hour was all there was")
        event = live.state.entries[SETTLED].event
        assert isinstance(event, Answered)
        assert "transformer +4.5 K" in event.against
        result = assess_state(live.state)
        said = next(line for line in result.summary if line.startswith("Against the readings"))
        assert "transformer +4.5 K" in said
        assert "In writing: an hour was all there was." in said


def test_a_pass_that_the_readings_bear_out_is_taken_as_it_is(tmp_path: Path) -> None:
    with soaked(tmp_path, HELD) as live:
        live.answer(*SETTLED, "pass")
        item = live.state.by_key[SETTLED]
        assert live.state.standing(item) is Standing.PASSED
        event = live.state.entries[SETTLED].event
        assert isinstance(event, Answered)
        assert event.against == ""


def test_a_room_that_warms_is_not_a_supply_that_does(tmp_path: Path) -> None:
    room = tuple(22.0 + 0.1 * t for t in MINUTES)
    both = tuple(t + r - 22.0 for t, r in zip(HELD, room, strict=True))
    with soaked(tmp_path, both, room) as live:
        found = {each.sensor: each.by_k for each in gained(live.state, live.state.by_key[SETTLED])}
        assert found["transformer"] == pytest.approx(1.0)
        assert not any(
            each.still_rises
            for each in gained(live.state, live.state.by_key[SETTLED])
            if each.sensor == "transformer"
        )


def test_the_card_says_what_the_readings_say(tmp_path: Path) -> None:
    with soaked(tmp_path, RISING) as live:
        shown = card(live.state, live.state.by_key[SETTLED], None, pending=False, meter="")
        assert any("transformer +4.5 K" in note and "STILL RISES" in note for note in shown.notes)


def test_a_check_settles_an_earlier_soak_and_nothing_else() -> None:
    text = source_text("commissioning").replace('settles = "soak"', 'settles = "sook"')
    with pytest.raises(InputError) as error:
        loads(text)
    assert "no earlier soak has this id" in str(error.value)
