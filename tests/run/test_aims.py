"""Mains read far from the end of its band that the step brings it to is asked about.

The band of the sheet is 230 V -10 % +10 % (IEC 60038): 207 V and 253 V.
"""

from __future__ import annotations

import msgspec
import pytest

from ohmward.procedure.model import Item, Read, Step
from ohmward.quantity import parse
from ohmward.run.aims import aim_doubt, aimed_v
from ohmward.run.state import RunState
from ohmward.supply import loads
from support.taking import SHEET


def item(aim: str, severity: str = "fault") -> Item:
    read = Read(quantity="mains_v", unit="V", condition="mains_v", aim=aim)  # type: ignore[arg-type]
    spec = Step(id="m", kind="reading", title="Mains", severity=severity, reads=(read,))  # type: ignore[arg-type]
    return Item(stage="s", step="m", kind="reading", spec=spec, read=read, energised=True)


def state(low_pct: float = -10.0, high_pct: float = 10.0) -> RunState:
    supply = loads(SHEET)
    mains = msgspec.structs.replace(supply.mains, voltage_v=230.0, low_pct=low_pct, high_pct=high_pct)
    return RunState(supply=msgspec.structs.replace(supply, mains=mains))


def doubt(aim: str, typed: str, *, low_pct: float = -10.0, severity: str = "fault") -> str | None:
    return aim_doubt(state(low_pct), item(aim, severity), parse(typed, "V"))


def test_mains_left_as_it_was_is_asked_about() -> None:
    assert doubt("mains-low", "231 V") == "231 V; this step wants mains lowered to about 207 V. Is it so?"
    assert doubt("mains-high", "231 V") == "231 V; this step wants mains raised to about 253 V. Is it so?"
    assert aimed_v(state(), item("mains-low")) == pytest.approx(207.0)


@pytest.mark.parametrize("typed", ["207", "205.2", "213.8", "200.2"])  # within 3 % of 230 V: 6.9 V
def test_what_a_hand_sets_is_not_asked_about(typed: str) -> None:
    assert doubt("mains-low", typed) is None


@pytest.mark.parametrize("typed", ["214.2", "199.8", "253"])
def test_what_is_further_off_is(typed: str) -> None:
    assert doubt("mains-low", typed)


def test_in_a_narrow_band_mains_left_as_it_was_is_asked_about_all_the_same() -> None:
    assert doubt("mains-low", "230", low_pct=-2.0)  # 225.4 V is aimed at, 4.6 V away
    assert doubt("mains-low", "226", low_pct=-2.0) is None


def test_nothing_is_asked_where_mains_is_taken_as_it_is_or_a_person_is_guarded() -> None:
    assert doubt("", "231") is None
    assert doubt("mains-low", "231", severity="danger") is None
    assert aim_doubt(state(), item("mains-low"), parse(">600 V", "V")) is None
