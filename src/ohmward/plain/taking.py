"""Readings taken by the tool, told on lines: one reading, or a sweep or soak that runs by itself."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, wait
from dataclasses import dataclass, field
from typing import TypeVar

from ohmward.bench.messages import MeterFailed
from ohmward.bench.settled import Measured
from ohmward.desk.by_itself import LEAVE_S, Planned, driven
from ohmward.desk.card import title
from ohmward.desk.gate import may
from ohmward.desk.going_words import insulation_line, soak_step_words, sweep_step_words
from ohmward.errors import OhmwardError
from ohmward.plain.desk import PlainDesk, PutAside, held
from ohmward.plain.lines import Left
from ohmward.procedure.model import Item
from ohmward.quantity import show_value
from ohmward.run.state import RunState, Standing
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.choosing import applies_voltage, probe, too_weak
from ohmward.taking.hands import PersonsHands, ToDo
from ohmward.taking.load_sweep import STILL_ON, SweepStep
from ohmward.taking.long_soak import SoakStep
from ohmward.text import plural

Result = TypeVar("Result")
OFTEN_S, SELDOM_S, SHARE = 5.0, 60.0, 0.05
"""A line of progress comes no more often than this; later after this share of the time so far."""
LOOK_S = 0.2
STOPPED_BY = (
    "Do not leave the unit alone under load. Enter, or stop, takes the loads off and stops it, and so does "
    "Ctrl-C; off stops it and makes safe."
)


async def from_meter(
    desk: PlainDesk, item: Item, meters: MetersAtHand, else_: Rehearsed
) -> Measured | str | None:
    """Have a meter read `item`; None where it gave nothing, which is said."""
    if weak := too_weak(desk.live.state, item):
        desk.say(weak)
        return None
    if not await may(desk, probe(item)):
        return None
    state, chosen = desk.live.state, desk.in_use.chosen(item)
    if applies_voltage(state, item, chosen):
        lines = [insulation_line(state, item)]
        if not await desk.confirm("Insulation test", lines, "Apply it"):
            return None
    stop = threading.Event()

    def work() -> Measured | str | None:
        found = meters.reading_for(state, item, chosen, stop=stop)
        return else_(state, item) if found is None and not stop.is_set() else found

    desk.say("reading the meter; Enter stops it.")
    try:
        found = beside(desk, work, stop)
    except MeterFailed as error:
        failed = error
        await desk.record(lambda _: desk.live.attempts_failed(*item.key, failed.meter, failed.attempts))
        desk.say(f"{error}. Type the value, or read again.")
        return None
    except OhmwardError as error:
        await desk.tell("The meter gave nothing", str(error).splitlines())
        return None
    if found is None:
        desk.say("nothing was read." if stop.is_set() else "no meter has a reading for this: type it.")
    return found


Rehearsed = Callable[[RunState, Item], str | None]
"""What a rehearsal shows where no meter reads."""


async def taken(desk: PlainDesk, item: Item, found: Measured) -> bool | None:
    """Say what a meter read and record it when the person takes it; None when it is to be read again."""
    settled = found.settled
    moving = "" if settled.settled else f" Still moving after {settled.took_s:.0f} s."
    desk.lines.say(f"'{found.meter}' reads {show_value(settled.value)}.{moving}")
    while True:
        desk.lines.say("Enter or yes takes it, read reads again, no leaves it.")
        text = desk.line().lower()
        if text in {"read", "r"}:
            return None
        if text in {"no", "n", "back"}:
            return False
        if text in {"", "yes", "y"}:
            break

    def act(sure: bool) -> object:
        return desk.live.measure(
            item.step, item.subject, settled, meter=found.meter, identity=found.identity,
            function=found.function, confirmed=sure, after_s=found.held_s,
        )  # fmt: skip

    return await desk.record(act)


def beside(desk: PlainDesk, work: Callable[[], Result], stop: threading.Event) -> Result:
    """Do work on a thread of its own, so that Enter and Ctrl-C are heard: they set `stop`, and it ends soon.

    Raises
    ------
    PutAside
        When the word typed makes safe, or leaves; the work has ended then.
    """
    aside: PutAside | None = None
    found: Future[Result] = Future()

    def do() -> None:
        try:
            found.set_result(work())
        except BaseException as error:  # noqa: BLE001 raised again where it is waited for
            found.set_exception(error)

    threading.Thread(target=do, name="meter", daemon=True).start()
    while not found.done():
        try:
            wait([found], LOOK_S)
            text = None if stop.is_set() else desk.lines.stop_typed()
        except KeyboardInterrupt:
            text = ""
        if text is not None:
            aside = desk.aside_of(text)
            stop.set()
            desk.lines.say("", "Stopping.")
    if aside is not None:
        raise aside
    return found.result()


@dataclass
class _Going:
    """What the worker tells: how far it is, and what is wanted of hands."""

    planned: Planned
    sensor: str
    stop: threading.Event = field(default_factory=threading.Event)
    over: Future[str] = field(default_factory=Future)
    wanted: queue.SimpleQueue[tuple[ToDo, Future[bool]]] = field(default_factory=queue.SimpleQueue)
    words: str = "getting ready"
    leaving: BaseException | None = None
    """The person is leaving, or making safe: hands are asked for nothing more."""

    def heard(self, news: SweepStep | SoakStep) -> None:
        """Take in how far it is; on the worker's thread."""
        if isinstance(news, SoakStep):
            self.words = soak_step_words(news, self.sensor)
        else:
            self.words = sweep_step_words(news)

    def ask(self, wanted: ToDo) -> bool:
        """Have the person asked, from the worker's thread; a load is asked off after a stop too."""
        answer: Future[bool] = Future()
        self.wanted.put((wanted, answer))
        while self.leaving is None:
            if wait([answer], LOOK_S).done:
                return answer.result()
        return False


def by_itself(desk: PlainDesk, planned: Planned, meters: MetersAtHand, sensor: str) -> None:
    """Have a sweep or soak run to its end, telling how far it is; what was recorded is said at the end.

    Raises
    ------
    PutAside, Left
        When the person broke it off to make safe or to leave; the loads are off then, or said not to be.
    """
    going, before = _Going(planned, sensor), desk.live.state.last_seq
    if isinstance(meters.hands, PersonsHands):
        meters.hands.ask = going.ask

    def do() -> None:
        problem = "it was broken off"
        try:
            problem = driven(desk.live, planned, meters, stop=going.stop, heard=going.heard)
        finally:
            going.over.set_result(problem)

    threading.Thread(target=do, name="by itself", daemon=True).start()
    try:
        _followed(desk, going)
    except BaseException as error:  # whatever it is, the loads come off before anything else
        going.leaving = error
        raise
    finally:
        going.stop.set()
        wait([going.over], LEAVE_S)
    ended = going.over.result() or going.words if going.over.done() else f"It does not end. {STILL_ON}"
    lines = ["ATTENTION:"] if "MAY STILL" in ended else []
    desk.lines.forget()
    desk.lines.say("", f"{planned.title}: over.", *lines, *ended.splitlines(), *_recorded_lines(desk, before))
    if going.leaving is not None:
        raise going.leaving


def _followed(desk: PlainDesk, going: _Going) -> None:
    """Tell of progress and ask for hands until it is over, or has been told to stop for long enough."""
    began = said = time.monotonic()
    stopped, told = 0.0, ""
    while not going.over.done():
        try:
            _answer_hands(desk, going)
            now = time.monotonic()
            if going.words != told and now - said >= max(OFTEN_S, min(SHARE * (now - began), SELDOM_S)):
                said, told = now, going.words
                desk.lines.say(f"{going.planned.title}: {told}")
            text = None if going.stop.is_set() else desk.lines.stop_typed()
            if text is not None:
                going.leaving = desk.aside_of(text)
                going.stop.set()
                stopped = stopped or now
                desk.lines.say("", "Stopping: the loads go off.")
            if going.leaving is not None or (stopped and now - stopped > LEAVE_S):
                return
        except KeyboardInterrupt:
            going.stop.set()
            stopped = stopped or time.monotonic()
            desk.lines.say("", "Stopping: the loads go off.")


def _answer_hands(desk: PlainDesk, going: _Going) -> None:
    try:
        wanted, answer = going.wanted.get(timeout=LOOK_S)
    except queue.Empty:
        return
    done = False
    try:
        done = held(desk.confirm(wanted.heading, wanted.words, "Done", "Stop here"))
    except (PutAside, Left) as away:
        going.leaving = away
    finally:
        answer.set_result(done)


def _recorded_lines(desk: PlainDesk, before: int) -> list[str]:
    state = desk.live.state
    fresh = [i for i in state.items if (e := state.entries.get(i.key)) is not None and e.seq > before]
    if not fresh:
        return ["Nothing was recorded."]
    failed = [item for item in fresh if state.standing(item) is Standing.FAILED]
    lines = [f"{plural(len(fresh), 'reading')} recorded, {len(failed)} of them failed."]
    return [*lines, *(f"Failed: {title(item)}." for item in failed)]
