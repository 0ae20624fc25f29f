"""Killed while recording: nothing that was acknowledged is lost."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

KILLS = 240


def test_no_acknowledged_record_is_lost_when_the_process_is_killed(tmp_path: Path) -> None:
    script = Path(__file__).with_name("kill_loop.py")
    done = subprocess.run(
        [sys.executable, script, tmp_path, str(KILLS), "20260301"],
        capture_output=True, text=True, check=False, timeout=200,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    seen = json.loads(done.stdout)
    assert seen["killed"] == KILLS
    assert seen["intact"] == seen["runs"] >= KILLS // 6 // 2
    assert seen["note"] > KILLS / 2  # the children did record
    assert (seen["recovered"] > 0) == (seen["torn"] > 0)
