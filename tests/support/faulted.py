"""A simulated bench behind proxies, and a run on it that has come to the no-load voltages."""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import msgspec

from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.logbook import create_run
from ohmward.run import LiveRun
from ohmward.run.answers import parse_answers, play
from ohmward.shipped import folder
from ohmward.supply import load
from support import bench as b
from support.proxy import Proxy

TIMEOUT_S, SLOW_S = 0.06, 0.14
RAILS = ("+15", "-15", "+48")
SHEET = b.SHEET + "".join(
    f'\n[[rail]]\nname = "{name}"\nnominal = "{volts}"\nrated_current = "0.1 A"\n'
    for name, volts in (("-15", "-15 V"), ("+48", "48 V"))
)
PROCEDURE = b.PROCEDURE.replace(
    'quantity = "output_v"\nunit', 'quantity = "output_v"\nmeter = "multimeter"\nunit'
).replace('quantity = "mains_v"\nunit', 'quantity = "mains_v"\nmeter = "multimeter"\nunit')
ROWS = """step,subject,value,meter,note
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
"""
PLACES = {
    **{("output", rail): (f"rail {rail} output", "dc volts") for rail in RAILS},
    ("mains", ""): ("mains", "ac volts"),
}


@dataclass
class Place:
    """A bench behind proxies, and a run on it that has come to the no-load voltages."""

    bench: SimulatedBench
    proxies: dict[str, Proxy]
    logbook: Path
    path: Path

    def hand(self, point: str) -> float:
        """Put the probe on a point, as hands do, and return what is there."""
        with socket.create_connection(self.bench.addresses["multimeter"], timeout=5) as wire:
            wire.sendall(f'PROB:AT "{point}";*OPC?\n'.encode())
            assert wire.recv(16) == b"1\n"
        function = "ac volts" if point == "mains" else "dc volts"
        return self.bench.points.value(self.bench.points.find(point), function)


@contextmanager
def place(logbook: Path, way: str, *, stamps: bool = True) -> Iterator[Place]:
    """Set the bench up, with profiles that wait as short as a test can bear."""
    profiles = logbook / "profiles"
    profiles.mkdir(parents=True)
    for name in ("multimeter", "load"):
        text = (folder("profiles") / f"{name}.toml").read_text(encoding="utf-8")
        text = re.sub(r'timeout = "[^"]*"', f'timeout = "{TIMEOUT_S} s"', text)
        text = re.sub(r'settling = "[^"]*"', 'settling = "0 s"', text)
        text = text.replace(f'name = "{name}"', f'name = "quick-{name}"\nstamps = {str(stamps).lower()}', 1)
        (profiles / f"quick-{name}.toml").write_text(text, encoding="utf-8")
    supply = load(folder("demo") / "CR-07.toml")
    with ExitStack() as stack:
        bench = stack.enter_context(
            SimulatedBench(supply, seed=3, speed=0.0, settling=False, wander=False, mains_v=231.0)
        )
        bench.unit.switch_on()
        bench.clock.skip(60.0)
        meters, proxies = bench.meters_toml, {}
        for name in ("multimeter", "load +15"):
            proxy = stack.enter_context(Proxy(bench.addresses[name]))
            proxy.slow_s = SLOW_S
            meters = meters.replace(bench.resources[name], getattr(proxy, way))
            proxies[name] = proxy
        for name in ("multimeter", "load"):
            meters = meters.replace(f'profile = "{name}"', f'profile = "quick-{name}"')
        (logbook / "meters.toml").write_text(meters, encoding="utf-8")
        opened = msgspec.structs.replace(b.opened(PROCEDURE, SHEET), meters=meters, simulated=True)
        with LiveRun(create_run(logbook, tag="CR-07", procedure_name="short", opened=opened)) as live:
            play(live, parse_answers(ROWS, "rows"), "rows")
            path = live.journal.path
        yield Place(bench, proxies, logbook, path)
