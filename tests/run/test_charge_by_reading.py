"""Where no bleeder is on the sheet no time tells anything: a reading takes the place of the wait."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from ohmward.desk.card import card
from ohmward.desk.place import next_after
from ohmward.errors import Refused
from ohmward.run import LiveRun, guidance
from ohmward.run.charge import discharge_wait_s
from ohmward.run.guidance import make_safe_words
from ohmward.run.state import Phase
from ohmward.supply import discharge_seconds
from support.walked import CR_11, TIMED, begun, walk, walked

WITHOUT = re.sub(r', bleeder = "680 Ω"', "", CR_11)
WAIT, RESIDUAL = ("discharge-wait", ""), ("residual", "24")


def phase(live: LiveRun) -> Phase:
    return live.state.phase


def switched_off(live: LiveRun) -> None:
    walk(live, lambda item: item.step == "lamp-first")
    live.switch_off()
    live.answer("unplugged", "", "pass")


def test_the_wait_does_not_pass_before_the_reservoir_is_read_whatever_is_said(tmp_path: Path) -> None:
    with walked(begun(tmp_path, WITHOUT), lambda item: item.step == "cord-sheath") as live:
        switched_off(live)
        for note in ("", TIMED, "waited a whole night"):
            with pytest.raises(Refused) as refused:
                live.answer(*WAIT, "pass", note)
            assert "Residual voltage (24)" in " ".join(refused.value.reasons)
        assert phase(live) is Phase.OFF


def test_the_reading_is_asked_first_and_the_wait_holds_when_it_does(tmp_path: Path) -> None:
    with walked(begun(tmp_path, WITHOUT), lambda item: item.step == "cord-sheath") as live:
        switched_off(live)
        first = guidance(live.state).item
        assert first is not None
        assert first.key == RESIDUAL
        following = next_after(live.state, ("unplugged", ""))
        assert following is not None
        assert following.key == RESIDUAL
        live.read(*RESIDUAL, "21")  # still charged
        with pytest.raises(Refused):
            live.answer(*WAIT, "pass")
        assert phase(live) is Phase.OFF
        live.read(*RESIDUAL, "0.02")
        assert phase(live) is Phase.OFF
        live.answer(*WAIT, "pass")
        assert phase(live) is Phase.DEAD


def test_what_is_said_is_to_measure_and_bleed_and_no_time_is_named(tmp_path: Path) -> None:
    with walked(begun(tmp_path, WITHOUT), lambda item: item.step == "cord-sheath") as live:
        switched_off(live)
        for words in (
            make_safe_words(live.state),
            " ".join(card(live.state, live.state.by_key[WAIT], None, pending=False, meter="").here),
        ):
            assert "No bleeder on the sheet (24)" in words
            assert "bleed it (100 Ω to 1 kΩ" in words
            assert "-5 to 5 V" in words
            assert "hours" not in words
            assert not re.search(r"wait at least", words)


def test_with_a_bleeder_the_wait_is_computed_and_comes_first(tmp_path: Path) -> None:
    with walked(begun(tmp_path), lambda item: item.step == "cord-sheath") as live:
        switched_off(live)
        assert live.state.supply is not None
        (rail,) = live.state.supply.rails
        computed = discharge_seconds(live.state.supply, rail)
        wait = discharge_wait_s(live.state)
        assert computed is not None
        assert wait == math.ceil(computed)  # whole seconds, the same wherever it is said, and never less
        assert f"wait at least {wait:.0f} s" in make_safe_words(live.state)
        first = guidance(live.state).item
        assert first is not None
        assert first.key == WAIT
        here = " ".join(card(live.state, first, None, pending=False, meter="").here)
        # 680 Ω and 26.4 mF from the peak at 253 V, about 33 V, down to 5 V: R C ln(U/5 V) is some 34 s
        seconds = int(re.findall(r"computed wait: (\d+) s", here)[0])
        assert 30 <= seconds <= 36
        live.answer(*WAIT, "pass", TIMED)
