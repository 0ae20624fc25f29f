"""A rehearsal kept apart from real work: its logbook, and the list of meters that only it uses."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.errors import InputError, Mistake
from ohmward.logbook import Logbook
from ohmward.textfile import read_text

if TYPE_CHECKING:
    from ohmward.bench.simulated.bench import SimulatedBench
    from ohmward.taking.at_hand import MetersAtHand
    from ohmward.taking.hands import Hands

METERS = "rehearsal-meters.toml"
"""The simulated meters, beside the logbook's own list: no run on a real unit reads this file."""


def scratch_logbook() -> Path:
    """Return a new folder for a rehearsal, apart from the real logbook."""
    return Path(tempfile.mkdtemp(prefix="ohmward-rehearsal-"))


def keep_out(logbook: Path) -> None:
    """Refuse a logbook that is used for real work, before anything is written to it.

    Raises
    ------
    InputError
        When it has a run that is no rehearsal (or that cannot be read), meters of a real bench, or
        design sheets and no run yet.
    Unreachable
        When it cannot be listed.
    """
    why = _real_work(logbook)
    if why:
        mend = "Leave --logbook out, and the rehearsal gets a folder of its own; or name another folder"
        raise InputError(
            [Mistake(where=str(logbook), field="", value="", why=f"a rehearsal keeps out: {why}", mend=mend)]
        )


def put_meters(logbook: Path, bench: SimulatedBench) -> Path:
    """Write the meters of a bench, started, where only a rehearsal looks; return the file."""
    path = logbook / METERS
    logbook.mkdir(parents=True, exist_ok=True)
    path.write_text(bench.meters_toml, encoding="utf-8")
    return path


def meters_of(logbook: Path, hands: Hands) -> MetersAtHand:
    """Return the meters of a rehearsal that `begin` was given a bench for."""
    from ohmward.taking.at_hand import MetersAtHand

    return MetersAtHand(logbook, hands=hands, meters=METERS)


def _real_work(logbook: Path) -> str:
    """Return what is real in a logbook, in words; empty where nothing is."""
    from ohmward.bench.simulated.inventory import HEADING

    there = Logbook(logbook)
    listed, runs = logbook / "meters.toml", there.everything()
    real = next((run for run in runs if not run.simulated), None)
    if real is not None:
        return f"this logbook has runs on real supplies ({real.name})"
    if listed.exists() and not read_text(listed).startswith(HEADING):
        return "this logbook has meters of a real bench in meters.toml"
    if not runs and there.sheets():
        return f"this logbook has design sheets of yours ({there.sheets()[0].name})"
    return ""
