"""The rehearsal of CR-07: shipped sheet, meters and answers, in a logbook of its own.

A rehearsal takes its readings from a shipped answers file, or live from the simulated bench (`bench_of`),
where faults can be put in for a person to find.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.errors import OhmwardError
from ohmward.logbook.clock import Clock
from ohmward.procedure.model import Item
from ohmward.run.state import Phase, RunState, Standing
from ohmward.shipped import folder

if TYPE_CHECKING:
    from ohmward.bench.simulated.bench import SimulatedBench
    from ohmward.run.answers import Row

TAG = "CR-07"
STORIES = ("healthy", "faulty")
STORY_FAULT = "open-diode:24"
"""What is wrong with the unit of the faulty story."""
MAINS_V, ROOM_C = 231.4, 21.5
SPECIMEN = 3
"""Seed of the unit on the simulated bench: one that passes when sound."""
MOST_ROWS = 2000
TOLD_BY_EYE = {
    "wrong-fuse": ("fuse-value",),
    "shorted-diode": ("lamp-first", "direct-start"),
    "line-neutral-transposed": ("cord-cores", "fuse-in-line", "fuse-live-end"),
    "washer-punctured": ("output-earth",),
    "regulator-oscillating": ("oscillation",),
    "loose-earth": ("earth-wiggle",),
    "earth-core-broken": ("earth-wiggle",),
    "dry-interface": ("device-mounting",),
    "no-ventilation": ("air-path",),
}
"""Checks that a fault fails though no meter shows it; a check of a rail fails for the rail with the fault."""


def scratch_logbook() -> Path:
    """Return a new folder for a rehearsal, apart from the real logbook."""
    return Path(tempfile.mkdtemp(prefix="ohmward-rehearsal-"))


def begin(
    logbook: Path,
    *,
    tool: str,
    operator: str = "bench A",
    clock: Clock | None = None,
    meters: Path | None = None,
) -> Path:
    """Start a rehearsal run of CR-07 in `logbook`; return its journal."""
    from ohmward.run.start import start

    shelf = logbook / "supplies"
    shelf.mkdir(parents=True, exist_ok=True)
    sheet = shelf / f"{TAG}.toml"
    if not sheet.exists():
        sheet.write_text((folder("demo") / f"{TAG}.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return start(
        logbook,
        sheet,
        meters=meters or folder("demo") / "meters.toml",
        operator=operator,
        purpose="rehearsal",
        simulated=True,
        tool=tool,
        clock=clock,
    )


def play_story(
    logbook: Path, *, story: str, tool: str, progress: Callable[[int], None] | None = None
) -> Path:
    """Play a shipped answers file through the gates; return the journal."""
    from ohmward.logbook import open_run
    from ohmward.run import LiveRun
    from ohmward.run.answers import play

    path = begin(logbook, tool=tool)
    with LiveRun(open_run(path)) as live:
        play(live, _rows(story), f"{TAG}.{story}.csv", progress)
    return path


class Rehearsal:
    """Offers the readings of a story for a person to take with one key."""

    def __init__(self, story: str) -> None:
        self._values = {
            (row.step, row.subject): row.value for row in _rows(story) if row.value and row.step != "amend"
        }

    def reading_for(self, state: RunState, item: Item) -> str | None:
        """Return what the rehearsal meter shows for `item`, or None where it shows nothing."""
        return self._values.get(item.key)


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


class LiveRehearsal:
    """Takes each reading over SCPI from the simulated bench, which it keeps where the run says it is.

    Parameters
    ----------
    bench : SimulatedBench
        Started.
    story : str
        Answers for what the bench has no meter for: checks by eye, humidity.
    """

    def __init__(self, bench: SimulatedBench, story: str = "healthy") -> None:
        from ohmward.bench.simulated.probing import Hands

        self.bench = bench
        self.hands = Hands(bench)
        self._story = Rehearsal(story)
        self._mended_seq = -1

    def reading_for(self, state: RunState, item: Item) -> str | None:
        """Return what the meter shows for `item` now, or the answer to a check; None where there is none.

        A repair recorded since the last call has mended every fault.

        Raises
        ------
        Unreachable
            When an instrument of the bench does not answer.
        """
        if state.repaired_seq > self._mended_seq:
            self._mended_seq = state.repaired_seq
            self.bench.unit.mend()
        live = state.phase in {Phase.LIVE, Phase.HALTED}
        if item.energised and not live:
            return None  # nothing to read on a unit that is not plugged in
        self.hands.follow(item, energised=live, case_open=state.case_open)
        if item.read is None:
            return self._check(state, item)
        return self.hands.read(item) or self._story.reading_for(state, item)

    def _check(self, state: RunState, item: Item) -> str | None:
        if item.step == "ripple-frequency":
            return self._ripple_frequency(item)
        for name, subject in self.bench.unit.faults:
            if item.step in TOLD_BY_EYE.get(name, ()) and item.rail in {"", subject or item.rail}:
                return "fail"
        return self._story.reading_for(state, item)

    def _ripple_frequency(self, item: Item) -> str:
        """Return whether the reservoir's ripple is at twice the mains frequency, from a capture."""
        from ohmward.analysis.ripple import analyse

        sheet = self.bench.supply.rail(item.rail)
        if sheet.rectifier is not None and sheet.rectifier.kind == "half-wave":
            return "pass"
        self.bench.unit.set_load(item.rail, sheet.rated_current_a)
        found = self.hands.capture(f"rail {item.rail} reservoir")
        ripple = analyse(found.values, 1 / found.interval_s, self.bench.supply.mains.frequency_hz)
        return "fail" if (ripple.half_wave_fraction or 0.0) > 0.2 else "pass"


def rehearse(logbook: Path, bench: SimulatedBench, *, story: str, operator: str, tool: str) -> int:
    """Run the rehearsal in the terminal UI, with readings from the simulated bench; checks are a story's."""
    from ohmward.tui.app import run_app

    with bench:
        path = begin(logbook, tool=tool, operator=operator, meters=_meters_file(logbook, bench))
        return run_app(logbook, run_path=path, rehearsal=LiveRehearsal(bench, story), operator=operator)


def play_live(
    logbook: Path, bench: SimulatedBench, *, tool: str, progress: Callable[[int], None] | None = None
) -> tuple[Path, str]:
    """Play the whole procedure with readings from the simulated bench, without a person.

    Returns
    -------
    tuple
        The journal, and why it stopped before the end: the words of the gate that refused, or empty.
    """
    from ohmward.logbook import open_run
    from ohmward.run import LiveRun
    from ohmward.run.answers import play

    with bench:
        path = begin(logbook, tool=tool, meters=_meters_file(logbook, bench))
        rehearsal, done = LiveRehearsal(bench), 0
        with LiveRun(open_run(path)) as live:
            for row in _rows("healthy"):
                again = True
                while again:
                    try:
                        play(live, (_live_row(rehearsal, live.state, row),), "simulated bench")
                    except OhmwardError as error:
                        return path, str(error)
                    again = _still_charged(live.state, row) and done < MOST_ROWS
                    done += 1
                    if progress is not None:
                        progress(done)
                if override := _override(live.state, row):
                    play(live, (override,), "simulated bench")
    return path, ""


def _live_row(rehearsal: LiveRehearsal, state: RunState, row: Row) -> Row:
    """Return a row of the answers file with what the bench shows in the place of its value."""
    item = state.by_key.get((row.step, row.subject))
    found = None if item is None or not row.value else rehearsal.reading_for(state, item)
    if item is None or found is None:
        return row
    # A faulty unit may well show what is not plausible of a sound one: it is meant.
    return replace(row, value=found if item.read is None else f"{found}!")


def _still_charged(state: RunState, row: Row) -> bool:
    """Return whether a residual voltage was found too high: it is bled by hand and read again."""
    item = state.by_key.get((row.step, row.subject))
    residual = item is not None and item.read is not None and item.read.quantity == "residual_v"
    return residual and item is not None and state.standing(item) is Standing.FAILED


def _override(state: RunState, row: Row) -> Row | None:
    """Return the row that accepts a failed step of severity 'fault', so that the rest can be measured."""
    item = state.by_key.get((row.step, row.subject))
    if item is None or state.standing(item) is not Standing.FAILED or item.spec.severity != "fault":
        return None
    target = f"{row.step} / {row.subject}" if row.subject else row.step
    note = "rehearsal: measured on, to find the cause"
    return replace(row, step="override", subject=target, value="", meter="", note=note)


def _meters_file(logbook: Path, bench: SimulatedBench) -> Path:
    """Write the meters of a bench into a rehearsal's logbook; return the file."""
    logbook.mkdir(parents=True, exist_ok=True)
    path = logbook / "simulated-meters.toml"
    path.write_text(bench.meters_toml, encoding="utf-8")
    return path


def _rows(story: str) -> tuple[Row, ...]:
    from ohmward.run.answers import parse_answers

    path = folder("demo") / f"{TAG}.{story}.csv"
    return parse_answers(path.read_text(encoding="utf-8"), path.name)
