"""Before a sweep or a soak runs by itself: what it will do is said, and asked for; what was cut is known."""

from __future__ import annotations

import threading
from collections.abc import Callable

from ohmward.bench.leaving import stopped_on_leaving
from ohmward.desk.asking import Desk
from ohmward.desk.gate import WORDS, may
from ohmward.desk.going_words import overload_lines, soak_lines, sweep_lines
from ohmward.desk.typed import reason
from ohmward.desk.words import clock_words
from ohmward.errors import OhmwardError
from ohmward.logbook.events import Answered, Event
from ohmward.procedure.model import Item
from ohmward.quantity import QuantityError, parse
from ohmward.run import LiveRun
from ohmward.run.state import Phase, RunState
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.besides import told
from ohmward.taking.choosing import probe
from ohmward.taking.load_sweep import SweepStep, run_sweep
from ohmward.taking.long_soak import SoakStep, run_soak
from ohmward.taking.overload import PlannedOverload, plan_overload, run_overload
from ohmward.taking.planning import PlannedSweep, plan_sweep
from ohmward.taking.soak_plan import INTERVAL_S, PlannedSoak, plan_soak, resumable

Planned = PlannedSweep | PlannedSoak | PlannedOverload
LEAVE_S = 90.0
"""What loads are given to come off when the person leaves."""
NO_METER = "no meter can be read by the tool: add a resource in meters.toml"
STOPS = "The loads come off at once. What was recorded stays; it can be gone on with."


def cut_soaks(state: RunState) -> list[Item]:
    """Return the next open point of each soak that was cut while mains was on."""
    if state.phase is not Phase.LIVE:
        return []
    found: dict[str, Item] = {}
    for item in state.items:
        if item.kind == "soak" and resumable(state, item) is not None and not state.settled(item):
            found.setdefault(item.spec.id, item)
    return list(found.values())


async def say_what_was_cut(desk: Desk, how: str) -> None:
    """Say that a soak was cut, and `how` it is gone on with."""
    for item in cut_soaks(desk.live.state):
        known = resumable(desk.live.state, item)
        at = clock_words((known.last_s if known is not None else None) or 0.0)
        desk.go(item.key)
        lines = [f"Its samples end at {at}. The loads were off since, and may be off now.", how]
        await desk.tell(f"Cut short: {item.spec.title}", lines)


async def wanted(desk: Desk, item: Item, meters: MetersAtHand, *, stay: str) -> Planned | None:
    """Plan the sweep or soak of `item` and ask whether it is to begin; None when not, said why.

    `stay` says that the person stays with it, and how it is stopped.
    """
    if not await may(desk, _probe(item)):
        return None
    try:
        if item.spec.drive:
            return await _overload(desk, item, meters, stay)
        if item.kind == "soak":
            return await _soak(desk, item, meters, stay)
        return await _sweep(desk, item, meters, stay)
    except OhmwardError as error:
        await desk.tell("It cannot run by itself", str(error).splitlines())
        return None


def _probe(item: Item) -> Event:
    """Return what the gates are asked with before it begins."""
    if item.read is not None:
        return probe(item)
    return Answered(step=item.step, subject=item.subject, answer="fail", note=WORDS)


async def _overload(desk: Desk, item: Item, meters: MetersAtHand, stay: str) -> PlannedOverload | None:
    def plan() -> PlannedOverload:
        with meters.inventory(desk.live.state) as inventory:
            return plan_overload(desk.live.state, item, inventory)

    planned = await desk.aside(plan)
    lines = [*overload_lines(planned), stay]
    return planned if await desk.confirm(f"By itself: {planned.title}", lines, "Begin") else None


async def _sweep(desk: Desk, item: Item, meters: MetersAtHand, stay: str) -> PlannedSweep | None:
    def plan() -> PlannedSweep:
        with meters.inventory(desk.live.state) as inventory:
            return plan_sweep(desk.live.state, item, inventory)

    planned = await desk.aside(plan)
    lines = [*sweep_lines(planned), stay]
    return planned if await desk.confirm(f"By itself: {planned.title}", lines, "Begin") else None


async def _soak(desk: Desk, item: Item, meters: MetersAtHand, stay: str) -> PlannedSoak | None:
    interval_s, duration_s = INTERVAL_S, None
    go_on = resumable(desk.live.state, item) is not None
    while True:

        def plan(
            every_s: float = interval_s, for_s: float | None = duration_s, on: bool = go_on
        ) -> PlannedSoak:
            with meters.inventory(desk.live.state) as inventory:
                return plan_soak(
                    desk.live.state, item, inventory, interval_s=every_s, duration_s=for_s, go_on=on
                )

        planned = await desk.aside(plan)
        ways = (
            ["Begin"]
            if planned.resumes is None
            else ["Go on with it: the gap is shown", "Begin anew, from cold"]
        )
        ways += ["Sample more or less often, or for longer"] if planned.resumes is None else []
        picked = await desk.choose(f"By itself: {planned.title}", ways, [*soak_lines(planned), stay])
        if picked is None:
            return None
        if ways[picked].startswith("Begin anew"):
            go_on = False
        elif ways[picked].startswith("Sample"):
            asked = await _times(desk, planned)
            if asked is not None:
                interval_s, duration_s = asked
        else:
            return planned


async def _times(desk: Desk, planned: PlannedSoak) -> tuple[float, float] | None:
    """Ask how often and for how long; None when the person goes back."""
    found: list[float] = []
    for label, value in (
        ("Sample every", f"{planned.interval_s:g} s"),
        ("For", f"{planned.duration_s / 60:g} min"),
    ):
        text: str | None = value
        lines: list[str] = []
        while True:
            text = await desk.ask("Sampling", lines, label=label, value=text or value, needed=True)
            if text is None:
                return None
            try:
                found.append(parse(text, "s").si)
                break
            except QuantityError as error:
                lines = [reason(error)]
    return found[0], found[1]


def driven(
    live: LiveRun,
    planned: Planned,
    meters: MetersAtHand,
    *,
    stop: threading.Event,
    heard: Callable[[SweepStep | SoakStep], None],
) -> str:
    """Drive a sweep or soak to its end; return why it failed, in words, empty when it did not.

    It waits, so it is called on a thread of its own; `heard` is called there too. The loads are off when
    it returns, and the journal holds what was read. The end of the process sets `stop`.
    """
    try:
        with stopped_on_leaving(stop), meters.inventory(live.state) as inventory:
            if isinstance(planned, PlannedOverload):
                run_overload(live, planned, inventory, meters.hands, stop=stop, heard=heard)
            elif isinstance(planned, PlannedSoak):
                run_soak(live, planned, inventory, meters.hands, stop=stop, heard=heard)
            else:
                run_sweep(live, planned, inventory, meters.hands, stop=stop, heard=heard)
    except OhmwardError as error:
        return told(error)
    except Exception as error:  # noqa: BLE001 shown in words
        return f"it was broken off: {told(error)}"
    return ""
