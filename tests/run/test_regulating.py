"""At a load point the load regulation so far is told where it is read, as the assessment has it."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.desk.card import outcome
from ohmward.desk.words import REGULATION
from ohmward.run import assess_state
from ohmward.run.regulating import regulation_so_far
from support.walked import CR_11, begun, sound_value, walk, walked

STEP = "load-points.output"


def test_a_sag_is_told_where_it_is_read_and_does_not_stand_as_expected(tmp_path: Path) -> None:
    sheet = CR_11.replace('load_regulation = "30 %"', 'load_regulation = "5 %"')
    with walked(begun(tmp_path, sheet), lambda item: item.key == (STEP, "24 @ 0 %")) as live:
        none, half = (live.state.by_key[STEP, f"24 @ {load} %"] for load in (0, 50))
        no_load = float(sound_value(live.state, none).split()[0])
        live.read(*none.key, f"{no_load:.2f}")
        assert regulation_so_far(live.state, none) == ("", False)
        walk(live, lambda item: item.key == half.key)
        assert regulation_so_far(live.state, half) == ("", False)
        loaded = float(sound_value(live.state, half).split()[0])
        live.read(*half.key, f"{loaded:.2f}")
        words, fails = regulation_so_far(live.state, half)
        sag = (
            100.0 * (round(no_load, 2) - round(loaded, 2)) / round(loaded, 2)
        )  # by hand: of the loaded voltage
        rail = assess_state(live.state).rails["24"]
        assert rail.load_regulation_pct == pytest.approx(sag)
        assert (fails, rail.load_regulation_verdict) == (True, "not stated: fail")
        assert words.startswith(f"Load regulation so far {sag:.4g} %, target 5 %: fails")
        shown = outcome(live.state, half)
        assert shown is not None
        assert shown.predicted == REGULATION  # though it is as expected by itself
        assert words in shown.words
        walk(live, lambda item: item.key == (STEP, "24 @ 100 %"))
        assert regulation_so_far(live.state, half) == ("", False)  # said of the most loaded one
