"""What is made from a rehearsal says so: every command that tells of a run, as text and as JSON."""

from __future__ import annotations

import argparse
import json
import re
import shutil
from pathlib import Path

import pytest

from ohmward.cli import main
from ohmward.cli.parsing import parser
from ohmward.logbook import Logbook
from support.reports import FAULTY, HEALTHY, INTERRUPTED

OTHERWISE = {
    "demo": "tests/demo and tests/plain",
    "start": "its screen and its lines: tests/tui, tests/plain",
    "resume": "as start",
    "capture": "tests/cli/test_capture.py",
    "meters": "tests/cli/test_meters.py",
    "simulate": "tests/cli/test_meters.py; it tells of no run",
    "sign": "tests/logbook/test_signing.py",
    "new": "it tells of no run",
    "check": "it tells of no run",
    "expect": "it tells of no run",
}
"""Commands that are not tried here, and where they are."""
HELD = "load-points.output"
COMMANDS = [
    ["record", str(INTERRUPTED), "none.csv"],
    ["assess", str(HEALTHY)],
    ["assess", str(FAULTY)],
    ["assess", str(HEALTHY), "--budget", HELD, "+15 @ 100 %"],
    ["plot", str(HEALTHY), "safety", "-o", "safety.svg"],
    ["report", str(INTERRUPTED), "--no-pictures", "-o", "report.html"],
    ["label", str(HEALTHY), "-o", "label.pdf"],
    ["history", "CR-07"],
    ["history", "--fleet"],
    ["compare", str(HEALTHY), str(FAULTY)],
    ["due"],
    ["verify", str(HEALTHY)],
    ["verify", "--all"],
    ["anchor"],
    ["merge", "other", "--trial"],
    ["merge", "other"],
    ["import", "supplies/CR-07.toml", "paper.csv", "--operator", "bench A", "--rehearsal"],
    ["export", "--all", "-o", "rows.csv"],
    ["export", "CR-07", "-o", "rows.csv"],
]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two logbooks with the sample runs of CR-07, the first without its chain; stand in it."""
    samples = HEALTHY.parents[2]
    for name in ("book", "book/other"):
        shutil.copytree(samples / "supplies", tmp_path / name / "supplies")
        shutil.copytree(samples / "runs" / "CR-07", tmp_path / name / "runs" / "CR-07")
    shutil.rmtree(tmp_path / "book" / "runs")
    for run in (HEALTHY, FAULTY, INTERRUPTED):
        place = tmp_path / "book" / "runs" / "CR-07"
        place.mkdir(parents=True, exist_ok=True)
        for each in run.parent.glob(f"{run.stem}*"):
            shutil.copy(each, place)
    (tmp_path / "book" / "none.csv").write_text("step,subject,value,meter,note\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path / "book")
    monkeypatch.setenv("OHMWARD_LOGBOOK", ".")
    monkeypatch.setenv("OHMWARD_OPERATOR", "bench A")
    return tmp_path / "book"


def in_here(argument: str) -> str:
    """Return a sample's journal as its copy."""
    return f"runs/CR-07/{Path(argument).name}" if argument.endswith(".jsonl") else argument


def test_no_command_is_forgotten() -> None:
    (known,) = [each for each in parser()._actions if isinstance(each, argparse._SubParsersAction)]
    assert set(known.choices) == {each[0] for each in COMMANDS} | set(OTHERWISE)


@pytest.mark.parametrize("as_json", [False, True])
@pytest.mark.parametrize("command", COMMANDS, ids=lambda each: " ".join(map(in_here, each[:3])))
def test_every_command_says_rehearsal(
    command: list[str], as_json: bool, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if "paper.csv" in command:
        assert main(["import", "supplies/CR-07.toml", "--template"]) == 0
        head, *_ = capsys.readouterr().out.splitlines()
        columns = head.split(",")
        row = {"date": "2019-05-03", "step": "humidity", "value": "48", "value_unit": ""}
        line = ",".join(row.get(each, "") for each in columns)
        (here / "paper.csv").write_text(f"{head}\n{line}\n", encoding="utf-8")
    assert all(each.simulated for each in Logbook(here).runs())
    assert main([*map(in_here, command), *(["--json"] if as_json else [])]) in {0, 1}
    out, err = capsys.readouterr()
    if as_json:
        assert json.loads(out)
        assert re.search(r'"(simulated|rehearsal)": (true|[1-9]|\[\n)', out)
    else:
        assert "REHEARSAL" in out + err
    for made in ("safety.svg", "report.html"):
        if made in command:
            assert "REHEARSAL" in (here / made).read_text(encoding="utf-8")
