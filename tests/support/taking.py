"""One rail of CR-07 on a simulated bench that PyVISA reads, and a short run that has come so far."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.simulated.servers import Server
from ohmward.logbook import create_run
from ohmward.logbook.events import Event
from ohmward.procedure.model import Item
from ohmward.run import LiveRun
from ohmward.run.answers import parse_answers, play
from ohmward.run.state import RunState
from ohmward.supply import loads as load_sheet
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.hands import ToDo
from ohmward.taking.load_sweep import SweepStep, run_sweep
from ohmward.taking.long_soak import SoakStep, run_soak
from ohmward.taking.planning import plan_sweep
from ohmward.taking.rehearsing import RehearsalHands
from ohmward.taking.soak_plan import plan_soak
from support import bench as b

RAIL = "+15"
SHEET = """
# SIMULATED EXAMPLE: no such supply exists.
tag = "CR-07"
title = "Mixing-console supply, one rail of it (simulated example)"
protection_class = "I"
parts = ["case", "front panel"]

[mains]
voltage = "230 V"
frequency = "50 Hz"
cord = { length = "2 m", area = "0.75 mm²" }

[[transformer]]
name = "T1"
rating = "80 VA"
regulation = "11 %"
secondaries = [{ name = "a", voltage = "18 V" }]

[[rail]]
name = "+15"
nominal = "15 V"
rated_current = "1.2 A"
source = "T1.a"
rectifier = { kind = "bridge" }
reservoir = { capacitance = "6800 µF", esr = "35 mΩ", bleeder = "2.2 kΩ" }
regulator = { kind = "linear", set_point = "15 V", dropout = "2.2 V", output_resistance = "15 mΩ" }
heatsink = { thermal_resistance = "2.5 K/W", time_constant = "12 min", interface = "0.4 K/W" }
"""
SMALL_SINK = SHEET.replace('thermal_resistance = "2.5 K/W"', 'thermal_resistance = "12 K/W"')
"""Some 10 W into 12 K/W: it would settle above 100 °C."""
_HEAD, _ = b.PROCEDURE.split('[[stage]]\nname = "loaded"', 1)
_, _TAIL = b.PROCEDURE.split('[[stage]]\nname = "make-safe"', 1)
SOURCED = 'basis = "common practice, no source", obtained = "common practice, no source", advice = ""'

OUTPUT = 'name = "output", quantity = "output_v", unit = "V", meter = "multimeter"'
MAINS = (
    'name = "mains", quantity = "mains_v", unit = "V", meter = "power", condition = "mains_v", '
    "required = false"
)


def procedure(*, output_low: str = "1 V", sink_high: str = "100 °C") -> str:
    """Return a short procedure with a sweep and a soak, and the stop limits of both."""
    return f"""{_HEAD}
[[stage]]
name = "loaded"
title = "Loaded regulation"
energised = true
cautions = ["Loads get hot"]
[[stage.step]]
id = "load-points"
kind = "sweep"
title = "Load points"
each = "rail"
load = ["0 %", "50 %", "100 %"]
reads = [{{ {OUTPUT}, stop = {{ low = "{output_low}", {SOURCED} }} }}, {{ {MAINS} }}]

[[stage]]
name = "soak"
title = "Soak"
energised = true
cautions = ["Surfaces get hot"]
[[stage.step]]
id = "soak"
kind = "soak"
title = "Temperatures"
each = "regulated-rail"
times = ["0 min", "5 min", "10 min", "20 min"]
sensors = ["room air", "transformer"]
quantity = "temperature_c"
unit = "°C"
stop = {{ high = "{sink_high}", {SOURCED} }}
meter = "thermometer"

[[stage]]
name = "make-safe"{_TAIL}"""


TO_LOADED = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
insulation,,>200M,,
acknowledge,no-load,,,
energised,,,,
lamp,,pass,,
mains,,231,,
output,+15,15,,
acknowledge,loaded,,,
acknowledge,soak,,,
"""
TO_SOAK = (
    TO_LOADED
    + """load-points.output,+15 @ 0 %,15.0,,
load-points.output,+15 @ 50 %,15.0,,
load-points.output,+15 @ 100 %,15.0,,
"""
)


class WatchedHands(RehearsalHands):
    """Hands at the bench that keep what they were asked, and do it unless told not to.

    `tick` is called with each wait of the work, and how long it is to be.
    """

    def __init__(self, bench: SimulatedBench) -> None:
        super().__init__(bench)
        self.asked: list[ToDo] = []
        self.willing: Callable[[ToDo], bool] = lambda _: True
        self.tick: Callable[[float], None] = lambda _: None

    def ready(self, state: RunState, wanted: ToDo) -> bool:
        self.asked.append(wanted)
        return self.willing(wanted) and super().ready(state, wanted)

    def clock(self, stop: threading.Event) -> TickingClock:
        return TickingClock(self, stop)


class TickingClock:
    def __init__(self, hands: WatchedHands, stop: threading.Event) -> None:
        self._hands, self._stop = hands, stop

    def now(self) -> float:
        return self._hands.bench.clock.now_s()

    def wait(self, seconds: float) -> bool:
        if seconds > 0:
            self._hands.bench.clock.skip(seconds)
        self._hands.tick(seconds)
        return self._stop.is_set()


@dataclass
class Job:
    """A run on a simulated bench, with its meters at hand."""

    bench: SimulatedBench
    live: LiveRun
    hands: WatchedHands
    meters: MetersAtHand
    logbook: Path
    stop: threading.Event = field(default_factory=threading.Event)
    swept: list[SweepStep] = field(default_factory=list)
    soaked: list[SoakStep] = field(default_factory=list)
    drawn: list[tuple[Event, float]] = field(default_factory=list)
    """Each record, and what the load drew when it was on the disk [A]."""

    def watch(self) -> None:
        """Keep what the load draws at each record."""
        self.live.watch(
            lambda _: self.drawn.append((self.live.journal.records[-1].event, self.bench.unit.load_a(RAIL)))
        )

    def item(self, step: str) -> Item:
        return next(item for item in self.live.state.items if item.spec.id == step)

    def sweep(self, heard: Callable[[SweepStep], None] | None = None, dwell_s: float | None = None) -> object:
        with self.meters.inventory() as inventory:
            plan = plan_sweep(self.live.state, self.item("load-points"), inventory, dwell_s=dwell_s)
            return run_sweep(
                self.live, plan, inventory, self.hands, stop=self.stop, heard=heard or self.swept.append
            )

    def soak(
        self, heard: Callable[[SoakStep], None] | None = None, *, interval_s: float = 10.0,
        duration_s: float | None = None,
    ) -> object:  # fmt: skip
        with self.meters.inventory() as inventory:
            plan = plan_soak(
                self.live.state, self.item("soak"), inventory, interval_s=interval_s, duration_s=duration_s
            )
            return run_soak(
                self.live, plan, inventory, self.hands, stop=self.stop, heard=heard or self.soaked.append
            )

    def events(self, kind: type[Event]) -> list[Event]:
        return [each.event for each in self.live.journal.records if isinstance(each.event, kind)]

    @property
    def load_a(self) -> float:
        return self.bench.unit.load_a(RAIL)

    def server(self, name: str) -> Server:
        return self.bench._servers[name]  # the cable is in a test's hands

    def cut(self, name: str) -> None:
        """Cut every connection to an instrument; it goes on as it was."""
        for wire in list(self.server(name)._clients):
            wire.shutdown(socket.SHUT_RDWR)

    def unplug(self, name: str) -> None:
        """Have an instrument gone from its address."""
        server = self.server(name)
        server._port = server.address[1]
        server.stop()

    def plug_in(self, name: str) -> None:
        """Have it back there."""
        self.server(name).start()


@contextmanager
def job(
    logbook: Path,
    rows: str = TO_LOADED,
    *,
    sheet: str = SHEET,
    text: str | None = None,
    meters: Callable[[str], str] = lambda each: each,
    simulated: bool = True,
) -> Iterator[Job]:
    """Begin a run that has come as far as `rows`, over PyVISA on loopback.

    `meters` changes the meters file of the bench.
    """
    unit = load_sheet(sheet, "sheet")
    with SimulatedBench(unit, seed=3, speed=1.0, wander=False, settling=False, visa=True) as bench:
        listed = meters(bench.meters_toml)
        (logbook / "meters.toml").write_text(listed, encoding="utf-8")
        opened = b.opened(text or procedure(), sheet)
        opened = msgspec.structs.replace(opened, meters=listed, simulated=simulated)
        with LiveRun(create_run(logbook, tag="CR-07", procedure_name="short", opened=opened)) as live:
            play(live, parse_answers(rows, "rows"), "rows")
            bench.unit.shut_case()
            bench.unit.switch_on()
            hands = WatchedHands(bench)
            with MetersAtHand(logbook, hands=hands) as at_hand:
                yield Job(bench, live, hands, at_hand, logbook)


def without(name: str) -> Callable[[str], str]:
    """Return what takes a meter out of a meters file."""

    def taken_out(text: str) -> str:
        head, *blocks = text.split("\n[[meter]]\n")
        kept = [block for block in blocks if f'name = "{name}"' not in block]
        return "\n[[meter]]\n".join([head, *kept])

    return taken_out


def nameless(text: str) -> str:
    """Return a meters file that does not say what its meters call themselves."""
    return "\n".join(line for line in text.splitlines() if not line.startswith("idn ="))
