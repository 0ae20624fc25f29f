"""A short run of two rails, switched off and unplugged: what is left in the reservoirs comes next."""

from __future__ import annotations

from pathlib import Path

from ohmward.logbook import create_run, open_run
from ohmward.run import LiveRun
from support import bench as b
from support.journals import HandClock

FIRST, SECOND = ("residual", "+15"), ("residual", "-15")
_SHEET = f"""{b.SHEET}
[[rail]]
name = "-15"
nominal = "-15 V"
rated_current = "1.2 A"
"""


def to_mains(path: Path) -> None:
    """Take the short procedure live: every dead stage of it, recorded through the gates."""
    with LiveRun(open_run(path, clock=HandClock())) as live:
        for step in ("plug", "label", "vents"):
            live.answer(step, "", "pass")
        live.read("lead-null", "", "0.20")
        live.shut_case()
        live.read("earth", "case", "0.25")
        live.read("earth", "front panel", "0.25")
        live.read("insulation", "", ">200M")
        live.acknowledge("no-load")
        live.energise()


def switched_off(logbook: Path) -> Path:
    """Begin a run, take it live and switch it off; return its journal."""
    with create_run(
        logbook, tag="CR-07", procedure_name="short", opened=b.opened(sheet=_SHEET), clock=HandClock()
    ) as journal:
        path = journal.path
    to_mains(path)
    with LiveRun(open_run(path, clock=HandClock())) as live:
        live.switch_off()
        live.answer("unplugged", "", "pass")
    return path
