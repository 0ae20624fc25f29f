"""The rehearsal without a person: every reading over SCPI, every sweep and the soak by themselves."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from ohmward.bench.capture import take
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.soaking import SoakEnded
from ohmward.bench.sweep import SweepEnded
from ohmward.demo import begin, meters_of
from ohmward.demo.by_eye import ByEye, rows_of
from ohmward.errors import Exit, OhmwardError
from ohmward.logbook import open_run
from ohmward.procedure.model import Item
from ohmward.run import LiveRun
from ohmward.run.answers import ACTIONS, Row, RowRefused, play
from ohmward.run.blockers import past_stop
from ohmward.run.capturing import attach, require_now
from ohmward.run.gates import admit
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import Key, Standing
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.choosing import probe
from ohmward.taking.load_sweep import run_sweep
from ohmward.taking.long_soak import run_soak
from ohmward.taking.planning import plan_sweep
from ohmward.taking.rehearsing import RehearsalHands
from ohmward.taking.soak_plan import plan_soak
from ohmward.taking.timing import time_by

WHERE = "simulated bench"
SCOPE = "scope"
MOST_TRIES = 50
"""So often a reservoir that is found charged is bled and read again."""
SOAK_EVERY_S, SOAK_FOR_S = 60.0, 3 * 3600.0
"""Until the transformers have settled, which an hour is too short for."""
MEASURED_ON = "rehearsal: measured on, to find the cause"

Progress = Callable[[int], None]


class Ended(OhmwardError):
    """A sweep or a soak ended before its time."""

    exit_code = Exit.OUT_OF_TOLERANCE


def play_live(
    logbook: Path,
    bench: SimulatedBench,
    *,
    tool: str,
    story: str = "healthy",
    progress: Progress | None = None,
) -> tuple[Path, str]:
    """Play the whole procedure on the simulated bench; where it cannot go on, the unit is made safe.

    Parameters
    ----------
    logbook : Path
    bench : SimulatedBench
        Not yet started.
    tool : str
    story : str
        Answers for what no meter reads, and the order of it all.
    progress : callable, optional
        Told how many records there are, now and then.

    Returns
    -------
    tuple
        The journal, and why it stopped before the end: the words of the gate that refused, or empty.
    """
    with bench:
        path = begin(logbook, tool=tool, bench=bench)
        hands = RehearsalHands(bench)
        with (
            LiveRun(open_run(path)) as live,
            meters_of(logbook, hands) as meters,
        ):
            time_by(live, meters)
            player = _Player(live, meters, ByEye(hands, story), progress or (lambda _: None))
            rows = rows_of(story)
            try:
                player.play(rows)
            except OhmwardError as error:
                player.make_safe(rows)
                return path, str(error)
    return path, ""


class _Player:
    """Goes through the rows of a story; what a meter reads is read, the rest is the story's."""

    def __init__(self, live: LiveRun, meters: MetersAtHand, by_eye: ByEye, progress: Progress) -> None:
        self._live, self._meters, self._by_eye, self._progress = live, meters, by_eye, progress
        self._driven: set[Key] = set()
        """Sweeps (step, and rail where each has its own) and soaks that ran."""
        self._done: set[Key] = set()
        """Items that were recorded by those."""
        self._told: frozenset[str] = frozenset()
        """Whose failure the story itself accepts in writing."""

    def play(self, rows: Sequence[Row]) -> None:
        """Play every row.

        Raises
        ------
        OhmwardError
            At the first that is refused, and when a sweep or a soak ends early.
        """
        self._told = frozenset(row.subject for row in rows if row.step == "override")
        for row in rows:
            self._row(row)
            self._tell()

    def make_safe(self, rows: Sequence[Row]) -> None:
        """Switch off, and prove that it is safe."""
        if self._live.state.phase not in MAINS_ON:
            return
        self._live.switch_off("the rehearsal ends here")
        for row in rows:
            item = self._live.state.by_key.get((row.step, row.subject))
            if item is not None and item.role == "make-safe" and item.required:
                try:
                    self._row(row)
                except OhmwardError as error:
                    self._live.note(f"not made safe: {error}", item.step, item.subject)
                    return

    def _row(self, row: Row) -> None:
        state = self._live.state
        item = state.by_key.get((row.step, row.subject))
        if row.step == "override":
            step, _, subject = row.subject.partition(" / ")
            known = state.by_key.get((step, subject))
            if known is not None and state.standing(known) is Standing.FAILED:
                self._play(row)
        elif item is not None and item.is_waveform:
            self._waveform(item)
        elif item is None or row.step in ACTIONS or not row.value:
            if item is None or item.key not in self._done:
                self._play(row)
        elif item.read is None:
            self._play(replace(row, value=self._by_eye.reading_for(state, item) or row.value))
            self._accept(item)
        else:
            self._reading(row, item)

    def _waveform(self, item: Item) -> None:
        """Take a waveform under load, where the oscilloscope hands one over."""
        require_now(self._live.state, item.step, item.subject, SCOPE)
        with self._meters.inventory() as inventory:
            self._meters.hands.put(self._live.state, item, SCOPE)
            taken = take(inventory, SCOPE)
        self._live.attempts_failed(item.step, item.subject, taken.meter, taken.failed)
        attach(
            self._live, taken.waveform, item.step, item.subject, meter=taken.meter, identity=taken.identity
        )

    def _reading(self, row: Row, item: Item) -> None:
        if item.kind in {"sweep", "soak"}:
            self._drive(item)
        if item.key in self._done or item not in self._live.state.items:
            return  # a further time of a soak that was sampled beyond it
        for _ in range(MOST_TRIES):
            self._single(row, item)
            if not self._still_charged(item):
                break
        self._accept(item)

    def _single(self, row: Row, item: Item) -> None:
        admit(self._live.state, probe(item))  # before a tester applies its voltage
        found = self._meters.reading_for(self._live.state, item)
        if found is None:
            value = self._by_eye.reading_for(self._live.state, item) or row.value
            self._play(replace(row, value=f"{value}!"))
            return
        self._live.measure(
            item.step, item.subject, found.settled, meter=found.meter, identity=found.identity,
            function=found.function, note=row.note, unattended=True, after_s=found.held_s,
        )  # fmt: skip

    def _drive(self, item: Item) -> None:
        """Have the sweep or soak of an item run, once."""
        family = (item.spec.id, "" if item.kind == "soak" or item.together else item.rail)
        if family in self._driven:
            return
        self._driven.add(family)
        before = len(self._live.journal.records)
        ended = self._run(item)
        entries = self._live.state.entries
        done = [key for key, entry in entries.items() if entry.seq >= before and key[0] != ""]
        self._done |= set(done)
        if not ended.complete:
            raise Ended(f"{item.spec.title}: {ended.why}")
        for key in done:
            self._accept(self._live.state.by_key[key])

    def _run(self, item: Item) -> SoakEnded | SweepEnded:
        stop = threading.Event()
        hands = self._meters.hands
        with self._meters.inventory() as inventory:
            if item.kind == "soak":
                soak = plan_soak(
                    self._live.state, item, inventory, interval_s=SOAK_EVERY_S, duration_s=SOAK_FOR_S
                )
                return run_soak(self._live, soak, inventory, hands, stop=stop, heard=lambda _: self._tell())
            sweep = plan_sweep(self._live.state, item, inventory)
            return run_sweep(self._live, sweep, inventory, hands, stop=stop, heard=lambda _: self._tell())

    def _play(self, row: Row) -> None:
        try:
            play(self._live, (row,), WHERE)
        except RowRefused as refused:
            # its words are about files of answers
            raise Ended(
                f"{row.step}{' / ' if row.subject else ''}{row.subject}: {refused.cause}"
            ) from refused

    def _still_charged(self, item: Item) -> bool:
        """Return whether a residual voltage was found too high: it is bled by hand and read again."""
        residual = item.read is not None and item.read.quantity == "residual_v"
        return residual and self._live.state.standing(item) is Standing.FAILED

    def _accept(self, item: Item) -> None:
        """Accept a failed step of severity 'fault' in writing, so that the rest can be measured."""
        state = self._live.state
        target = f"{item.step} / {item.subject}" if item.subject else item.step
        if state.standing(item) is not Standing.FAILED or item.spec.severity != "fault":
            return
        if target not in self._told and not past_stop(state.entries.get(item.key)):
            self._live.override(item.step, item.subject, MEASURED_ON)

    def _tell(self) -> None:
        self._progress(len(self._live.journal.records))
