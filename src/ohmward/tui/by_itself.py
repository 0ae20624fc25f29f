"""The run screen's sweeps and soaks that run by themselves: begun by one key, stopped by the same."""

from __future__ import annotations

import asyncio
import threading
import time
from concurrent.futures import Future
from dataclasses import dataclass, field

from textual import on, work
from textual.message import Message

from ohmward.desk.gate import may
from ohmward.desk.going_words import (
    STAY_WITH_IT,
    soak_lines,
    soak_step_words,
    sweep_lines,
    sweep_step_words,
)
from ohmward.desk.typed import reason
from ohmward.desk.words import clock_words
from ohmward.errors import OhmwardError
from ohmward.procedure.model import Item
from ohmward.quantity import QuantityError, parse
from ohmward.run.state import Phase
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.choosing import probe
from ohmward.taking.hands import PersonsHands, ToDo
from ohmward.taking.load_sweep import SweepStep, run_sweep
from ohmward.taking.long_soak import SoakStep, run_soak
from ohmward.taking.planning import PlannedSweep, plan_sweep
from ohmward.taking.soak_plan import INTERVAL_S, PlannedSoak, plan_soak, resumable, sensor_of
from ohmward.tui.run_waveforms import RunWaveforms

SHOW_S = 0.5
"""No more often than this the screen follows what is sampled."""
LEAVE_S = 90.0
"""What loads are given to come off when the person leaves."""


@dataclass
class Going:
    """A sweep or a soak in hand."""

    planned: PlannedSweep | PlannedSoak
    step: str
    stop: threading.Event = field(default_factory=threading.Event)
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
        state = self.live.state
        if state.phase is not Phase.LIVE:
            return []
        found: dict[str, Item] = {}
        for item in state.items:
            if item.kind == "soak" and resumable(state, item) is not None and not state.settled(item):
                found.setdefault(item.spec.id, item)
        return list(found.values())

    async def say_what_was_cut(self) -> None:
        """Say that a soak was cut, and how it is gone on with."""
        for item in self.cut_soaks():
            known = resumable(self.live.state, item)
            at = clock_words((known.last_s if known is not None else None) or 0.0)
            self.go(item.key)
            lines = [
                f"Its samples end at {at}. The loads were off since, and may be off now.",
                "i goes on with it, and the record shows the gap; or begin it anew from cold.",
            ]
            await self.tell(f"Cut short: {item.spec.title}", lines)

    def action_by_itself(self) -> None:
        """Have the sweep or soak shown run by itself; where one runs, stop it."""
        item, meters = self.item, self._at_hand
        if self.going is not None:
            self.begin(self._stop_it(), "by itself")
        elif item is None or item.kind not in {"sweep", "soak"}:
            self.entry.feedback("only a load sweep or a soak runs by itself", good=False)
        elif meters is None:
            self.entry.feedback("no meter can be read by the tool: add a resource in meters.toml", good=False)
        else:
            self.begin(self._begin_it(item, meters), "by itself")

    async def _begin_it(self, item: Item, meters: MetersAtHand) -> None:
        if not await may(self, probe(item)):
            return
        try:
            planned = await (self._soak(item, meters) if item.kind == "soak" else self._sweep(item, meters))
        except OhmwardError as error:
            await self.tell("It cannot run by itself", str(error).splitlines())
            return
        if planned is None:
            return
        self._stop_waiting()
        self.going = Going(planned, item.spec.id)
        if isinstance(meters.hands, PersonsHands):
            meters.hands.ask = self._ask_hands
        self.show_next()
        self._drive(self.going, meters)

    async def _sweep(self, item: Item, meters: MetersAtHand) -> PlannedSweep | None:
        def plan() -> PlannedSweep:
            with meters.inventory() as inventory:
                return plan_sweep(self.live.state, item, inventory)

        planned = await asyncio.to_thread(plan)
        lines = [*sweep_lines(planned), STAY_WITH_IT]
        return planned if await self.confirm(f"By itself: {planned.title}", lines, "Begin") else None

    async def _soak(self, item: Item, meters: MetersAtHand) -> PlannedSoak | None:
        interval_s, duration_s = INTERVAL_S, None
        go_on = resumable(self.live.state, item) is not None
        while True:

            def plan(
                every_s: float = interval_s, for_s: float | None = duration_s, on: bool = go_on
            ) -> PlannedSoak:
                with meters.inventory() as inventory:
                    return plan_soak(
                        self.live.state, item, inventory, interval_s=every_s, duration_s=for_s, go_on=on
                    )

            planned = await asyncio.to_thread(plan)
            ways = (
                ["Begin"]
                if planned.resumes is None
                else ["Go on with it: the gap is shown", "Begin anew, from cold"]
            )
            ways += ["Sample more or less often, or for longer"] if planned.resumes is None else []
            lines = [*soak_lines(planned), STAY_WITH_IT]
            picked = await self.choose(f"By itself: {planned.title}", ways, lines)
            if picked is None:
                return None
            if ways[picked].startswith("Begin anew"):
                go_on = False
            elif ways[picked].startswith("Sample"):
                asked = await self._times(planned)
                if asked is not None:
                    interval_s, duration_s = asked
            else:
                return planned

    async def _times(self, planned: PlannedSoak) -> tuple[float, float] | None:
        """Ask how often and for how long; None when the person goes back."""
        found: list[float] = []
        for label, value in (
            ("Sample every", f"{planned.interval_s:g} s"),
            ("For", f"{planned.duration_s / 60:g} min"),
        ):
            text: str | None = value
            lines: list[str] = []
            while True:
                text = await self.ask("Sampling", lines, label=label, value=text or value, needed=True)
                if text is None:
                    return None
                try:
                    found.append(parse(text, "s").si)
                    break
                except QuantityError as error:
                    lines = [reason(error)]
        return found[0], found[1]

    # on the worker's thread

    @work(thread=True, name="by itself", group="by itself", exit_on_error=False)
    def _drive(self, going: Going, meters: MetersAtHand) -> None:
        problem = ""
        try:
            with meters.inventory() as inventory:
                if isinstance(going.planned, PlannedSoak):
                    run_soak(
                        self.live,
                        going.planned,
                        inventory,
                        meters.hands,
                        stop=going.stop,
                        heard=self._stepped,
                    )
                else:
                    run_sweep(
                        self.live,
                        going.planned,
                        inventory,
                        meters.hands,
                        stop=going.stop,
                        heard=self._stepped,
                    )
        except OhmwardError as error:
            problem = str(error)
        except Exception as error:  # noqa: BLE001 shown in words; the loads are off, the journal holds what was read
            problem = f"it was broken off: {error}"
        finally:
            going.over.set()
        self.post_message(self.Over(problem))

    def _stepped(self, news: SweepStep | SoakStep) -> None:
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
            self.show_points()
            self.show_next()
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
        lines = [going.words, "The loads come off at once. What was recorded stays; it can be gone on with."]
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

    def running_words(self) -> str:
        """What runs by itself, in a line; empty when nothing does."""
        going = self.going
        return "" if going is None else f"{going.planned.title}: {going.words}"
