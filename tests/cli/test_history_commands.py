"""history, compare and due through the real entry point: tables, data, pictures, and what is wrong named."""

from __future__ import annotations

import contextlib
import io
import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from ohmward.cli import main
from support import aged


@dataclass(frozen=True)
class Done:
    returncode: int
    stdout: str
    stderr: str


def run(*arguments: str | Path) -> Done:
    """Run one command line in this process; `test_commands` does so in one of its own."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = main([str(each) for each in arguments])
        except SystemExit as end:  # the parser's own way to refuse
            code = int(end.code or 0)
    return Done(code, out.getvalue(), err.getvalue())


@pytest.fixture(autouse=True)
def _bench(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OHMWARD_BENCH", "bench-a")


@pytest.fixture(scope="module")
def logbook(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("years")
    aged.write(folder, aged.VISITS)
    return folder


def data(*arguments: str | Path) -> Any:
    done = run(*arguments, "--json")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_history_says_what_ages_and_when_and_is_marked_as_a_rehearsal(logbook: Path) -> None:
    done = run("history", "CR-11", "--logbook", logbook, "--rated-life", "2000")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("REHEARSAL")
    assert done.stdout.rstrip().splitlines()[-1].startswith("REHEARSAL")
    assert "Ages: Reservoir capacitance left (24)" in done.stdout
    assert "by the 10 K rule" in done.stdout
    assert "CECC 30301" in done.stdout


def test_the_history_as_data_has_no_infinities_and_every_point(logbook: Path) -> None:
    found = data("history", "CR-11", "--logbook", logbook)
    assert found["simulated"] is True
    (left,) = [each for each in found["series"] if each["quantity"] == "capacitance_left"]
    assert [point["at"][:4] for point in left["points"]] == [str(2019 + n) for n in range(8)]
    assert left["ageing"] is True
    assert left["forecasts"][0]["low"] < left["forecasts"][0]["at"] < left["forecasts"][0]["high"]


def test_another_baseline_and_another_end_of_life_are_choices_that_are_shown(logbook: Path) -> None:
    named = data("history", "CR-11", "--logbook", logbook, "--baseline", "CR-11/2021-03-09-01-retest")
    assert (named["baseline"], named["baseline_named"]) == ("CR-11/2021-03-09-01-retest", True)
    ends = data("history", "CR-11", "--logbook", logbook, "--end-of-life", "endurance")
    assert ends["end_of_life"].startswith("15 %")


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("history",), 2, "no supply named"),
        (("history", "CR-99"), 3, "no run 'CR-99'"),
        (("history", "CR-11", "--baseline", "x"), 2, "no run 'x' in this history"),
        (("history", "CR-11", "--end-of-life", "when it smells"), 2, "there is no end of life"),
        (("history", "CR-11", "--plot", "years.bmp"), 2, ".svg, .png or .pdf"),
        (("compare", "CR-11", "CR-98"), 3, "no run 'CR-98'"),
        (("compare", "CR-11", "CR-11"), 2, "the same run as the first"),
        (("due", "--interval", "soon"), 2, "--interval"),
        (("due", "--interval", "0"), 2, "months"),
        (("history", "CR-11", "--rated-life", "-5"), 2, "rated life"),
    ],
)
def test_what_is_wrong_is_named_and_nothing_is_printed(
    logbook: Path, arguments: tuple[str, ...], code: int, words: str
) -> None:
    done = run(*arguments, "--logbook", logbook)
    assert done.returncode == code
    assert words in done.stderr
    assert done.stdout == ""


def test_all_supplies_at_a_glance_worst_margin_first(logbook: Path) -> None:
    done = run("history", "--fleet", "--logbook", logbook)
    assert done.returncode == 0, done.stderr
    assert "REHEARSAL" in done.stdout
    assert "CR-11" in done.stdout
    found = data("history", "--fleet", "--logbook", logbook)
    (supply,) = found["supplies"]
    assert supply["margin_what"].startswith("Ripple at full load")
    # the last ripple read at the output against its limit of 3 V on the sheet, by hand
    assert supply["margin_pct"] == pytest.approx(100 * (3.0 - supply["margin_value"]) / 3.0)
    assert supply["ageing"][0]["goal"] == "the end of its life"


def test_what_is_due_and_why(logbook: Path, tmp_path: Path) -> None:
    found = data("due", "--logbook", logbook)
    (supply,) = found["due"]
    assert (supply["tag"], supply["procedure"], supply["reason"]) == ("CR-11", "retest", "forecast")
    done = run("due", "--logbook", logbook, "--plot", tmp_path / "due.svg")
    assert "CR-11" in done.stdout
    assert (tmp_path / "due.svg").read_text(encoding="utf-8").startswith("<?xml")


def test_two_runs_compared_whatever_the_order_they_are_named_in(logbook: Path) -> None:
    first, last = "CR-11/2019-03-07-01-commissioning", "CR-11/2026-03-07-01-retest"
    one, other = (data("compare", *pair, "--logbook", logbook) for pair in ((first, last), (last, first)))
    assert one == other
    assert (one["then"], one["now"]) == (first, last)
    words = {each["step"]: each["verdict"] for each in one["changes"] if each["subject"] == "24 @ 100 %"}
    assert words["ripple.output"] == "changed"
    assert words["load-points.output"] == "within the meters"


def test_two_supplies_built_to_one_sheet_are_compared_and_a_differing_sheet_is_said(tmp_path: Path) -> None:
    first, second = aged.VISITS[0], aged.without(aged.VISITS[1], procedure="commissioning")
    twin = aged.sheet_text().replace('tag = "CR-11"', 'tag = "CR-12"')
    aged.write(tmp_path, [first, second], sheets={second.year: twin})
    done = run("compare", "CR-11", "CR-12", "--logbook", tmp_path)
    assert "Two supplies built to one sheet." in done.stdout
    other = twin.replace("22000 µF", "33000 µF").replace("CR-12", "CR-13")
    aged.write(tmp_path, [second], sheets={second.year: other})
    found = data("compare", "CR-11", "CR-13", "--logbook", tmp_path)
    assert found["sheets_differ_in"] == ["rails.24.reservoir.capacitance_f"]


PAIR = ("CR-11/2019-03-07-01-commissioning", "CR-11/2026-03-07-01-retest")


@pytest.mark.parametrize(
    ("words", "ending"),
    [
        (("history", "CR-11"), "svg"),
        (("history", "CR-11"), "png"),
        (("history", "CR-11"), "pdf"),
        (("history", "--fleet"), "svg"),
        (("compare", *PAIR), "svg"),
    ],
)
def test_pictures_are_drawn_the_same_each_time(
    logbook: Path, tmp_path: Path, words: tuple[str, ...], ending: str
) -> None:
    paths = [tmp_path / f"{n}.{ending}" for n in (1, 2)]
    for path in paths:
        assert run(*words, "--logbook", logbook, "--plot", path).returncode == 0
    assert paths[0].read_bytes() == paths[1].read_bytes()
    assert len(paths[0].read_bytes()) > 5000


def test_no_index_is_left_where_none_is_wanted(logbook: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(logbook, copy, ignore=shutil.ignore_patterns("index"))
    for words in (("history", "CR-11"), ("history", "--fleet"), ("due",)):
        assert run(*words, "--logbook", copy, "--no-index").returncode == 0
    assert not (copy / "index").exists()


def test_an_empty_logbook_is_no_mistake(tmp_path: Path) -> None:
    done = run("history", "--fleet", "--logbook", tmp_path)
    assert (done.returncode, done.stdout.strip()) == (0, "The logbook holds no run yet.")
    assert run("due", "--logbook", tmp_path).returncode == 0
    assert run("history", "--fleet", "--logbook", tmp_path, "--plot", tmp_path / "x.svg").returncode != 0
