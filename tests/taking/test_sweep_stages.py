"""What a sweep says of itself while it goes on: the stage that it is in, and how far its dwell is."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.desk.going_words import sweep_step_words
from support.taking import job


def test_the_stage_is_told_with_how_far_the_dwell_is(tmp_path: Path) -> None:
    drawn: list[tuple[str, float]] = []
    with job(tmp_path) as it:
        it.sweep(lambda step: drawn.append((sweep_step_words(step), it.load_a)), dwell_s=60.0)
    said = dict(drawn)
    assert said["1 of 3 points · +15 @ 50 %: setting the load"] == 0
    for words in (
        "1 of 3 points · +15 @ 50 %: load set; reading it at once",
        "1 of 3 points · 0:00 of 1:00 · +15 @ 50 %: settling (load set, read at once)",
        "1 of 3 points · 0:55 of 1:00 · +15 @ 50 %: settling (load set, read at once)",
        "1 of 3 points · +15 @ 50 %: its time is over; reading",
    ):
        assert said[words] == pytest.approx(0.6, rel=0.01)  # set, as the words say; the load's own accuracy
    assert said["0 of 3 points · 0:30 of 1:00 · +15 @ 0 %: settling (no load, read at once)"] == 0
