"""The commands about the logbook as a whole, through the command line: words, exit codes, plain data."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import msgspec
import pytest

from ohmward.cli import main
from ohmward.logbook import Logbook, anchors, create_run, verify
from ohmward.logbook.events import CaseShut, Closed, Noted
from support import bench
from support.journals import HandClock
from support.machine import tool

HOSTILE = "=cmd|' /C calc'!A0\x1b[31m\u202e"
PAPER = 'date,step,subject,value,note\n2019-05-03,earth,case,0.08,"{}"\n2020-05-03,earth,case,1.2,\n'


def make(logbook: Path, tag: str = "CR-07", step_s: float = 1.0, *, closed: bool = True) -> Path:
    opened = msgspec.structs.replace(bench.opened(), tag=tag, operator=HOSTILE)
    with create_run(
        logbook, tag=tag, procedure_name="short", opened=opened, clock=HandClock(step_s)
    ) as journal:
        for event in (
            bench.passed("plug", note=HOSTILE), CaseShut(), bench.reading("earth", "case", "-0.5"),
            Noted(text=HOSTILE),
        ):  # fmt: skip
            journal.append(event)
        if closed:
            journal.append(Closed(verdict="incomplete", records=5))
        return journal.path


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    logbook = tmp_path / "logbook"
    monkeypatch.setenv("OHMWARD_LOGBOOK", str(logbook))
    monkeypatch.delenv("OHMWARD_OPERATOR", raising=False)
    for tag in ("CR-07", "CR-11"):
        make(logbook, tag)
    (tmp_path / "sheet.toml").write_text(bench.SHEET, encoding="utf-8")
    (tmp_path / "short.toml").write_text(bench.PROCEDURE, encoding="utf-8")
    (tmp_path / "paper.csv").write_text(PAPER.format(HOSTILE.replace("\x1b", "")), encoding="utf-8")
    return logbook


class Said:
    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err

    @property
    def data(self) -> Any:
        return json.loads(self.out)


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Any:
    def run(*words: object) -> Said:
        try:
            code = main([str(word) for word in words])
        except SystemExit as ended:  # a wrong command line
            code = int(str(ended.code))
        told = capsys.readouterr()
        for text in (told.out, told.err):  # nothing obeys a terminal, whatever was typed
            assert "\x1b" not in text
            assert "\u202e" not in text
        return Said(code, told.out, told.err)

    return run


# verify and anchor


def test_verify_one_run_tells_its_digest_and_the_head_of_the_chain(book: Path, say: Any) -> None:
    told = say("verify", "CR-11")
    (head,) = anchors.heads(book)
    assert told.code == 0
    assert "intact; 6 records; closed" in told.out
    assert f"chain of test-bench: 2 closed runs until 2026-03-01, head {head.digest}" in told.out
    data = say("verify", "CR-11", "--json").data
    assert (data["intact"], data["anchored"], data["head"]["digest"]) == (True, True, head.digest)
    assert data["last_digest"] == verify(Logbook(book).find("CR-11")).last_digest


def test_verify_all_and_a_run_that_is_gone(book: Path, say: Any) -> None:
    told = say("verify", "--all")
    assert (told.code, "intact; 2 runs, 2 closed, 2 intact" in told.out) == (0, True)
    shutil.rmtree(book / "runs" / "CR-11")
    told = say("verify", "--all")
    assert told.code == 1
    assert "DAMAGED; 1 run" in told.out
    assert "PROBLEM: CR-11/2026-03-01-01-short: closed with 6 records" in told.out
    data = say("verify", "--all", "--json").data
    assert (data["intact"], len(data["problems"]), len(data["runs"])) == (False, 1, 1)


def test_verify_with_a_digest_from_paper(book: Path, say: Any) -> None:
    (head,) = anchors.heads(book)
    told = say("verify", "--head", head.digest[:16])
    assert (told.code, "line 2 of the chain of 'test-bench'" in told.out) == (0, True)
    told = say("verify", "--head", "0123456789abcdef")
    assert (told.code, "stands nowhere in the logbook" in told.out) == (1, True)
    assert say("verify", "--head", "paper").code == 2


def test_verify_explains_what_is_proved_and_what_is_not(book: Path, say: Any) -> None:
    told = say("verify", "--explain")
    assert told.code == 0
    for word in ("seal", "chain", "paper", "never closed", "Who wrote it", "clock", "readings are true"):
        assert word in told.out
    assert "What a check proves" in say("verify", "CR-07", "--explain").out


def test_verify_says_what_is_missing_on_the_command_line(book: Path, say: Any) -> None:
    assert "PATH: missing. Name a run, or give --all" in say("verify").err
    assert say("verify", "CR-07", "--all").code == 2
    shutil.rmtree(book)
    told = say("verify", "--all")
    assert (told.code, "no such folder" in told.err) == (3, True)


def test_anchor_adds_what_no_chain_names(book: Path, say: Any) -> None:
    shutil.rmtree(book / "anchors")
    make(book, "CR-02", closed=False)
    assert say("verify", "--all").out.count("no chain names it") == 2
    data = say("anchor", "--json").data
    assert (len(data["anchored"]), data["heads"][0]["runs"]) == (2, 2)
    assert "0 runs anchored" in say("anchor").out


# sign


def test_sign_and_verify_the_signature(book: Path, tmp_path: Path, say: Any) -> None:
    key = tmp_path / "key"
    subprocess.run(
        [tool("ssh-keygen"), "-q", "-t", "ed25519", "-N", "", "-f", str(key)], check=True, timeout=60
    )
    told = say("verify", "CR-07", "--signature")
    assert (told.code, "no signature stands beside it" in told.out) == (1, True)
    assert say("sign", "CR-07", "--key", key).out.endswith("short.sig-1\n")
    told = say("verify", "CR-07", "--signature")
    assert (told.code, "good, with a key; whose key that is" in told.out) == (0, True)
    public = key.with_suffix(".pub").read_text(encoding="utf-8")
    (book / "signers").write_text(f"bench_a {public}", encoding="utf-8")
    told = say("verify", "CR-07", "--signature")
    assert (told.code, "good, by bench_a (ED25519 SHA256:" in told.out) == (0, True)
    assert say("verify", "CR-07", "--signature", "--json").data["signatures"][0]["who"] == "bench_a"
    assert say("verify", "CR-07", "--signature", "--signers", tmp_path / "absent").code == 3
    make(book, "CR-02", closed=False)
    assert say("sign", "CR-02", "--key", key).code == 2
    assert say("sign", "CR-11", "--key", tmp_path / "absent").code == 3


# merge


def test_merge_brings_and_refuses(
    book: Path, tmp_path: Path, say: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = tmp_path / "other"
    monkeypatch.setenv("OHMWARD_BENCH", "bench-B")
    make(other, "CR-02")
    make(other, "CR-48", closed=False)
    monkeypatch.setenv("OHMWARD_BENCH", "test-bench")
    told = say("merge", other, "--trial")
    assert (told.code, "2 brought, 1 left; nothing was changed" in told.out) == (0, True)
    assert not (book / "runs" / "CR-02").exists()
    told = say("merge", other)
    assert told.code == 0
    assert "brought: CR-02/2026-03-01-01-short" in told.out
    assert "left: CR-48/2026-03-01-01-short: not closed" in told.out
    assert say("verify", "--all").code == 0
    path = Logbook(other).find("CR-02")
    path.write_bytes(path.read_bytes().replace(b"-0.5", b"-0.6"))
    told = say("merge", other, "--json")
    assert told.code == 1
    assert {each["outcome"] for each in told.data} == {"left", "refused", "here already"}
    assert say("merge", tmp_path / "absent").code == 2


# import


def test_import_from_paper(book: Path, tmp_path: Path, say: Any) -> None:
    words = [
        "import",
        tmp_path / "sheet.toml",
        tmp_path / "paper.csv",
        "--procedure",
        tmp_path / "short.toml",
    ]
    told = say(*words)
    assert (told.code, "Say who typed it" in told.err) == (2, True)
    words += ["--operator", "bench B", "--source", HOSTILE]
    told = say(*words, "--trial")
    assert (told.code, told.out.count("this was a trial")) == (0, 2)
    told = say(*words)
    assert told.code == 0
    assert told.out.splitlines()[0].startswith("2019-05-03: 1 readings, 0 checks, not finished; ")
    assert told.out.splitlines()[1].startswith("2020-05-03: 1 readings, 0 checks, fail; ")
    assert "here already" in say(*words).out
    assert {each["already"] for each in say(*words, "--json").data} == {True}
    assert say("verify", "--all").code == 0
    data = say("verify", "CR-07/2019-05-03-01-short", "--json").data
    assert (data["transcribed"], data["simulated"]) == (True, False)
    shown = say("assess", "CR-07/2019-05-03-01-short")
    assert "Copied from paper" in shown.out
    assert "the results are of 2019-05-03" in shown.out
    assert Logbook(book).find("CR-07").name == "2026-03-01-01-short.jsonl"  # still the latest


def test_import_tells_every_mistake_and_writes_nothing(book: Path, tmp_path: Path, say: Any) -> None:
    (tmp_path / "paper.csv").write_text("date,step,value\nx,earth,1\n2019-05-03,nope,1\n", encoding="utf-8")
    words = [
        "import",
        tmp_path / "sheet.toml",
        tmp_path / "paper.csv",
        "--procedure",
        tmp_path / "short.toml",
    ]
    told = say(*words, "--operator", "bench B")
    assert told.code == 2
    assert [line.partition("paper.csv: ")[2][:6] for line in told.err.splitlines()] == ["line 2", "line 3"]
    assert len(Logbook(book).runs()) == 2
    assert say(*words, "--operator", "bench B", "--date", "soon").code == 2
    assert "Name the file" in say("import", tmp_path / "sheet.toml").err


def test_import_prints_a_template(book: Path, tmp_path: Path, say: Any) -> None:
    told = say("import", tmp_path / "sheet.toml", "--template", "--procedure", tmp_path / "short.toml")
    assert told.code == 0
    assert told.out.startswith("date,step,subject,value,meter,note,operator,what\n")
    assert ",earth,front panel,,,,,Earth continuity [Ω]\n" in told.out


# export


def test_export_prints_or_writes_one_row_a_reading(book: Path, tmp_path: Path, say: Any) -> None:
    told = say("export", "CR-07")
    assert told.code == 0
    heading, row = told.out.splitlines()
    assert heading.startswith("run,tag,date,")
    assert ",-0.5," in row
    assert "'=cmd|" in row
    told = say("export", "--all", "--checks", "-o", tmp_path / "all.csv")
    assert (told.code, "4 rows of 2 runs in" in told.out) == (0, True)
    told = say("export", "--all", "-o", tmp_path / "all.csv")
    assert (told.code, "already there" in told.err) == (2, True)
    assert say("export", "--all", "-o", tmp_path / "all.csv", "--force").code == 0
    data = say("export", "--all", "-o", tmp_path / "all.parquet", "--json").data
    assert (data["rows"], data["runs"], data["not_read"]) == (2, 2, [])
    import pandas as pd

    frame = pd.read_parquet(tmp_path / "all.parquet")
    assert list(frame["tag"]) == ["CR-07", "CR-11"]
    assert list(frame["value"]) == [-0.5, -0.5]


def test_export_of_a_tag_is_of_all_its_runs_and_of_a_name_of_one(book: Path, say: Any) -> None:
    make(book, "CR-07", 2.0)
    assert len(say("export", "CR-07").out.splitlines()) == 3
    assert len(say("export", "CR-07/2026-03-01-01-short").out.splitlines()) == 2


def test_export_leaves_a_damaged_run_out_and_says_so(book: Path, tmp_path: Path, say: Any) -> None:
    path = Logbook(book).find("CR-11")
    path.write_bytes(path.read_bytes().replace(b"-0.5", b"-0.6"))
    told = say("export", "--all", "-o", tmp_path / "all.csv")
    assert told.code == 1
    assert "1 row of 1 run" in told.out
    assert "Left out: " in told.err
    assert say("export", "CR-11", "-o", tmp_path / "one.csv").code == 1
    assert not (tmp_path / "one.csv").exists()


def test_export_says_what_the_columns_hold_and_what_is_wrong(book: Path, tmp_path: Path, say: Any) -> None:
    assert "uncertainty: number; expanded uncertainty of net" in say("export", "--columns").out
    assert {"name", "kind", "says"} == set(say("export", "--columns", "--series", "--json").data[0])
    assert say("export").code == 2
    assert say("export", "CR-07", "--all").code == 2
    assert say("export", "CR-99").code == 3
    assert say("export", "CR-07", "-o", tmp_path / "x.xlsx").code == 2
    assert say("export", "CR-07", "-o", tmp_path / "absent" / "x.csv").code == 3
    assert len(say("export", "CR-07", "--series").out.splitlines()) == 1
