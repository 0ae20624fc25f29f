"""The simulated bench as a command: meters on sockets until Ctrl-C, and a small language for the hands."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.simulated.specimen import FaultAt, parse_fault
from ohmward.errors import InputError, Mistake
from ohmward.quantity import parse
from ohmward.supply import load
from ohmward.text import visible

HANDS = (
    "on | off | probe [METER] at POINT | load RAIL AMPS | mains VOLTS | room CELSIUS | wait TIME"
    " | open | shut | mend | look | quit"
)
MOSTLY = "multimeter"
"""The meter whose probe is meant where none is named."""


def simulate_forever(
    sheet: Path,
    faults: Sequence[str],
    speed: float,
    seed: int,
    meters: Callable[[str], object],
    *,
    told: Callable[[str], object],
    hands: Iterable[str] = (),
) -> None:
    """Run a simulated bench for a design sheet until `hands` says ``quit`` or has no more to say.

    Parameters
    ----------
    sheet : Path
        Design sheet.
    faults : sequence of str
        As a person writes them: ``open-diode:24``.
    speed : float
        Bench seconds for each real second.
    seed : int
        Draws the unit and the errors of the meters.
    meters : callable
        Takes the meters file, once: it may go into one as it is.
    told : callable
        Takes the lines to show: what can be said, and what each command of `hands` did.
    hands : iterable of str
        Commands of `HANDS`, one a line, such as standard input.

    Raises
    ------
    InputError
        For a wrong sheet, fault or speed; a wrong command of `hands` is only told.
    """
    at: list[FaultAt] = [parse_fault(fault) for fault in faults]
    if not 0 < speed <= 1000:
        why = "the clock runs 1 to 1000 times as fast as real time"
        raise InputError(
            [Mistake(where="--speed", field="", value=f"{speed:g}", why=why, mend="Give it as 60")]
        )
    with SimulatedBench(load(sheet), faults=at, seed=seed, speed=speed) as bench:
        meters(bench.meters_toml)
        told(f"# SIMULATED {bench.supply.tag}. Nothing real is measured. Hands: {HANDS}")
        for name in bench.unseen:
            told(f"# '{name}' is in it, and no reading of this bench shows it")
        for line in hands:
            words = line.split()
            if words == ["quit"]:
                return
            if words:
                told(_told(bench, words))


def _told(bench: SimulatedBench, words: list[str]) -> str:
    try:
        return _do(bench, words)
    except InputError as error:
        return f"? {error}"


def _do(bench: SimulatedBench, words: list[str]) -> str:
    unit = bench.unit
    match words:
        case ["on"]:
            unit.switch_on()
        case ["off"]:
            unit.switch_off()
        case ["probe", *rest] if "at" in rest[:-1]:
            place = rest.index("at")
            meter, point = " ".join(rest[:place]) or MOSTLY, " ".join(rest[place + 1 :])
            bench.probe(meter, point)
            return f"'{meter}' is at {point}; {look(bench)}"
        case ["load", rail, amps]:
            unit.set_load(rail, _number(amps, "A"))
        case ["mains", volts]:
            unit.set_mains(_number(volts, "V"))
        case ["room", celsius]:
            unit.set_room(_number(celsius, "°C"))
        case ["wait", *time]:
            bench.clock.skip(_number(" ".join(time), "s"))
        case ["open"]:
            unit.open_case()
        case ["shut"]:
            unit.shut_case()
        case ["mend"]:
            unit.mend()
        case ["look"]:
            pass
        case _:
            return f"? '{visible(' '.join(words))}' is none of: {HANDS}"
    return look(bench)


def look(bench: SimulatedBench) -> str:
    """Return where the unit stands, on one line: its true values, as no meter shows them."""
    unit = bench.unit
    rails = ", ".join(
        f"{rail.name} {unit.rail(rail.name).output_v:.3f} V at {unit.load_a(rail.name):g} A"
        for rail in bench.supply.rails
    )
    state = "on" if unit.energised else "off"
    blown = ", fuse blown" if unit.fuse_blown else ""
    return f"{bench.clock.now_s():.0f} s, {state}{blown}, mains {unit.mains_v():.1f} V: {rails}"


def _number(text: str, unit: str) -> float:
    value = parse(text, unit)
    if value.kind != "exact" or value.number is None:
        raise InputError(
            [Mistake(where="", field="", value=text, why="not a plain value", mend="Give a number")]
        )
    return value.si
