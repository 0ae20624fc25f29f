"""Start-up stays instant: what `--help` and `--version` may load."""

from __future__ import annotations

import subprocess
import sys

import pytest

from ohmward.cli import main

HEAVY = ("pandas", "scipy", "matplotlib", "textual", "pyvisa", "numpy", "msgspec", "rich", "tomlkit")


@pytest.mark.parametrize("option", ["--help", "--version"])
def test_help_and_version_load_nothing_heavy(option: str) -> None:
    code = (
        "import sys\nfrom ohmward.cli import main\n"
        f"try:\n    main([{option!r}])\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        f"print('loaded', sorted(set(sys.modules) & set({HEAVY!r})))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.splitlines()[-1] == "loaded []"


def test_core_loads_no_screen_no_plot_and_no_meter_driver() -> None:
    code = (
        "import sys, ohmward.run, ohmward.analysis, ohmward.physics, ohmward.procedure, ohmward.logbook\n"
        "import ohmward.supply, ohmward.quantity, ohmward.run.answers\n"
        "print(sorted({'textual', 'matplotlib', 'pyvisa', 'rich', 'pandas'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"


def test_a_fault_of_our_own_is_said_in_words_and_traced_when_asked(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(_: object) -> int:
        raise KeyError("lost")

    monkeypatch.setattr("ohmward.cli.commands.check", broken)
    assert main(["check", "CR-07.toml"]) == 3
    told = capsys.readouterr().err
    assert "not of your input" in told
    assert "lost" in told
    monkeypatch.setenv("OHMWARD_TRACE", "1")
    with pytest.raises(KeyError):
        main(["check", "CR-07.toml"])
