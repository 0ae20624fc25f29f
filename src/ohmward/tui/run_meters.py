"""The run screen's dealings with meters: one reading by one key, or by itself as soon as it has settled."""

from __future__ import annotations

import threading
from abc import abstractmethod
from collections.abc import Awaitable, Callable, Coroutine
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

from textual import on, work
from textual.message import Message

from ohmward.bench.attempt import Attempt
from ohmward.bench.messages import MeterFailed, Notice
from ohmward.bench.settled import Measured
from ohmward.desk.asking import Act
from ohmward.desk.by_itself import NO_METER
from ohmward.desk.card import recorded_words
from ohmward.desk.gate import may
from ohmward.desk.going_words import insulation_line
from ohmward.desk.hands_free import by_hand, reachable
from ohmward.desk.notices import LOUD, Alarms
from ohmward.desk.place import next_after
from ohmward.desk.readings import measured_text
from ohmward.desk.rehearsal import Rehearsal
from ohmward.errors import OhmwardError, Refused
from ohmward.procedure.model import Item
from ohmward.quantity import Value
from ohmward.run import LiveRun
from ohmward.run.state import Key, Phase, Standing
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.choosing import applies_voltage, probe, too_weak
from ohmward.taking.timing import time_by
from ohmward.tui.run_view import RunView

Conversation = Callable[[], Coroutine[Any, Any, object]]
"""Begun when its turn has come, and never made for nothing."""


class RunMeters(RunView):
    """The measuring half of the run screen."""

    @dataclass
    class MeterShows(Message):
        """What a meter shows for an item, from its worker."""

        key: Key
        shows: str | Measured | None
        problem: str = ""
        attempts: tuple[Attempt, ...] = ()
        meter: str = ""
        take: bool = False
        """It is to be taken as soon as it has settled."""

    @dataclass
    class MeterSays(Message):
        """What a meter has to say by itself, from its own thread."""

        notice: Notice

    def __init__(
        self,
        live: LiveRun,
        *,
        rehearsal: Rehearsal | None,
        meters: MetersAtHand | None,
        now: Callable[[], datetime],
    ) -> None:
        self._rehearsal = rehearsal if live.state.simulated else None
        self._at_hand = meters
        self._measured: tuple[Key, str, Measured] | None = None
        """What a meter gave, until it is taken or something else is typed."""
        self.hands_free = False
        """Readings are taken by themselves as soon as they have settled."""
        self._waiting: threading.Event | None = None
        self._last_value: Value | None = None
        self._alarms = Alarms()
        super().__init__(live, now=now, meter_bench=self._rehearsal is not None, at_hand=meters is not None)
        time_by(live, meters)
        if meters is not None:
            meters.notify = self._say

    def on_unmount(self) -> None:
        """Wait for no probe any more."""
        self._stop_waiting()
        if self._at_hand is not None:
            self._at_hand.notify = None

    # given by the run screen

    @abstractmethod
    async def record(
        self, act: Act, *, refused: Callable[[Refused], Awaitable[bool | None]] | None = None
    ) -> bool:
        """Record through the gates and show the result."""

    @abstractmethod
    def begin(self, conversation: Conversation, name: str) -> None:
        """Start a conversation, one at a time."""

    @abstractmethod
    def answer(self, item: Item, given: str) -> None:
        """Answer a check."""

    # one reading

    def action_meter_reading(self) -> None:
        """Have the meter read: one at hand, or what the rehearsal shows where none is."""
        item, rehearsal = self.item, self._rehearsal
        if item is None or self.live.state.phase is Phase.CLOSED:
            return
        if self._at_hand is not None and item.read is not None:
            self.begin(partial(self._measure, item, self._at_hand), "measure")
        elif rehearsal is not None and (item.read is not None or self.on_purpose(item)):
            self.entry.feedback("reading the meter …", good=True)
            state = self.live.state
            self._ask_meter(item, lambda: rehearsal.reading_for(state, item))
        elif rehearsal is None:
            self.entry.feedback("no meter is read for this: answer it yourself", good=False)

    async def _measure(self, item: Item, meters: MetersAtHand) -> None:
        if weak := too_weak(self.live.state, item):
            self.entry.feedback(weak, good=False)
            return
        if not await may(self, probe(item)):
            return
        state, chosen, rehearsal = self.live.state, self.meter_chosen(item), self._rehearsal
        if applies_voltage(state, item, chosen):
            lines = [insulation_line(state, item)]
            if not await self.confirm("Insulation test", lines, "Apply it"):
                return

        def ask() -> str | Measured | None:
            found = meters.reading_for(state, item, chosen)
            return rehearsal.reading_for(state, item) if found is None and rehearsal is not None else found

        self._stop_waiting()
        self.entry.feedback("reading the meter …", good=True)
        self._ask_meter(item, ask, take=self.hands_free and not by_hand(state, item, chosen))

    @work(thread=True, name="meter", group="meter", exclusive=True, exit_on_error=False)
    def _ask_meter(
        self, item: Item, ask: Callable[[], str | Measured | None], *, take: bool = False,
        unless: threading.Event | None = None,
    ) -> None:  # fmt: skip
        try:
            found = self.MeterShows(item.key, ask(), take=take)
        except MeterFailed as error:
            found = self.MeterShows(item.key, None, str(error), error.attempts, error.meter)
        except OhmwardError as error:
            found = self.MeterShows(item.key, None, str(error))
        except Exception as error:  # noqa: BLE001 shown in words; nothing was recorded
            found = self.MeterShows(item.key, None, f"the meter cannot be read: {error}")
        if unless is None or not unless.is_set():
            self.post_message(found)

    @on(MeterShows)
    def _take_meter(self, event: MeterShows) -> None:
        if event.attempts and self.live.state.phase is not Phase.CLOSED:
            self.run_worker(self._note_attempts(event), name="attempts", group="attempts")
            return
        item = self.item
        if item is None or item.key != event.key:
            return
        if event.shows is None:
            self.entry.feedback(event.problem or "no meter has a reading for this: type it", good=False)
        elif isinstance(event.shows, Measured):
            self._show_measured(item, event.shows, take=event.take)
        elif item.read is None:
            self.entry.feedback("", good=True)
            self.answer(item, event.shows)
        else:
            self.fill_in(event.shows)

    def _show_measured(self, item: Item, found: Measured, *, take: bool) -> None:
        if take and found.settled.settled:
            self.begin(partial(self._take_by_itself, item, found), "reading")
            return
        self.fill_in(measured_text(found.settled))
        self._measured = (item.key, self.typed, found)
        if not found.settled.settled:
            took = f"{found.settled.took_s:.0f} s"
            self.entry.feedback(
                f"still moving after {took}: r reads again, Enter takes it as it is", good=False
            )

    async def _note_attempts(self, event: MeterShows) -> None:
        """Put failed attempts into the journal, and say that the value can be typed."""
        await self.record(lambda _: self.live.attempts_failed(*event.key, event.meter, event.attempts))
        if self.item is not None and self.item.key == event.key:
            self.entry.feedback(f"{event.problem}. Type the value, or try again", good=False)

    def measured_for(self, item: Item, text: str) -> Measured | None:
        """Return what a meter gave for `item`, when it is what stands in the entry."""
        key, shown, found = self._measured or (None, "", None)
        return found if (key, shown) == (item.key, text) else None

    async def take_measured(self, item: Item, found: Measured) -> bool:
        """Record what a meter gave."""

        def act(sure: bool) -> object:
            return self.live.measure(
                item.step, item.subject, found.settled, meter=found.meter, identity=found.identity,
                function=found.function, confirmed=sure, after_s=found.held_s,
            )  # fmt: skip

        if not await self.record(act):
            return False
        self._measured, self._last_value = None, found.settled.value
        return True

    # readings that are taken by themselves

    def action_hands_free(self) -> None:
        """Have readings taken by themselves as soon as they have settled, or no more."""
        if self._at_hand is None or not reachable(self.live.state):
            self.entry.feedback(NO_METER, good=False)
            return
        self.hands_free, self._last_value = not self.hands_free, None
        self.show_state()
        if not self.hands_free:
            self.entry.feedback("hands free is off", good=True)
        self.watch_probe()

    @property
    def mode(self) -> str:
        """How readings are taken, where not by keys."""
        return "HANDS FREE" if self.hands_free else ""

    def go(self, key: Key) -> None:
        """Show another item; where readings are taken by themselves, wait for its probe."""
        super().go(key)
        self.watch_probe()

    def watch_probe(self) -> None:
        """Wait for the probe of the item shown, where readings are taken by themselves."""
        self._stop_waiting()
        item, meters = self.item, self._at_hand
        if not self.hands_free or item is None or meters is None:
            return
        if why := by_hand(self.live.state, item, self.meter_chosen(item)):
            self.entry.feedback(f"hands free waits: {why}", good=True)
            return
        state, chosen, before = self.live.state, self.meter_chosen(item), self._last_value
        self._waiting = stop = threading.Event()
        words = "hands free: lift the probe and set it down" if before else "hands free: set the probe down"
        self.entry.feedback(f"{words}; taken when it has settled", good=True)
        self._ask_meter(
            item,
            lambda: meters.reading_for(state, item, chosen, unasked=True, lifted_from=before, stop=stop),
            take=True,
            unless=stop,
        )

    def watch_on(self) -> None:
        """Wait for the probe where nothing does, as something that came first is done."""
        item = self.item
        if self._waiting is not None or item is None or not self.hands_free:
            return
        if not by_hand(self.live.state, item, self.meter_chosen(item)):
            self.watch_probe()

    async def _take_by_itself(self, item: Item, found: Measured) -> None:
        if self.computing and item.read is not None and item.read.expect:
            await self.expectation_known()
        if not await self.take_measured(item, found):
            self._last_value = found.settled.value  # not once more from the same place
            self.watch_probe()
            return
        self.app.bell()
        state = self.live.state
        following = next_after(state, item.key)
        if state.standing(item) is not Standing.PASSED:
            self.hands_free = False
            self.show_state()
            self.entry.feedback("hands free is off: this did not pass", good=False)
        elif following is not None:
            self.last = recorded_words(state, item)
            self.go(following.key)

    def _stop_waiting(self) -> None:
        if self._waiting is not None:
            self._waiting.set()
            self._waiting = None

    # what meters say

    def _say(self, notice: Notice) -> None:
        self.post_message(self.MeterSays(notice))

    @on(MeterSays)
    def _heard(self, event: MeterSays) -> None:
        words = self._alarms.heard(event.notice)
        if words is None:
            return
        if event.notice.kind in LOUD:
            self.app.bell()
        if words and self.live.state.phase is not Phase.CLOSED:
            self.run_worker(self.record(lambda _: self.live.note(words)), name="notice", group="notices")
        self.show_next()

    @property
    def alarm(self) -> str:
        """What meters have to say that a person has to see; empty when nothing."""
        return str(self._alarms)
