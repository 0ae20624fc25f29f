"""What a sweep or a soak that runs by itself is said to be, before and while it runs."""

from __future__ import annotations

from ohmward.desk.words import clock_words
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.insulation import test_voltage
from ohmward.run.state import RunState
from ohmward.taking.guards import Guards
from ohmward.taking.hands import meters_words
from ohmward.taking.load_sweep import SweepStep
from ohmward.taking.long_soak import SoakStep
from ohmward.taking.overload import PlannedOverload
from ohmward.taking.planning import PlannedSweep
from ohmward.taking.soak_plan import PlannedSoak
from ohmward.text import one_line, plural

STAY_WITH_IT = (
    "Do not leave the unit alone under load. x or Ctrl+O takes the loads off and switches off; i stops it."
)


def insulation_line(state: RunState, item: Item) -> str:
    """Return what is said before a tester puts its voltage on the unit: how much, where that is known."""
    volts = test_voltage(state, item)
    of = "" if volts is None else f", {show(volts, 'V')},"
    lasts = item.spec.wait_s if item.spec.wait_from == "begun" else None
    held = "" if lasts is None else f", and holds it for {show(lasts, 's', decimals=0)}"
    return f"The tester applies its test voltage{of} at once{held}. Hands off the leads and the unit."


def sweep_lines(planned: PlannedSweep) -> list[str]:
    """Return what a sweep will do, a line each."""
    currents = [show(max(each.loads.values(), default=0.0), "A") for each in planned.points]
    lines = [
        f"{plural(len(planned.points), 'load point')}: {', '.join(dict.fromkeys(currents))}.",
        f"Read: {'; '.join(_read_words(planned))}: at once under load, and again when settled.",
    ]
    if planned.loads:
        lines.append(
            f"Load set by {meters_words(list(planned.loads.values()))}; off at the end, however it ends."
        )
    if planned.by_hand:
        lines.append(f"Load set by you: {', '.join(planned.by_hand)}.")
    lines.append(f"It takes about {clock_words(planned.takes_s)} (dwell of every point).")
    if planned.left:
        names = list(dict.fromkeys(each.title for each in planned.left))
        lines.append(
            f"No meter is free for it: {one_line('; '.join(names))}. Type it while the load is on; or the"
            " same key there, afterwards, has it read in a sweep of its own."
        )
    if any(each.stops for each in planned.points):
        lines.append("Past a stop limit it ends at once and the load goes off.")
    lines += guard_lines(planned.guards)
    return lines


def _read_words(planned: PlannedSweep) -> list[str]:
    """Return what is read, and by which meter."""
    names: dict[str, list[str]] = {}
    for reader in (each for point in planned.points for each in point.readers):
        name = reader.item.read.name if reader.item.read is not None else ""
        names.setdefault(name or reader.item.title, []).append(reader.meter)
    return [f"{one_line(name)} by {meters_words(tuple(dict.fromkeys(by)))}" for name, by in names.items()]


def guard_lines(guards: Guards) -> list[str]:
    """Return which temperatures are watched in a sweep, with their stop limits, and which are not."""
    lines = []
    if guards.sensors:
        watched = [f"{s.channel} to {show(s.high, '°C')}" for s in guards.stops if s.high is not None]
        lines.append(f"Watched, and past it the same: {one_line(', '.join(watched))}.")
    if guards.left:
        lines.append(f"NOT WATCHED, no thermometer at hand is there: {one_line(', '.join(guards.left))}.")
    return lines


def overload_lines(planned: PlannedOverload) -> list[str]:
    """Return what an overload will do, its caution first, a line each."""
    first, last = show(planned.steps_a[0], "A"), show(planned.steps_a[-1], "A")
    return [
        one_line(planned.item.spec.caution) or "Only where the design has a limiter.",
        f"'{planned.load}' asks for {first}, then more step by step, to {last} at most; the sheet's limiter "
        f"takes hold at {show(planned.limit_a, 'A')}.",
        "Where the output gives way it stays for five seconds, as with a short, and comes off; then the "
        "output is read again.",
        f"It takes {clock_words(planned.takes_s)} at most; the load is off at the end, however it ends.",
        *guard_lines(planned.guards),
        "What was seen is noted on this step; whether it is as designed you answer after it.",
    ]


def soak_lines(planned: PlannedSoak) -> list[str]:
    """Return what a soak will do, a line each."""
    names = ", ".join(each.name for each in planned.sensors)
    lines = [
        f"Every {show(planned.interval_s, 's')} for {clock_words(planned.duration_s)}: {one_line(names)}.",
        f"Loads: {'; '.join(planned.load_words)}. Off at the end, however it ends.",
    ]
    if planned.left:
        lines.append(f"Left for you to type at their times: {', '.join(planned.left)}.")
    if planned.stops:
        stops = ", ".join(
            dict.fromkeys(f"{stop.high:g} °C" for stop in planned.stops if stop.high is not None)
        )
        lines.append(f"It ends at once past {stops}, and when the whole of a forecast lies beyond that.")
    known = planned.resumes
    if known is not None:
        at = clock_words(known.last_s or 0.0)
        lines.insert(0, f"It was cut or stopped at {at} of {clock_words(known.begun.duration_s)}.")
    return lines


def sweep_step_words(step: SweepStep) -> str:
    """Return how far a sweep is, and how far the dwell of its point."""
    dwell = step.dwell
    # before the words: a narrow screen cuts their end
    of = "" if dwell is None else f" · {clock_words(dwell.at_s)} of {clock_words(dwell.of_s)}"
    return one_line(f"{step.done} of {plural(step.total, 'point')}{of} · {step.words}")


def soak_step_words(step: SoakStep, sensor: str) -> str:
    """Return how far a soak is, with the temperature that is looked at and where it is going."""
    parts = [f"{clock_words(step.at_s)} of {clock_words(step.of_s)}"]
    value = step.latest.get(sensor)
    if value is not None:
        parts.append(f"{sensor} {value:.1f} °C")
    outlook = step.outlooks.get(sensor)
    if outlook is not None and outlook.words:
        parts.append(outlook.words)
    if step.words != "sampling":
        parts.append(step.words)
    return one_line(" · ".join(parts))
