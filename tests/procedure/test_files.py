"""Where procedures and limit sets are read from, and what is said when they cannot be."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.errors import Exit, InputError, Unreachable
from ohmward.procedure import load, load_limits, source_text, source_text_limits
from ohmward.shipped import folder, names
from support.bench import PROCEDURE
from support.machine import open_folder, plain_user


def test_shipped_limit_sets_are_found_by_name() -> None:
    assert names("limits") == ("au-nz", "eu", "iec", "uk")
    assert load_limits("iec").name == "iec"
    assert source_text_limits("iec") == (folder("limits") / "iec.toml").read_text(encoding="utf-8")


def test_a_file_is_read_by_its_path(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(PROCEDURE, encoding="utf-8")
    assert load(path).name == "short"
    assert load(str(path)) == load(path)
    assert source_text(path) == PROCEDURE


def test_a_file_comes_before_a_shipped_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "iec").write_text("format = 1\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert source_text_limits("iec") == "format = 1\n"


def test_a_folder_of_the_same_name_does_not_hide_a_shipped_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "iec").mkdir()
    monkeypatch.chdir(tmp_path)
    assert load_limits("iec").name == "iec"


@pytest.mark.parametrize("name", ["iek", "IEC", "nowhere/own.toml", "", "a\0b", "x" * 5000, "../iec"])
def test_what_is_not_there_is_unreachable_in_one_line(name: str) -> None:
    with pytest.raises(Unreachable) as caught:
        load_limits(name)
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == Exit.UNREACHABLE


def test_a_misspelt_name_is_offered_the_shipped_one() -> None:
    with pytest.raises(Unreachable, match="Did you mean 'au-nz'"):
        load_limits("aunz")


def test_a_folder_is_no_procedure(tmp_path: Path) -> None:
    with pytest.raises(Unreachable):
        load(tmp_path)


def test_a_file_that_may_not_be_read_is_unreachable() -> None:
    with open_folder() as shared:
        path = shared / "own.toml"
        path.write_text(PROCEDURE, encoding="utf-8")
        path.chmod(0)
        with plain_user(), pytest.raises(Unreachable, match=r"own\.toml"):
            load(path)


def test_mistakes_name_the_file(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text("format = 3\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load(path)
    assert all(line.startswith(f"{path}: ") for line in str(caught.value).splitlines())


def test_bytes_that_are_no_text_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        load(path)
