"""An earth that fails names its commonest causes (common practice, no source), and is never no fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.analysis.cause_words import EARTH_JOINT
from ohmward.desk.likely import likely_words
from ohmward.run import assess_state
from support.walked import begun, walked

LAST = ("earth", "rear panel")


@pytest.mark.parametrize("read", ["0.46", "0.5"])
def test_a_failed_earth_names_paint_nut_and_washer(tmp_path: Path, read: str) -> None:
    """0.26 and 0.3 Ω less the leads' 0.2 Ω null of the walk, against 0.1 Ω."""
    with walked(begun(tmp_path), lambda item: item.step == "earth") as live:
        live.read(*LAST, read, confirmed=True)
        said = likely_words(live.state, tmp_path, "")
        assert said == EARTH_JOINT
        for word in ("paint", "oxide", "loose nut", "star washer"):
            assert word in said
        summary = assess_state(live.state).summary
        danger = next(line for line in summary if line.startswith("Do not power it"))
        assert danger.endswith(EARTH_JOINT)
        assert not any("no fault; all readings" in line for line in summary)
        assert any("no fault known here explains what failed" in line for line in summary)
