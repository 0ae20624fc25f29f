"""Commands through the real entry point: exit codes, one line a mistake, nothing lost."""

from __future__ import annotations

import json
import os
import pty
import re
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from ohmward.analysis._results import Cause
from ohmward.analysis.rows import Assessment
from ohmward.cli import main
from ohmward.demo.told import told
from ohmward.logbook import Logbook, read
from ohmward.report.ask import ask_sheet
from ohmward.run import state
from ohmward.run.assess import assess_run
from ohmward.run.state import Phase
from ohmward.shipped import folder
from ohmward.supply import load, loads
from ohmward.supply.model import Supply
from support.reports import FAULTY, HEALTHY
from support.terminal import Terminal

SHEET = folder("demo") / "CR-07.toml"


def run(*arguments: str | Path, stdin: str = "") -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "NO_COLOR": "1"}
    return subprocess.run(
        [sys.executable, "-m", "ohmward.cli", *map(str, arguments)],
        capture_output=True,
        text=True,
        input=stdin,
        check=False,
        timeout=280,
        env=environment,
    )


@pytest.fixture(scope="session")
def healthy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return book_with(HEALTHY, tmp_path_factory.mktemp("healthy"))


def book_with(sample: Path, logbook: Path) -> Path:
    place = logbook / "runs" / "CR-07"
    place.mkdir(parents=True)
    shutil.copy(sample, place)
    return logbook


def journal_of(logbook: Path) -> Path:
    (path,) = (logbook / "runs").rglob("*.jsonl")
    return path


def test_demo_auto_leaves_an_intact_closed_rehearsal_and_tells_what_no_limit_shows(tmp_path: Path) -> None:
    played = run("demo", "--auto", "--fault", "ac-joint", "--logbook", tmp_path)
    assert played.returncode == 0, played.stderr
    talk = " ".join(played.stderr.split())
    assert "Put in: High-resistance joint between secondary and rectifier (+15), 0.2 Ω in" in talk
    assert "The assessment names it first (" in talk
    path = journal_of(tmp_path)
    assert run("verify", path).returncode == 0
    assert state(read(path)).phase is Phase.CLOSED
    (other,) = told(path, [("output-joint", "24")], load(SHEET))
    assert "0.05 Ω in the output lead. The assessment names another: High-resistance joint" in other
    found = assess_run(path)
    assert not any(row.failed for row in found.readings)
    assert found.likely_fault is not None
    assert found.likely_fault.fault == "ac-joint"
    assert found.verdict == "conditional pass"


def test_an_assessment_as_data_has_all_of_a_run_and_passes_under_strict(healthy: Path) -> None:
    done = run("assess", journal_of(healthy), "--json", "--strict", "--logbook", healthy)
    assert done.returncode == 0, done.stdout[-2000:]
    result = json.loads(done.stdout)
    assert result["simulated"] is True
    assert result["tag"] == "CR-07"
    assert set(result["rails"]) == {"+15", "-15", "+48", "24"}
    stages = {reading["stage"] for reading in result["readings"]} | {c["stage"] for c in result["checks"]}
    assert {"visual", "earth", "insulation", "no-load", "loaded", "ripple", "soak"} <= stages
    for reading in result["readings"]:
        assert {
            "stage",
            "step",
            "subject",
            "quantity",
            "value",
            "unit",
            "uncertainty",
            "limit_low",
            "limit_high",
            "basis",
            "expected_low",
            "expected_high",
            "verdict",
            "note",
        } <= set(reading)


def test_a_rehearsal_says_so_in_every_text_output(healthy: Path) -> None:
    assert "REHEARSAL" in run("assess", journal_of(healthy)).stdout


def test_the_faulty_story_fails_under_strict_and_says_why(tmp_path: Path) -> None:
    done = run("assess", "CR-07", "--strict", "--logbook", book_with(FAULTY, tmp_path))
    assert done.returncode == 1
    assert "fail" in done.stdout


def test_a_likely_fault_counts_under_strict(
    healthy: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Inside every limit, and yet its readings together point to a fault: FAULT LIKELY is no plain pass."""
    asked = ["assess", str(journal_of(healthy)), "--logbook", str(healthy)]
    assert main([*asked, "--strict"]) == 0
    dry = Cause(fault="dried-out", subject="-15", title="The reservoir has dried out (-15)", probability=0.8)
    monkeypatch.setattr(Assessment, "likely_fault", property(lambda _: dry))
    assert main([*asked, "--strict"]) == 1
    assert main(asked) == 0
    assert "FAULT LIKELY" in capsys.readouterr().out


def test_a_damaged_journal_is_named_by_line(healthy: Path, tmp_path: Path) -> None:
    lines = journal_of(healthy).read_bytes().splitlines(keepends=True)
    lines[5] = lines[5].replace(b"pass", b"fail", 1)
    copy = tmp_path / "copy.jsonl"
    copy.write_bytes(b"".join(lines))
    done = run("verify", copy)
    assert done.returncode == 1
    assert "line 6" in done.stdout
    assert run("verify", tmp_path / "absent.jsonl").returncode == 3
    assert run("verify", tmp_path).returncode == 3


def start(tmp_path: Path) -> Path:
    done = run("start", SHEET, "--logbook", tmp_path, "--no-screen", "--rehearsal")
    assert done.returncode == 0, done.stderr
    assert "Design" not in done.stderr
    return Path(done.stdout.strip())


def test_what_is_wrong_with_a_design_is_told_by_check_and_as_a_run_begins_also_without_a_screen(
    tmp_path: Path,
) -> None:
    """A sink of 25 K/W under some 8 W: over 200 K, whatever the room."""
    sheet = tmp_path / "CR-07.toml"
    text = SHEET.read_text(encoding="utf-8")
    sheet.write_text(text.replace('"2.5 K/W"', '"25 K/W"', 1), encoding="utf-8")
    checked = " ".join(run("check", sheet).stdout.split())
    assert "junction" in checked
    assert "rail[+15].heatsink" in checked
    done = run("start", sheet, "--logbook", tmp_path / "book", "--no-screen", "--rehearsal")
    assert done.returncode == 0
    told = [line for line in done.stderr.splitlines() if line.startswith("Design, fault: +15: the junction")]
    assert len(told) == 1
    assert "above the 125 °C" in told[0]
    start(tmp_path / "sound")


def test_record_stops_at_the_first_refused_row_with_line_and_reason(tmp_path: Path) -> None:
    path = start(tmp_path)
    answers = tmp_path / "answers.csv"
    answers.write_text("step,subject,value,meter,note\nenergised,,,,\n", encoding="utf-8")
    done = run("record", path, answers)
    assert done.returncode == 2
    assert "line 2" in done.stderr
    assert "case is open" in done.stderr
    assert done.stderr.count("\n") == 1
    assert run("verify", path).returncode == 0


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "empty"),
        ("step,value,colour\n", "unknown column"),
        ("subject,value\n", "column missing"),
        ('step,value\n"plug,pass\n', "not CSV"),
        ("step,subject,value,meter,note\na,b,c,d,e,f\n", "more fields"),
        ("step,subject,value,meter,note\n,,pass,,\n", "missing"),
    ],
)
def test_a_bad_answers_file_is_refused_in_words(tmp_path: Path, text: str, word: str) -> None:
    path = start(tmp_path)
    answers = tmp_path / "answers.csv"
    answers.write_text(text, encoding="utf-8")
    done = run("record", path, answers)
    assert done.returncode == 2
    assert word in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("arguments", "code", "word"),
    [
        (["bogus"], 2, "bogus"),
        (["check", "/nonexistent/CR-99.toml"], 3, "CR-99"),
        (["expect", str(SHEET), "--mains", "1,2"], 2, "--mains"),
        (["expect", str(SHEET), "--mains", ">200"], 2, "--mains"),
        (["start", str(SHEET), "--procedure", "commisioning", "--no-screen"], 3, "commisioning"),
        (["assess", "no-such-run"], 3, "no-such-run"),
        (["resume", "no-such-run"], 3, "no-such-run"),
        ([], 2, "terminal"),
        (["demo"], 2, "terminal"),
        (["new"], 2, "terminal"),
    ],
)
def test_bad_input_gives_one_clear_line_and_its_exit_code(
    tmp_path: Path, arguments: list[str], code: int, word: str
) -> None:
    extra = ["--logbook", str(tmp_path)] if arguments[:1] in (["start"], ["assess"], ["resume"]) else []
    done = run(*arguments, *extra)
    assert done.returncode == code, done.stderr
    assert word in done.stderr
    assert "Traceback" not in done.stderr


def test_every_mistake_in_a_sheet_is_told_at_once(tmp_path: Path) -> None:
    sheet = tmp_path / "bad.toml"
    sheet.write_text(
        'tag = "CR-99"\ntitle = "x"\nprotection_class = "I"\ncolour = "red"\n'
        '[mains]\nvoltage = "230 A"\nfrequency = "50 Hz"\n'
        '[[rail]]\nname = "+5"\nnominal = "5,0 V"\nrated_current = "3 A"\nsource = "T9.a"\n',
        encoding="utf-8",
    )
    done = run("check", sheet)
    assert done.returncode == 2
    for word in ("colour", "mains.voltage", "5,0 V", "T9.a"):
        assert word in done.stderr
    assert len(done.stderr.splitlines()) >= 4


def test_escape_sequences_in_a_sheet_are_shown_as_text(tmp_path: Path) -> None:
    sheet = tmp_path / "escape.toml"
    sheet.write_text(
        SHEET.read_text(encoding="utf-8").replace('title = "', 'title = "\\u001b[31m[bold]red[/bold] '),
        encoding="utf-8",
    )
    done = run("check", sheet)
    assert done.returncode == 0, done.stderr
    assert "\x1b" not in done.stdout
    assert "[bold]red[/bold]" in done.stdout


ANSWERS = {
    "Tag": "CR-02",
    "What it is": "Second-hand supply",
    "How many mains": "0",
    "Name": "+5",
    "Nominal": "5 V",
    "Rated": "3",
    "Is it regulated": "n",
}


def test_new_asks_every_question_and_takes_back_and_defaults() -> None:
    shown: list[str] = []
    went_back = False

    def read(prompt: str) -> str:
        nonlocal went_back
        shown.append(prompt)
        if len(shown) > 100:
            raise EOFError
        if prompt.startswith("Serial") and not went_back:
            went_back = True
            return "back"
        if prompt.startswith("Mains voltage") and "bogus" not in shown:
            shown.append("bogus")
            return "230 A"
        return next((answer for start, answer in ANSWERS.items() if prompt.startswith(start)), "")

    tag, text = ask_sheet(read, shown.append)
    supply = loads(text)
    assert tag == supply.tag == "CR-02"
    assert supply.rails[0].nominal_v == 5.0
    assert supply.rails[0].rated_current_a == 3.0
    assert "  = 3 A" in shown
    assert "  = no" in shown
    assert sum(line.startswith("Protection class") for line in shown) == 2  # once more after 'back'
    assert any("230 A" in line or "unit" in line for line in shown if not line.endswith(": "))


def test_answers_that_do_not_fit_together_are_said_and_the_last_is_asked_again() -> None:
    shown: list[str] = []

    tapless = {"How many mains": "1", "Voltage at rated": "18 V", "Rectifier": "centre-tap"}

    def read(prompt: str) -> str:
        shown.append(prompt)
        if any("without a tap" in line for line in shown):
            raise EOFError  # what was answered is still there to go back to
        for start, answer in tapless.items():
            if prompt.startswith(start):
                return answer
        return next((answer for start, answer in ANSWERS.items() if prompt.startswith(start)), "")

    with pytest.raises(EOFError):
        ask_sheet(read, shown.append)
    assert any("a centre-tap rectifier on a winding without a tap" in line for line in shown)
    assert any("Answer the last question again" in line for line in shown)
    assert shown[-1].startswith("Target: ripple")


def test_going_back_offers_what_was_answered() -> None:
    said = iter(["CR-83", "Benchsupply", "back", "back", "", "Bench supply"])
    shown: list[str] = []

    def read(prompt: str) -> str:
        shown.append(prompt)
        answer = next(said, None)
        if answer is None:
            raise EOFError
        return answer

    with pytest.raises(EOFError):
        ask_sheet(read, shown.append)
    tags = [line for line in shown if line.startswith("Tag")]
    assert ["[CR-83]" in line for line in tags] == [False, True]
    assert "[Benchsupply]" in next(line for line in reversed(shown) if line.startswith("What it is"))


def test_before_the_sheet_is_written_a_last_look_goes_back_to_the_last_question() -> None:
    said = iter(["no", "back", "y"])
    shown: list[str] = []

    def read(prompt: str) -> str:
        shown.append(prompt)
        if "Write the sheet" in prompt:
            return next(said)
        return next((answer for start, answer in ANSWERS.items() if prompt.startswith(start)), "")

    tag, _ = ask_sheet(read, shown.append)
    assert tag == "CR-02"
    looks = [at for at, line in enumerate(shown) if "Write the sheet" in line]
    assert len(looks) == 3
    assert shown[looks[0] + 1].startswith("  Enter or y writes it")
    last = shown[looks[1] + 1 : looks[2]]
    assert any(line.startswith("Target: ") for line in last)  # the last question, once more
    assert shown[0].splitlines() == [line.strip() for line in shown[0].splitlines()]
    assert all(len(line) < 80 for line in shown[0].splitlines())  # none is broken anew at 80 columns


def test_new_in_a_terminal_writes_a_sheet_that_checks_and_never_overwrites(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    said = typed_into("new", path)
    assert "CR-02" in said
    assert "Done: that was the last question" in said
    assert f"ohmward check {path}" in said.replace("\r\n", "")
    assert run("check", path).returncode == 0
    before = path.read_bytes()
    assert "already there" in typed_into("new", path)
    assert path.read_bytes() == before


def test_new_tells_of_a_set_point_that_is_not_the_rails_voltage(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = SHEET.read_text(encoding="utf-8").replace('set_point = "15 V"', 'set_point = "2 V"', 1)
    monkeypatch.setattr("ohmward.report.ask.ask_sheet", lambda *_: ("CR-07", text))
    monkeypatch.setattr("ohmward.cli.commands.need_terminal", lambda _: None)
    assert main(["new", str(tmp_path / "new.toml")]) == 0
    told = capsys.readouterr().err
    assert "Design, fault: +15: its regulator is set to 2 V and the rail is nominally 15 V" in told


def test_new_puts_the_sheet_where_the_logbook_keeps_sheets_and_never_beside_one_of_its_tag(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    logbook = tmp_path / "logbook"
    typed_into("new", "--logbook", logbook)
    assert [each.tag for each in supplies_of(logbook)] == ["CR-02"]
    assert not list(tmp_path.glob("*.toml"))
    again = typed_into("new", "--logbook", logbook)
    assert "the logbook has it already" in again.replace("\r\n", " ")
    assert len(supplies_of(logbook)) == 1
    assert run("check", tmp_path / "CR-02.toml").returncode == 0  # the answers are not lost
    assert "Give one of them" in typed_into("new", tmp_path / "other.toml", "--logbook", logbook)
    assert not (tmp_path / "other.toml").exists()


def supplies_of(logbook: Path) -> list[Supply]:
    """Return the supplies of a logbook."""
    return [load(path) for path in Logbook(logbook).sheets()]


def typed_into(*command: str | Path) -> str:
    """Run a command on a pseudo-terminal, answering each prompt; return all it showed."""
    leader, follower = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "ohmward.cli", *map(str, command)],
        stdin=follower, stdout=follower, stderr=follower, close_fds=True,
    ) as process:  # fmt: skip
        os.close(follower)
        seen, answered = "", 0
        while True:
            try:
                seen += os.read(leader, 4096).decode(errors="replace")
            except OSError:  # the other end is closed: the command has ended
                break
            lines = seen[answered:]
            if lines.endswith(": "):
                prompt = lines.splitlines()[-1]
                answer = next((text for start, text in ANSWERS.items() if prompt.startswith(start)), "")
                answered = len(seen)
                os.write(leader, f"{answer}\n".encode())
        process.wait(timeout=30)
    os.close(leader)
    return seen


def test_expect_json_has_the_agreed_shape() -> None:
    done = run("expect", SHEET, "--json")
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    assert result["tag"] == "CR-07"
    assert {"limit_ohm", "basis"} <= set(result["earth"])
    assert {"limit_ohm", "test_v", "basis"} <= set(result["insulation"])
    for rail in result["rails"].values():
        assert {"value", "low", "high"} == set(rail["no_load"]["output_v"])
        assert {"value", "low", "high"} == set(rail["no_load"]["reservoir_v"])
        for point in rail["loaded"]:
            assert {
                "load_a",
                "output_v",
                "reservoir_mean_v",
                "reservoir_valley_v",
                "reservoir_ripple_pp_v",
                "output_ripple_pp_v",
                "secondary_rms_a",
            } <= set(point)
        assert rail["discharge_s"] > 0


def test_assess_shows_where_an_uncertainty_comes_from(healthy: Path) -> None:
    path = journal_of(healthy)
    done = run("assess", path, "--budget", "load-points.output", "-15 @ 100 %", "--logbook", healthy)
    assert done.returncode == 0, done.stderr
    assert "accuracy of the meter" in done.stdout
    assert "REHEARSAL" in done.stdout
    plain = run(
        "assess", path, "--json", "--logbook", healthy, "--budget", "load-points.output", "+15 @ 100 %"
    )
    assert json.loads(plain.stdout)["components"]
    wrong = run("assess", path, "--logbook", healthy, "--budget", "load-points.output")
    assert wrong.returncode == 2
    assert wrong.stderr.count("\n") == 1
    assert "several readings stand there" in wrong.stderr


@pytest.mark.parametrize("command", ["check", "expect"])
def test_on_a_terminal_what_is_printed_fits_it_and_nothing_is_lost(command: str) -> None:
    wide = run(command, SHEET).stdout
    with Terminal([sys.executable, "-m", "ohmward.cli", command, str(SHEET)], size=(80, 400)) as terminal:
        terminal.wait()
        terminal.quiet()
        narrow = terminal.shown
    assert max(len(line) for line in wide.splitlines()) > 80
    assert max(len(line) for line in narrow.splitlines()) <= 80
    lost = Counter(re.findall(r"\d[\d.]*", wide)) - Counter(re.findall(r"\d[\d.]*", narrow))
    assert not lost
    words = Counter(re.findall(r"[a-z]{6,}", wide)) - Counter(re.findall(r"[a-z]{6,}", narrow))
    assert not words, "a word was broken"
