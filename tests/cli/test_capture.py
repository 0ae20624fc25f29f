"""`ohmward capture`: from a file or a meter into a run, and what is refused; then `assess` and `verify`."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.cli import main
from ohmward.logbook import create_run, read
from ohmward.logbook.events import Captured, Resumed
from ohmward.run import LiveRun
from ohmward.run.answers import parse_answers, play
from ohmward.shipped import folder
from ohmward.supply import load as load_supply
from support import bench as b

STEP = """[[stage.step]]
id = "waveform"
kind = "capture"
title = "Waveform"
each = "rail"
load = ["100 %"]
required = false

[[stage]]
name = "make-safe"
"""
PROCEDURE = b.PROCEDURE.replace('[[stage]]\nname = "make-safe"\n', STEP)
ROWS = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
insulation,,>200M,,
acknowledge,no-load,,,
energised,,,,
lamp,,pass,,
mains,,231,,
output,+15,15.04,,
acknowledge,loaded,,,
"""


def begin(logbook: Path, rows: str = ROWS, *, simulated: bool = True, meters: str = "") -> Path:
    opened = msgspec.structs.replace(b.opened(PROCEDURE), simulated=simulated, meters=meters)
    with LiveRun(create_run(logbook, tag="CR-07", procedure_name="short", opened=opened)) as live:
        play(live, parse_answers(rows, "rows"), "rows")
        return live.journal.path


def scope_file(tmp_path: Path, scale: float = 1.0) -> Path:
    """A half-wave sawtooth: f and 2f as 1 to 1/2, so that the fraction is 2/3 (its Fourier series)."""
    time = np.arange(5000) * 2e-5
    volts = 20.0 - 2.0 * ((50.0 * time) % 1.0)
    path = tmp_path / "scope.csv"
    lines = [f"{1e3 * t:.2f},{each:.5f},{each / scale:.5f}" for t, each in zip(time, volts, strict=True)]
    path.write_text("Time (ms),CH1 (V),CH2 (V)\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return path


def run_of(*words: object) -> int:
    return main([str(word) for word in words])


def answered(capsys: pytest.CaptureFixture[str], *words: object) -> dict[str, Any]:
    assert run_of(*words, "--json") == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_a_file_comes_into_the_run_and_its_assessment(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = begin(tmp_path)
    source = scope_file(tmp_path, scale=10.0)
    taken = answered(
        capsys, "capture", path, "waveform", "+15", "--file", source, "--column", "CH2 (V)", "--scale", "10",
        "--operator", "bench B",
    )  # fmt: skip
    assert (taken["subject"], taken["point"], taken["samples"]) == ("+15 @ 100 %", "output", 5000)
    assert taken["interval_s"] == pytest.approx(2e-5)
    assert "scope.csv" in taken["source"]
    records = read(path)
    assert isinstance(records[-2].event, Resumed)
    assert records[-2].event.operator == "bench B"
    assert isinstance(records[-1].event, Captured)
    told = answered(capsys, "assess", path)
    assert told["rails"]["+15"]["half_wave_fraction"] == pytest.approx(2 / 3, abs=0.01)
    assert told["rails"]["+15"]["ripple_pp_v"] == pytest.approx(2.0, abs=0.01)
    assert any("one half-cycle is missing" in line for line in told["summary"])
    assert run_of("assess", path) == 0
    shown = capsys.readouterr().out
    assert "Waveforms" in shown
    assert "REHEARSAL" in shown
    assert run_of("verify", path) == 0


def test_a_changed_file_is_named_by_assess_and_verify(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = begin(tmp_path)
    taken = answered(
        capsys, "capture", path, "waveform", "+15", "--file", scope_file(tmp_path), "--column", "2"
    )
    kept = path.with_name(taken["file"])
    kept.write_text(kept.read_text(encoding="utf-8").replace("19.", "18."), encoding="utf-8")
    told = answered(capsys, "assess", path)
    assert told["waveforms"] == []
    assert taken["file"] in told["waveform_problems"][0]
    assert any("not used" in line for line in told["summary"])
    assert run_of("assess", path) == 0
    assert "Waveforms not used" in capsys.readouterr().out
    assert run_of("verify", path) == 1
    assert taken["file"] in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["waveform", "+15", "--file", "{file}"], 2, "several columns of values"),
        (["waveform", "+15", "--file", "{file}", "--column", "5"], 2, "no such column"),
        (["waveform", "+15", "--file", "nowhere.csv"], 3, "cannot be read"),
        (["waveform", "+15", "--file", "{file}", "--column", "2", "--scale", "0"], 2, "no factor"),
        (["waveform", "+15", "--file", "{file}", "--column", "2", "--scale", "nan"], 2, "no factor"),
        (["waveform", "+15", "--file", "{file}", "--interval", "-1 s"], 2, "above zero"),
        (["waveform", "+15", "--file", "{file}", "--interval", "1 V"], 2, "--interval"),
        (["waveform", "+48", "--file", "{file}", "--column", "2"], 2, "has no subject '+48'"),
        (["waveforms", "--file", "{file}", "--column", "2"], 2, "no step 'waveforms'"),
        (["waveform", "+15", "--meter", "scope"], 2, "no meter is called 'scope'"),
        (["waveform", "+15", "--meter", "scope", "--column", "2"], 2, "this says how a file is read"),
    ],
)
def test_what_is_refused_is_said_and_leaves_no_record(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], code: int, said: str
) -> None:
    path = begin(tmp_path)
    count = len(read(path))
    source = scope_file(tmp_path)
    assert run_of("capture", path, *(word.format(file=source) for word in words)) == code
    assert said in capsys.readouterr().err
    assert len(read(path)) == count
    assert not list(path.parent.glob("*.csv"))


def test_before_mains_is_on_the_words_of_the_gate_are_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = begin(tmp_path, "\n".join(ROWS.splitlines()[:9]) + "\n")
    count = len(read(path))
    assert run_of("capture", path, "waveform", "+15", "--file", scope_file(tmp_path), "--column", "2") == 2
    assert "mains has not been on" in capsys.readouterr().err
    assert len(read(path)) == count


@pytest.mark.parametrize("words", [[], ["--file", "x.csv", "--meter", "scope"]])
def test_one_source_is_named_and_only_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    path = begin(tmp_path)
    with pytest.raises(SystemExit) as left:
        run_of("capture", path, "waveform", *words)
    assert left.value.code == 2
    assert "--meter" in capsys.readouterr().err


@pytest.fixture
def bench() -> Iterator[SimulatedBench]:
    with SimulatedBench(load_supply(folder("demo") / "CR-07.toml"), speed=1.0) as started:
        yield started


def test_a_meter_is_asked_over_its_socket_and_only_in_a_rehearsal_if_it_is_simulated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], bench: SimulatedBench
) -> None:
    (tmp_path / "meters.toml").write_text(bench.meters_toml, encoding="utf-8")
    path = begin(tmp_path, meters=bench.meters_toml)
    taken = answered(
        capsys, "capture", path, "waveform", "+15", "--meter", "scope", "--point", "reservoir", "--logbook",
        tmp_path,
    )  # fmt: skip
    assert (taken["samples"], taken["meter"], taken["point"]) == (5000, "scope", "reservoir")
    assert "SIMULATED DIGITISER" in taken["source"]
    real = begin(tmp_path / "real", simulated=False, meters=bench.meters_toml)
    count = len(read(real))
    assert run_of("capture", real, "waveform", "+15", "--meter", "scope", "--logbook", tmp_path) == 2
    assert "not a rehearsal" in capsys.readouterr().err
    assert len(read(real)) == count
    assert run_of("capture", path, "waveform", "+15", "--meter", "multimeter", "--logbook", tmp_path) == 2
    assert "hands over no waveform" in capsys.readouterr().err


def test_a_wrong_file_is_withdrawn_or_replaced(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = begin(tmp_path)
    file = ["--file", scope_file(tmp_path), "--column"]
    assert run_of("capture", path, "waveform", "+15", "--withdraw", "none there") == 2
    assert "there is no waveform of it" in capsys.readouterr().err
    wrong = answered(capsys, "capture", path, "waveform", "+15", *file, "3")
    right = answered(
        capsys, "capture", path, "waveform", "+15", *file, "2", "--instead", "probe on the wrong channel"
    )
    told = answered(capsys, "assess", path)
    assert [each["file"] for each in told["waveforms"]] == [right["file"]]
    gone = answered(capsys, "capture", path, "waveform", "+15", "--withdraw", "of another supply")
    assert (gone["file"], gone["withdrawn"]) == (right["file"], "of another supply")
    assert answered(capsys, "assess", path)["waveforms"] == []
    assert {wrong["file"], right["file"]} <= {each.name for each in path.parent.iterdir()}
    assert run_of("verify", path) == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--withdraw", "x", "--instead", "y"], "one of the two"),
        (["--withdraw", " "], "without words"),
        (["--withdraw", "x", "--column", "2"], "how a file is read"),
    ],
)
def test_withdrawing_that_cannot_be(
    words: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = begin(tmp_path)
    answered(capsys, "capture", path, "waveform", "+15", "--file", scope_file(tmp_path), "--column", "2")
    before = read(path)
    assert run_of("capture", path, "waveform", "+15", *words) == 2
    assert said in capsys.readouterr().err
    assert read(path) == before
