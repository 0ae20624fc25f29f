"""What is kept of the latest assessments: only that of an equal run, with its waveforms as recorded."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

from ohmward.logbook import read
from ohmward.run import assessed, state
from support.reports import RUNS

WAVES = sorted(RUNS.glob("*-commissioning.jsonl"))[-1]  # made on the day the samples were


def copy_of(tmp_path: Path) -> Path:
    for part in WAVES.parent.glob(f"{WAVES.stem}.*"):
        shutil.copy(part, tmp_path)
    return tmp_path / WAVES.name


def test_a_run_is_assessed_once_for_all_that_shows_it_and_anew_when_it_has_changed(tmp_path: Path) -> None:
    path = copy_of(tmp_path)
    before = state(read(path))
    first, facts = assessed(before, tmp_path)
    again, same = assessed(state(read(path)), tmp_path)
    assert same is facts
    assert again == first
    assert first.waveforms

    assert assessed(before)[0].waveforms == ()
    noted = replace(before, violations=((3, "a record that no gate admits"),))
    assert assessed(noted, tmp_path)[1].violations == ("a record that no gate admits",)

    for wave in tmp_path.glob(f"{WAVES.stem}.*"):
        if wave != path:
            wave.write_bytes(wave.read_bytes()[:-1] + b"\x01")
    assert assessed(before, tmp_path)[0].waveform_problems
    assert assessed(before, tmp_path)[0].waveforms == ()
