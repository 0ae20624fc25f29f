"""The outlook of a running soak never makes a sample late, and stops the soak when it should."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ohmward.analysis.soak_outlook import Outlook
from ohmward.taking import outlooks
from ohmward.taking.outlooks import Outlooks
from ohmward.taking.soak_plan import PlannedSoak, plan_soak
from support.taking import TO_SOAK, job

SINK = "heat sink +15"


@pytest.fixture(params=[0.1, 10.0])
def planned(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[PlannedSoak]:
    with job(tmp_path, TO_SOAK) as it, it.meters.inventory() as inventory:
        yield plan_soak(it.live.state, it.item("soak"), inventory, interval_s=request.param)


def test_a_look_that_takes_long_goes_on_beside_the_sampling(
    planned: PlannedSoak, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slow(*_: Any, **__: Any) -> Outlook:
        time.sleep(0.5)
        return Outlook(now_c=99.0, will_pass_limit=True, words="too hot")

    monkeypatch.setattr(outlooks, "soak_outlook", slow)
    watched = Outlooks(planned)
    began = time.monotonic()
    first = watched.add(0.0, (21.0, 22.0, 23.0, 231.0))
    took_s = time.monotonic() - began
    if planned.interval_s < 1:
        assert first == ""
        assert took_s < 0.25  # a quarter of the interval is 25 ms; the machine may be busy
        time.sleep(0.7)
        first = watched.add(0.1, (21.0, 22.0, 23.0, 231.0))
    watched.close()
    assert first.endswith("will pass its stop limit: too hot")
    assert "room air" not in watched.latest  # what all others are compared with


def test_a_sensor_that_has_given_nothing_is_not_looked_at(planned: PlannedSoak) -> None:
    watched = Outlooks(planned)
    for at in range(20):
        watched.add(at * 30.0, (21.0, 22.0 + at, None, None))
    for again in range(1, 200):  # a look beside the sampling is taken in with a later sample
        if "transformer" not in watched.latest:
            time.sleep(0.02)
            watched.add(20 * 30.0 + again, (21.0, 42.0, None, None))
    watched.close()
    assert SINK not in watched.latest
    assert "transformer" in watched.latest
