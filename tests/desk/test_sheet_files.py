"""Sheets of a logbook as files: never over another, whole or not at all, and always readable."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.desk import sheet_files
from ohmward.errors import InputError, Unreachable
from ohmward.logbook import create_run
from ohmward.logbook.names import safe
from ohmward.shipped import folder
from ohmward.supply import load
from support import bench as b
from support.journals import HandClock

CR_07 = (folder("demo") / "CR-07.toml").read_text(encoding="utf-8")


def test_a_new_sheet_takes_a_free_name(tmp_path: Path) -> None:
    logbook = tmp_path / "not there yet"
    first, second = sheet_files.save_new(logbook, CR_07), sheet_files.save_new(logbook, CR_07)
    assert (first.name, second.name) == ("CR-07.toml", "CR-07-2.toml")
    assert first.read_text(encoding="utf-8") == second.read_text(encoding="utf-8") == CR_07
    assert sheet_files.sheets_with(logbook, "CR-07", first) == (second,)
    assert sheet_files.sheets_with(logbook, "CR-08") == ()
    assert not [path for path in first.parent.iterdir() if path.suffix != ".toml"]


def test_a_tag_is_no_way_out_of_the_logbook(tmp_path: Path) -> None:
    tag = "../../x"
    path = sheet_files.save_new(tmp_path, CR_07.replace('"CR-07"', f'"{tag}"'))
    assert path.parent == tmp_path / "supplies"
    assert path.stem == safe(tag)


def test_what_is_no_sheet_is_never_saved(tmp_path: Path) -> None:
    path = sheet_files.save_new(tmp_path, CR_07)
    for text in (CR_07.replace('"15 V"', '"15"'), "tag = "):
        with pytest.raises(InputError):
            sheet_files.overwrite(path, text)
        with pytest.raises(InputError):
            sheet_files.save_new(tmp_path, text)
    assert path.read_text(encoding="utf-8") == CR_07
    assert list(path.parent.iterdir()) == [path]


def test_a_link_goes_on_leading_to_its_file(tmp_path: Path) -> None:
    real = tmp_path / "elsewhere.toml"
    real.write_text(CR_07, encoding="utf-8")
    link = tmp_path / "supplies" / "CR-07.toml"
    link.parent.mkdir()
    link.symlink_to(real)
    sheet_files.overwrite(link, CR_07.replace("6800", "4700"))
    assert link.is_symlink()
    assert "4700" in real.read_text(encoding="utf-8")
    assert sheet_files.sheets_with(tmp_path, "CR-07", real) == ()


def test_a_disk_that_fails_leaves_the_sheet_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = sheet_files.save_new(tmp_path, CR_07)

    def broken(_: object) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("os.fsync", broken)
    with pytest.raises(Unreachable, match="Input/output error"):
        sheet_files.overwrite(path, CR_07.replace("6800", "4700"))
    with pytest.raises(Unreachable, match="Input/output error"):
        sheet_files.save_new(tmp_path, CR_07)
    monkeypatch.undo()
    assert load(path).rails[0].reservoir == load(folder("demo") / "CR-07.toml").rails[0].reservoir
    assert list(path.parent.iterdir()) == [path]


def test_runs_of_a_tag_are_found_and_counted(tmp_path: Path) -> None:
    assert sheet_files.runs_on(tmp_path, "CR-07") == ()
    for _ in range(2):
        with create_run(tmp_path, tag="CR-07", procedure_name="short", opened=b.opened(), clock=HandClock()):
            pass
    runs = sheet_files.runs_on(tmp_path, "CR-07")
    assert [run.path.name for run in runs] == ["2026-03-01-02-short.jsonl", "2026-03-01-01-short.jsonl"]
    (runs[0].path.parent / "2026-03-02-01-odd.jsonl").write_text("no record\n", encoding="utf-8")
    assert sheet_files.runs_on(tmp_path, "CR-07")[0].problem
    assert sheet_files.around(tmp_path, "CR-07", None).runs == 3


def test_a_file_is_named_as_a_person_names_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    assert sheet_files.source_named(" '~/a sheet.toml' ") == tmp_path / "a sheet.toml"
    with pytest.raises(Unreachable):
        sheet_files.source_named("~nobody-of-this-name/x.toml")
    (tmp_path / "bad.toml").write_bytes(b"\xff")
    assert sheet_files.on_disk(tmp_path / "bad.toml") is None
    assert sheet_files.on_disk(tmp_path / "none.toml") is None


def test_a_limit_set_that_is_not_there_is_told() -> None:
    supply = load(folder("demo") / "CR-07.toml")
    assert sheet_files.limits_problem(supply) == ""
    import msgspec

    assert "nowhere" in sheet_files.limits_problem(msgspec.structs.replace(supply, limit_set="nowhere"))


def test_a_sheet_from_elsewhere_is_kept_once_and_never_over_another(tmp_path: Path) -> None:
    logbook, outside = tmp_path / "lb", tmp_path / "mine.toml"
    outside.write_text(CR_07, encoding="utf-8")
    assert "copied into the logbook" in sheet_files.kept(logbook, outside)
    inside = logbook / "supplies" / "CR-07.toml"
    assert inside.read_text(encoding="utf-8") == CR_07
    assert sheet_files.kept(logbook, outside) == ""  # the very same
    assert sheet_files.kept(logbook, inside) == ""
    outside.write_text(CR_07.replace("6800 µF", "4700 µF", 1), encoding="utf-8")
    said = sheet_files.kept(logbook, outside)
    assert "another sheet of CR-07 already" in said
    assert "stays as it is" in said
    assert [path.name for path in inside.parent.iterdir()] == ["CR-07.toml"]
    assert inside.read_text(encoding="utf-8") == CR_07
