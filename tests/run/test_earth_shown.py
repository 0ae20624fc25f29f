"""A reading to earth that passes by a meter which cannot settle it is named, before mains and in the summary.

EN 50106:2008, on which the limit set 'iec' rests here, asks for at least 10 A.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.logbook.events import Reading
from ohmward.run import assess_state
from ohmward.run.earth_shown import unsettled_earth
from support.walked import begun, walk, walked

METERS = """
[[meter]]
name = "dmm"
kind = "multimeter"

[[meter.accuracy]]
function = "ohms"
range = "600 Ω"
accuracy = "±(0.5 % + 2)"
resolution = "0.1 Ω"

[[meter]]
name = "bond tester"
kind = "low-ohm"
test_current = "25 A"

[[meter.accuracy]]
function = "low ohms"
range = "1 Ω"
accuracy = "±(1 % + 2)"
resolution = "1 mΩ"
"""


def test_what_a_multimeter_cannot_show_of_the_earth_is_named_until_a_better_meter_shows_it(
    tmp_path: Path,
) -> None:
    path = begun(tmp_path, meters=METERS)
    with walked(path, lambda item: item.spec.id == "lead-null") as live:
        live.read("lead-null", "", "0.3", meter="dmm", test_a=0.001)
        walk(live, lambda item: item.spec.id == "earth")
        live.read("earth", "case", "0.4", meter="dmm")
        event = live.state.entries["earth", "case"].event
        assert isinstance(event, Reading)
        assert event.test_a == 0.001  # as told where the leads were nulled
        # by hand: a half-width of 0.5 % of 0.4 Ω and 0.2 Ω, with that of the null; 2 √(u² + u²)
        each = [(0.005 * ohms + 0.2) / 3**0.5 for ohms in (0.4, 0.3)]
        wide = 2 * (each[0] ** 2 + each[1] ** 2) ** 0.5
        assert event.judged.uncertainty == pytest.approx(wide)
        first, weak = unsettled_earth(live.state)
        assert first.startswith(
            "Earth continuity: case 0.1 Ω ± 0.33 Ω by 'dmm': this meter cannot show that it"
        )
        assert "a low-resistance ohmmeter can" in first
        assert "measured with 1 mA, and 10 A or more is asked" in weak
        live.read("earth", "lid", "0.34")
        named = unsettled_earth(live.state)
        assert any("lid 40 mΩ by a meter of no stated accuracy" in words for words in named)
        assert any("with what current is not known" in words for words in named)
        assert any("no stated accuracy" in words for words in assess_state(live.state).summary)
        live.read("earth", "case", "0.05", meter="bond tester")
        live.read("earth", "lid", "0.05", meter="bond tester")
        assert unsettled_earth(live.state) == ()
