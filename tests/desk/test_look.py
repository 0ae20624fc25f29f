"""Where the look chosen last is kept: the same place on every way there."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from platformdirs import user_config_path

from ohmward.desk.look import keep_look, last_look, look_file


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="XDG base directories")
@pytest.mark.parametrize("config", ["", "/settings of one"])
def test_it_is_where_the_platform_keeps_settings(config: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", config)
    assert look_file() == user_config_path("ohmward") / "look"


def test_what_was_kept_is_read_again_and_nothing_else_counts(tmp_path: Path) -> None:
    file = tmp_path / "a" / "look"
    assert last_look(file) == ""
    assert keep_look(file, "light") == ""
    assert last_look(file) == "light"
    file.write_text("mauve", encoding="ascii")
    assert last_look(file) == ""
    assert "cannot be written" in keep_look(tmp_path / "a", "dark")  # a folder is there
