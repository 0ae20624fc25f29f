"""What a retest takes over from earlier runs, shows beside each entry, and compares at the end."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.desk.card import card
from ohmward.logbook import open_run, read
from ohmward.run import LiveRun, assess_state, state
from ohmward.run.start import start
from support import aged


@pytest.fixture(autouse=True)
def _bench(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OHMWARD_BENCH", "bench-a")


def test_a_retest_carries_parts_and_values_and_ends_with_the_comparison(tmp_path: Path) -> None:
    first, last = aged.VISITS[0], aged.VISITS[-1]
    paths = aged.write(tmp_path, [first, last])
    retested = state(read(paths[-1]))
    assert retested.opened is not None
    kept = retested.opened.baseline
    assert kept is not None
    assert kept.run == "CR-11/2019-03-07-01-commissioning"
    assert kept.last == read(paths[0])[-1].digest
    keys = {(value.step, value.subject) for value in kept.values}
    assert ("ripple.output", "24 @ 100 %") in keys
    assert keys <= set(retested.by_key)
    assert retested.closed is not None
    summary = " ".join(retested.closed.summary)
    assert "Since 2019-03-07" in summary
    assert "Reservoir capacitance left" in summary
    assert {each.key for each in assess_state(retested).comparison} >= {("ripple.output", "24 @ 100 %")}


def test_a_rehearsal_carries_nothing_into_a_real_run_nor_across_a_changed_design(tmp_path: Path) -> None:
    aged.write(tmp_path, aged.VISITS[:1])
    shelf = tmp_path / "supplies" / "CR-11.toml"
    settings_ = {"operator": "bench A", "tool": "t", "procedure": "retest"}
    real = start(tmp_path, shelf, simulated=False, **settings_)  # type: ignore[arg-type]
    assert state(read(real)).opened.baseline is None  # type: ignore[union-attr]
    rehearsed = start(tmp_path, shelf, simulated=True, **settings_)  # type: ignore[arg-type]
    assert state(read(rehearsed)).opened.baseline is not None  # type: ignore[union-attr]
    shelf.write_text(shelf.read_text(encoding="utf-8").replace("22000 µF", "33000 µF"), encoding="utf-8")
    other = start(tmp_path, shelf, simulated=True, **settings_)  # type: ignore[arg-type]
    assert state(read(other)).opened.baseline is None  # type: ignore[union-attr]


def test_parts_named_in_an_earlier_run_are_carried_and_none_of_the_sheet_is_lost(tmp_path: Path) -> None:
    (path,) = aged.write(tmp_path, aged.VISITS[:1])
    shelf = tmp_path / "supplies" / "CR-11.toml"
    settings_ = {"operator": "bench A", "tool": "t", "simulated": True}
    named = start(tmp_path, shelf, procedure="retest", **settings_)  # type: ignore[arg-type]
    with LiveRun(open_run(named)) as live:
        live.name_parts(["case", "rear panel", "handle"])
    again = state(read(start(tmp_path, shelf, procedure="retest", **settings_)))  # type: ignore[arg-type]
    assert again.parts == ("case", "lid", "rear panel", "handle")
    assert again.violations == ()
    assert ("earth", "handle") in again.by_key
    fresh = state(read(start(tmp_path, shelf, procedure="commissioning", **settings_)))  # type: ignore[arg-type]
    assert fresh.parts == ("case", "lid", "rear panel")
    assert fresh.opened is not None
    assert fresh.opened.baseline is None
    assert path.exists()


def test_a_damaged_old_journal_does_not_keep_a_retest_from_starting(tmp_path: Path) -> None:
    paths = aged.write(tmp_path, aged.VISITS[:2])
    paths[0].write_bytes(b"rubbish\n")
    made = start(
        tmp_path,
        tmp_path / "supplies" / "CR-11.toml",
        operator="bench A",
        tool="t",
        procedure="retest",
        simulated=True,
    )
    kept = state(read(made)).opened.baseline  # type: ignore[union-attr]
    assert kept is not None
    assert kept.run == "CR-11/2020-03-08-01-retest"


def test_the_earlier_value_stands_on_the_card_of_its_entry_and_on_no_other(tmp_path: Path) -> None:
    paths = aged.write(tmp_path, [aged.VISITS[0], aged.VISITS[-1]])
    first, retested = (state(read(path)) for path in paths)
    item = retested.item("ripple.output", "24 @ 100 %")
    shown = card(retested, item, None, pending=False, meter="scope").earlier
    typed = first.entries[item.key].event.value.raw  # type: ignore[union-attr]
    assert shown.startswith(f"{typed} V on 2019-03-07")
    assert "S-0207" in shown
    assert "230.6 V mains" in shown
    assert card(retested, retested.item("plug-body"), None, pending=False, meter="").earlier == ""
    assert card(first, first.item(*item.key), None, pending=False, meter="").earlier == ""


def test_a_repair_during_a_retest_names_the_procedure_that_follows(tmp_path: Path) -> None:
    aged.write(tmp_path, aged.VISITS[:1])
    sheet = tmp_path / "supplies" / "CR-11.toml"
    made = start(tmp_path, sheet, operator="bench A", tool="t", procedure="retest", simulated=True)
    with LiveRun(open_run(made)) as live:
        assert not any("after-repair" in line for line in assess_state(live.state).summary)
        live.repaired("switch replaced")
        assert any("'after-repair'" in line for line in assess_state(live.state).summary)
