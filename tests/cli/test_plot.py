"""`ohmward plot`: names, files written whole or not at all, what is missing said in words."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from ohmward.cli import main
from ohmward.cli.report_commands import write_results
from ohmward.errors import InputError, Unreachable
from ohmward.report.plots import KINDS

SHELF = Path(__file__).resolve().parents[2] / "sample_logs"
RUN = "CR-07/2026-03-02-01-commissioning"
FAULTY = "CR-07/2026-03-03-01-commissioning"
UNFINISHED = "CR-07/2026-03-04-01-commissioning"


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("OHMWARD_LOGBOOK", str(SHELF))


def test_without_a_name_it_lists_what_there_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plot", RUN]) == 0
    out = capsys.readouterr().out
    assert all(kind.name in out and kind.shows in out for kind in KINDS)
    assert main(["plot", RUN, "--json"]) == 0
    assert {"name": "overview", "shows": KINDS[0].shows} in json.loads(capsys.readouterr().out)


def test_an_unknown_name_is_refused_and_lists_what_there_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plot", RUN, "soaks"]) == 2
    told = capsys.readouterr().err
    assert "Did you mean soak" in told
    assert "overview" in told
    assert main(["plot", "CR-99/no-such-run", "soaks"]) == 2  # before a run is looked for, read and assessed
    assert capsys.readouterr().err == told
    assert not list(Path.cwd().iterdir())


def test_the_file_is_named_after_run_and_picture(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plot", RUN, "safety"]) == 0
    done = capsys.readouterr()
    path = Path("CR-07-2026-03-02-01-commissioning-safety.pdf")
    assert done.out.strip() == str(path)
    assert "REHEARSAL" in done.err
    assert path.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("name", "begins"),
    [("a.svg", b"<?xml"), ("a.png", b"\x89PNG"), ("a.pdf", b"%PDF"), ("a.PNG", b"\x89PNG")],
)
def test_the_ending_says_what_kind_it_is(name: str, begins: bytes) -> None:
    assert main(["plot", RUN, "safety", "-o", name]) == 0
    assert Path(name).read_bytes().startswith(begins)


def test_another_ending_is_refused_before_anything_is_drawn(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plot", RUN, "safety", "-o", "a.gif"]) == 2
    assert ".svg, .png or .pdf" in capsys.readouterr().err


def test_a_file_in_the_way_stays_unless_forced(capsys: pytest.CaptureFixture[str]) -> None:
    path = Path("mine.svg")
    path.write_text("mine", encoding="utf-8")
    assert main(["plot", RUN, "safety", "-o", str(path)]) == 2
    assert "--force" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == "mine"
    assert main(["plot", RUN, "safety", "-o", str(path), "--force"]) == 0
    assert path.read_bytes().startswith(b"<?xml")
    assert [each.name for each in Path.cwd().iterdir()] == ["mine.svg"], "no draft is left behind"


def test_what_a_run_has_nothing_for_is_said_and_nothing_is_written(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["plot", UNFINISHED, "soak"]) == 2
    told = capsys.readouterr().err
    assert "no temperature was read" in told
    assert "Temperatures through the soak" in told
    assert not list(Path.cwd().iterdir())


def test_all_of_a_run_is_one_pdf_and_says_what_is_not_in_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plot", UNFINISHED, "all", "--json"]) == 0
    done = capsys.readouterr()
    data = json.loads(done.out)
    assert data["simulated"] is True
    assert data["files"] == ["CR-07-2026-03-04-01-commissioning-all.pdf"]
    assert {each["name"] for each in data["pictures"]} >= {"safety", "voltage", "headroom"}
    assert any(each.startswith("soak:") for each in data["not_drawn"])
    assert Path(data["files"][0]).read_bytes().count(b"/Type /Page ") == len(data["pictures"])


def test_all_as_pictures_is_a_file_each_and_none_when_one_is_in_the_way(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("run-safety.svg").write_text("mine", encoding="utf-8")
    assert main(["plot", UNFINISHED, "all", "-o", "run.svg"]) == 2
    assert "run-safety.svg" in capsys.readouterr().err
    assert [each.name for each in Path.cwd().iterdir()] == ["run-safety.svg"]


def test_a_comparison_takes_the_run_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plot", UNFINISHED, "compare", "--with", RUN, "-o", "a.svg", "--json"]) == 0
    words = json.loads(capsys.readouterr().out)["pictures"][0]["words"]
    assert words.startswith(f"Run {UNFINISHED} against {RUN}.")
    assert main(["plot", RUN, "compare"]) == 2
    assert "no earlier run" in capsys.readouterr().err


def test_a_run_given_by_its_path_is_compared_with_the_one_before(capsys: pytest.CaptureFixture[str]) -> None:
    path = SHELF / "runs" / f"{UNFINISHED}.jsonl"
    assert main(["plot", str(path), "compare", "-o", "a.svg", "--json"]) == 0
    assert f"against {FAULTY}." in json.loads(capsys.readouterr().out)["pictures"][0]["words"]


def test_one_reading_has_its_budget(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plot", RUN, "budget:load-points.output/+15 @ 100 %", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert "15.08" in data["pictures"][0]["words"] or "15.07" in data["pictures"][0]["words"]
    assert (
        Path(data["files"][0]).name
        == "CR-07-2026-03-02-01-commissioning-budget-load-points.output-+15---100.pdf"
    )


def test_a_damaged_journal_is_not_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shelf = tmp_path / "shelf"
    shutil.copytree(SHELF, shelf)
    path = shelf / "runs" / f"{RUN}.jsonl"
    path.write_bytes(
        path.read_bytes().replace(b'"raw":"0.266"', b'"raw":"0.066"').replace(b"bench A", b"bench B", 1)
    )
    assert main(["plot", RUN, "safety", "--logbook", str(shelf)]) != 0
    assert capsys.readouterr().err.strip()
    assert not list(tmp_path.glob("*.pdf"))


def test_a_folder_that_is_not_there_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plot", RUN, "safety", "-o", "nowhere/a.svg"]) == 3
    assert "nowhere/a.svg: cannot be written" in capsys.readouterr().err


def test_a_disk_that_fails_leaves_neither_file_nor_draft(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from ohmward.logbook import disk

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(disk, "sync", full)
    old = tmp_path / "old.svg"
    old.write_text("old", encoding="utf-8")
    with pytest.raises(Unreachable, match="No space left"):
        write_results([(old, b"new")], force=True)
    with pytest.raises(Unreachable):
        write_results([(tmp_path / "new.svg", b"new")], force=False)
    assert old.read_text(encoding="utf-8") == "old"
    assert [each.name for each in tmp_path.iterdir()] == ["old.svg"]


def test_a_file_that_comes_in_the_way_meanwhile_is_not_overwritten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.svg"
    monkeypatch.setattr("ohmward.cli.report_commands.taken", lambda _: False)
    path.write_text("theirs", encoding="utf-8")
    with pytest.raises(InputError, match="already there"):
        write_results([(path, b"ours")], force=False)
    assert path.read_text(encoding="utf-8") == "theirs"
