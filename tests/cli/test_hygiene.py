"""Start-up stays instant: what `--help` and `--version` may load."""

from __future__ import annotations

import subprocess
import sys

import pytest

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
