"""The run screen's sweeps and soaks that run by themselves: begun by one key, stopped by the same."""

from __future__ import annotations

import asyncio
import threading
import time
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial

from textual import on, work
from textual.message import Message

from ohmward.desk.by_itself import (
    LEAVE_S,
    NO_METER,
    STOPS,
    Planned,
    cut_soaks,
    driven,
    say_what_was_cut,
    wanted,
)
from ohmward.desk.going_words import STAY_WITH_IT, soak_step_words, sweep_step_words
from ohmward.desk.not_now import why_not_driven
from ohmward.procedure.model import Item
from ohmward.run.state import Phase
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.choosing import drivable
from ohmward.taking.hands import PersonsHands, ToDo
from ohmward.taking.load_sweep import SweepStep
from ohmward.taking.long_soak import SoakStep
from ohmward.taking.soak_plan import sensor_of
from ohmward.tui.run_waveforms import RunWaveforms

SHOW_S = 0.5
"""No more often than this the screen follows what is sampled."""


@dataclass
class Going:
    """A sweep or a soak in hand."""

    planned: Planned
    step: str
    stop: threading.Event = field(default_factory=threading.Event)
    begun: threading.Event = field(default_factory=threading.Event)
    over: threading.Event = field(default_factory=threading.Event)
    words: str = "getting ready"
    shown: float = 0.0


class ByItself(RunWaveforms):
    """The part of the run screen that has sweeps and soaks run."""

    @dataclass
    class Stepped(Message):
        """A sweep or a soak went on a step, from its worker."""

        news: SweepStep | SoakStep

    @dataclass
    class Over(Message):
        """A sweep or a soak is over; why it failed, in words, empty when it did not."""

        problem: str

    @dataclass
    class HandsWanted(Message):
        """Something is to be done by hand before the worker goes on."""

        wanted: ToDo
        answer: Future[bool]

    going: Going | None = None

    def cut_soaks(self) -> list[Item]:
        """Return the next open point of each soak that was cut while mains was on."""
        return cut_soaks(self.live.state)

    async def say_what_was_cut(self) -> None:
        """Say that a soak was cut, and how it is gone on with."""
        await say_what_was_cut(
            self, "i goes on with it, and the record shows the gap; or begin it anew from cold."
        )

    def action_by_itself(self) -> None:
        """Have the sweep or soak shown run by itself; where one runs, stop it."""
        item, meters = self.item, self._at_hand
        if self.going is not None:
            self.begin(self._stop_it, "by itself")
        elif item is None or not drivable(item):
            self.entry.feedback(why_not_driven(self.live.state, item), good=False)
        elif meters is None:
            self.entry.feedback(NO_METER, good=False)
        else:
            self.begin(partial(self._begin_it, item, meters), "by itself")

    async def _begin_it(self, item: Item, meters: MetersAtHand) -> None:
        planned = await wanted(self, item, meters, stay=STAY_WITH_IT)
        if planned is None:
            return
        self._stop_waiting()
        self.going = Going(planned, item.spec.id)
        if isinstance(meters.hands, PersonsHands):
            meters.hands.ask = self._ask_hands
        self.show_next()
        self._drive(self.going, meters)

    # on the worker's thread

    @work(thread=True, name="by itself", group="by itself", exit_on_error=False)
    def _drive(self, going: Going, meters: MetersAtHand) -> None:
        going.begun.set()
        try:
            problem = driven(self.live, going.planned, meters, stop=going.stop, heard=self._stepped)
        finally:
            going.over.set()
        self.post_message(self.Over(problem))

    def _stepped(self, news: SweepStep | SoakStep) -> None:
        with suppress(RuntimeError):  # its screen is gone: what is recorded goes on to its end
            self.post_message(self.Stepped(news))

    def _ask_hands(self, wanted: ToDo) -> bool:
        going = self.going
        answer: Future[bool] = Future()
        self.post_message(self.HandsWanted(wanted, answer))
        while going is not None and not going.stop.is_set():
            try:
                return answer.result(0.2)
            except TimeoutError:
                continue
        return False

    # on the screen's

    @on(HandsWanted)
    def _hands_wanted(self, event: HandsWanted) -> None:
        self.app.bell()
        self.run_worker(self._answer_hands(event), name="hands", group="hands")

    async def _answer_hands(self, event: HandsWanted) -> None:
        done = await self.confirm(event.wanted.heading, event.wanted.words, "Done", "Stop here")
        event.answer.set_result(done)

    @on(Stepped)
    def _show_step(self, event: Stepped) -> None:
        going, news = self.going, event.news
        if going is None:
            return
        recorded = (news.item,) if isinstance(news, SweepStep) else news.items
        if isinstance(news, SoakStep):
            self.outlooks = news.outlooks
            going.words = soak_step_words(news, self._sensor())
        else:
            going.words = sweep_step_words(news)
        self._follow_it([item for item in recorded if item is not None])
        if not any(recorded) and time.monotonic() - going.shown < SHOW_S:
            return
        going.shown = time.monotonic()
        if self.typed:  # what is being typed stays
            self.show_next()
            self.show_points_next()
        else:
            self.show_state()

    def _sensor(self) -> str:
        return sensor_of(self.item) if self.item is not None and self.item.kind == "soak" else ""

    def _follow_it(self, recorded: list[Item]) -> None:
        """Go along with what is recorded, when the person looks at the same step and types nothing."""
        here = self.item
        if here is None or self.typed or not recorded or here.spec.id != recorded[-1].spec.id:
            return
        same = [item for item in recorded if item.kind != "soak" or sensor_of(item) == sensor_of(here)]
        if same:
            self.at = same[-1].key

    @on(Over)
    async def _is_over(self, event: Over) -> None:
        going, self.going = self.going, None
        self.outlooks = {}
        self.show_state()
        if going is None:
            return
        words = event.problem or going.words
        if event.problem or self.live.state.phase is not Phase.LIVE or "MAY STILL" in words:
            self.app.bell()
            self.run_worker(self.tell(going.planned.title, words.splitlines()), name="over", group="over")
        else:
            self.entry.feedback(words, good=True)

    async def _stop_it(self) -> None:
        going = self.going
        if going is None:
            return
        lines = [going.words, STOPS]
        if await self.confirm(f"Stop: {going.planned.title}", lines, "Stop it", "Let it run"):
            going.stop.set()

    def stop_at_once(self) -> None:
        """Have the loads off now: the person is about to switch mains off."""
        if self.going is not None:
            self.going.stop.set()

    async def stopped(self) -> bool:
        """Stop what runs, and wait until its loads are off; return whether they are."""
        going = self.going
        if going is None:
            return True
        going.stop.set()
        return await asyncio.to_thread(going.over.wait, LEAVE_S)

    def on_unmount(self) -> None:
        """Have the loads off: nobody sees any more what runs."""
        self.stop_at_once()

    def end_it(self) -> None:
        """Stop what runs, and wait until its end is recorded; for when no screen is drawn any more."""
        going = self.going
        if going is not None:
            going.stop.set()
            if going.begun.is_set():
                going.over.wait(LEAVE_S)

    def running_words(self) -> str:
        """What runs by itself, in a line; empty when nothing does."""
        going = self.going
        return "" if going is None else f"{going.planned.title}: {going.words}"
