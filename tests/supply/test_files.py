"""Sheets on disk: what cannot be reached, what is no text, and writing that loses nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.errors import Exit, InputError, Unreachable
from ohmward.shipped import folder
from ohmward.supply import load, loads, save
from support.machine import open_folder, plain_user

CR_07 = folder("demo") / "CR-07.toml"


def test_saved_and_loaded(tmp_path: Path) -> None:
    supply = load(CR_07)
    save(supply, tmp_path / "new.toml")
    assert load(tmp_path / "new.toml") == supply
    assert [path.name for path in tmp_path.iterdir()] == ["new.toml"]


@pytest.mark.parametrize("name", ["nothing.toml", "", "a\0b.toml"])
def test_no_such_file(tmp_path: Path, name: str) -> None:
    with pytest.raises(Unreachable) as caught:
        load(tmp_path / name)
    assert caught.value.exit_code == Exit.UNREACHABLE
    assert "\0" not in str(caught.value)


def test_no_leave_to_read_or_write() -> None:
    supply = load(CR_07)
    with open_folder() as shared:
        path = shared / "x.toml"
        path.write_text("", encoding="utf-8")
        path.chmod(0)
        shared.chmod(0o555)
        with plain_user():
            with pytest.raises(Unreachable, match="cannot be read"):
                load(path)
            with pytest.raises(Unreachable, match="cannot be written"):
                save(supply, shared / "y.toml")
        shared.chmod(0o755)


def test_no_folder_to_write_into(tmp_path: Path) -> None:
    with pytest.raises(Unreachable, match="cannot be written"):
        save(load(CR_07), tmp_path / "none" / "x.toml")


def test_not_text(tmp_path: Path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes('tag = "µ"'.encode("latin-1"))
    with pytest.raises(InputError) as caught:
        load(path)
    (mistake,) = caught.value.mistakes
    assert "UTF-8" in mistake.why
    assert mistake.where == str(path)


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    path = tmp_path / "bom.toml"
    path.write_bytes(b"\xef\xbb\xbf" + CR_07.read_bytes())
    assert load(path) == load(CR_07)


def test_mistakes_name_the_file(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text('tag = "X"', encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load(path)
    assert {mistake.where for mistake in caught.value.mistakes} == {str(path)}
    assert len(str(caught.value).splitlines()) == len(caught.value.mistakes)


def test_an_escape_in_a_file_name_is_shown(tmp_path: Path) -> None:
    with pytest.raises(Unreachable) as caught:
        load(tmp_path / "\x1b[31m.toml")
    assert "\x1b" not in str(caught.value)


def test_a_file_that_is_there_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(Unreachable, match="already"):
        save(load(CR_07), path)
    with pytest.raises(InputError):
        save(load(CR_07), path, replace=True)
    assert path.read_text(encoding="utf-8") == "mine"


def test_replacing_keeps_comments_and_mode(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    text = "# mine\n" + CR_07.read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    path.chmod(0o640)
    save(loads(text.replace('ambient_max = "40 °C"', 'ambient_max = "45 °C"')), path, replace=True)
    assert path.read_text(encoding="utf-8") == text.replace('ambient_max = "40 °C"', 'ambient_max = "45 °C"')
    assert path.stat().st_mode & 0o777 == 0o640


def test_a_folder_is_no_sheet(tmp_path: Path) -> None:
    with pytest.raises(Unreachable, match="cannot be read"):
        load(tmp_path)
