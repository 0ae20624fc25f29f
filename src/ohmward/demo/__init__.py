"""The rehearsal of CR-07: shipped sheet, the simulated bench with its meters, in a logbook of its own.

It goes the way of a real bench: meters over SCPI, sweeps and soaks that run by themselves, the same gates.
Faults can be put into the unit for a person to find.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.demo.apart import keep_out, meters_of, put_meters, scratch_logbook
from ohmward.logbook.clock import Clock
from ohmward.shipped import folder

if TYPE_CHECKING:
    from ohmward.bench.simulated.bench import SimulatedBench

__all__ = ["begin", "bench_of", "keep_out", "meters_of", "rehearse", "scratch_logbook"]

TAG = "CR-07"
STORIES = ("healthy", "faulty")
STORY_FAULT = "open-diode:24"
"""What is wrong with the unit of the faulty story."""
MAINS_V, ROOM_C = 231.4, 21.5
SPECIMEN = 3
"""Seed of the unit on the simulated bench: one that passes when sound."""
PACE_S = 0.02
"""Real time that each wait of a rehearsal takes, so that a person can follow [s]."""


def begin(
    logbook: Path,
    *,
    tool: str,
    operator: str = "bench A",
    clock: Clock | None = None,
    bench: SimulatedBench | None = None,
) -> Path:
    """Start a rehearsal run of CR-07 in `logbook`; return its journal.

    Parameters
    ----------
    logbook : Path
    tool, operator : str
    clock : Clock, optional
    bench : SimulatedBench, optional
        Started: its meters are those of the run. Without one the shipped list of meters stands.

    Raises
    ------
    InputError
        When the logbook is used for real work; see `keep_out`.
    """
    from ohmward.run.start import start

    keep_out(logbook)
    meters = folder("demo") / "meters.toml" if bench is None else put_meters(logbook, bench)
    shelf = logbook / "supplies"
    shelf.mkdir(parents=True, exist_ok=True)
    sheet = shelf / f"{TAG}.toml"
    if not sheet.exists():
        sheet.write_text((folder("demo") / f"{TAG}.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return start(
        logbook,
        sheet,
        meters=meters,
        operator=operator,
        purpose="rehearsal",
        simulated=True,
        tool=tool,
        clock=clock,
    )


def bench_of(faults: Sequence[str] = (), seed: int | None = None, story: str = "healthy") -> SimulatedBench:
    """Return a simulated bench with CR-07 on it, not yet started.

    Parameters
    ----------
    faults : sequence of str
        As ``open-diode:24``; the faulty story has one of its own where none are given.
    seed : int, optional
        Draws unit and meters; None takes a unit that passes when sound.
    story : str
        One of `STORIES`.

    Raises
    ------
    InputError
        For an unknown fault, or one that cannot sit there.
    """
    from ohmward.bench.simulated.bench import SimulatedBench
    from ohmward.bench.simulated.specimen import parse_fault
    from ohmward.supply import load

    supply = load(folder("demo") / f"{TAG}.toml")
    wanted = faults or ((STORY_FAULT,) if story == "faulty" else ())
    # The bench clock keeps step with the room; whatever a person would wait for is moved on at once.
    return SimulatedBench(
        supply,
        faults=[parse_fault(fault) for fault in wanted],
        seed=SPECIMEN if seed is None else seed,
        speed=1.0,
        mains_v=MAINS_V,
        room_c=ROOM_C,
    )


def rehearse(
    logbook: Path, bench: SimulatedBench, *, story: str, operator: str, tool: str, plain: bool = False
) -> int:
    """Run the rehearsal on the screen, or line by line: the bench's meters are read, checks are a story's."""
    from ohmward.demo.by_eye import ByEye
    from ohmward.desk.who_tests import Who
    from ohmward.taking.rehearsing import RehearsalHands

    with bench:
        path = begin(logbook, tool=tool, operator=operator, bench=bench)
        hands = RehearsalHands(bench, pace_s=PACE_S)
        with meters_of(logbook, hands) as meters:
            by_eye = ByEye(hands, story)
            if plain:
                from ohmward.plain.opening import run_plain

                return run_plain(
                    logbook, path, rehearsal=by_eye, meters=meters, who=Who(operator), resumed=False
                )
            from ohmward.desk.look import look_file
            from ohmward.tui.sitting import run_app

            return run_app(
                logbook, run_path=path, rehearsal=by_eye, meters=lambda: meters, who=Who(operator),
                look_file=look_file(),
            )  # fmt: skip
