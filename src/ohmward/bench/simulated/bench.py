"""The simulated bench as a whole: unit, clock, meters and their servers, and which probe goes where.

with SimulatedBench(supply, faults=[("open-diode", "24")], seed=7, speed=60) as bench:
    bench.meters_toml          # what to put in the logbook
    bench.addresses            # (host, port) of each meter, by name
    bench.unit.switch_on()     # what hands do
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Self

from ohmward.bench.meters import SIMULATED, Meter, loads
from ohmward.bench.simulated import inventory as stock
from ohmward.bench.simulated.clock import BenchClock
from ohmward.bench.simulated.inventory import Listed
from ohmward.bench.simulated.meters import SimulatedMeter, Thermometer, make
from ohmward.bench.simulated.points import NoPoint, Points
from ohmward.bench.simulated.servers import Server
from ohmward.bench.simulated.sources import Digitiser, ElectronicLoad
from ohmward.bench.simulated.specimen import FaultAt
from ohmward.bench.simulated.unit import SimulatedUnit
from ohmward.errors import InputError, Mistake
from ohmward.fields import closest
from ohmward.supply.model import Supply

FREE_CHANNEL, FIRST_CHANNEL = 101, 102
_PLAIN = (
    # name, kind, profile, accuracies, where its probe is to begin with
    ("multimeter", "multimeter", "multimeter", stock.MULTIMETER, "open"),
    ("low-ohm", "low-ohm", "low-ohm", stock.LOW_OHM, "open"),
    ("insulation", "insulation", "insulation", stock.INSULATION, "open"),
    ("mains-meter", "power", "power", stock.POWER, "mains"),
)
UNSEEN = frozenset({"secondaries-antiphase", "thermal-shutdown", "wrong-fuse", "switch-on-surge"})
"""Faults that no reading of this bench shows: there is nothing to measure them by, or no model of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """One meter with the server that speaks for it."""

    listed: Listed
    server: Server


class SimulatedBench:
    """A bench to rehearse on. Constructing opens nothing; ``with`` starts the servers.

    Parameters
    ----------
    supply : Supply
        Design sheet of the unit.
    faults : sequence
        ``(name, subject)`` of `physics.faults`; subject None takes the first that it can sit in.
    seed : int
        Draws the unit, the errors of the meters, and how mains and room wander.
    speed : float
        Bench seconds for each real second; 0 for a clock that `clock.skip` alone moves.
    mains_v, room_c : float
        As for `SimulatedUnit`.
    settling, wander : bool
        False for displays that follow their probes at once, and for a mains and room that stand still.
    slow_s : float
        Real seconds that each reply is held back.
    visa : bool
        Name the meters so that PyVISA opens them; else the plain socket does.
    clock : BenchClock, optional
        In place of one made from `speed`.

    Raises
    ------
    InputError
        For an unknown fault, or a sheet that cannot be modelled.
    """

    def __init__(
        self,
        supply: Supply,
        *,
        faults: Sequence[FaultAt] = (),
        seed: int = 0,
        speed: float = 60.0,
        mains_v: float | None = None,
        room_c: float = 21.5,
        settling: bool = True,
        wander: bool = True,
        slow_s: float = 0.0,
        visa: bool = False,
        clock: BenchClock | None = None,
    ) -> None:
        self._visa = visa
        self.supply, self.seed = supply, seed
        self.clock = clock or BenchClock(speed)
        self.unit = SimulatedUnit(
            supply, clock=self.clock, faults=faults, seed=seed, mains_v=mains_v, room_c=room_c, wander=wander
        )
        self.points = Points(self.unit)
        self._settling, self._slow_s = settling, slow_s
        self._servers: dict[str, Server] = {}
        self._stack: contextlib.ExitStack | None = None
        self.meters_toml = ""
        self.meters: tuple[Meter, ...] = ()
        """As `meters_toml` is read; both empty until the servers run."""

    @property
    def unseen(self) -> tuple[str, ...]:
        """Faults switched on that no reading here will show."""
        return tuple(name for name, _ in self.unit.faults if name in UNSEEN)

    @property
    def addresses(self) -> dict[str, tuple[str, int]]:
        """Host and port of every instrument, by name; empty until the servers run."""
        return {name: server.address for name, server in self._servers.items()}

    @property
    def resources(self) -> dict[str, str]:
        """Resource name of every instrument, by name."""
        if self._visa:
            return {name: f"TCPIP0::{host}::{port}::SOCKET" for name, (host, port) in self.addresses.items()}
        return {name: server.resource for name, server in self._servers.items()}

    @property
    def channels(self) -> dict[int, str]:
        """What each channel of the thermometer is fixed to; the first is free to move."""
        names = ["room air", "case", "terminals"]
        names += [f"transformer {name}" for name in self.unit.design.transformers]
        names += [f"heat sink {n}" for n, rail in self.unit.design.rails.items() if rail.sink_kpw is not None]
        return {FREE_CHANNEL: "room air"} | dict(enumerate(names, start=FIRST_CHANNEL))

    def probe(self, meter: str, point: str) -> None:
        """Put the probe of a meter on a test point, as a hand does.

        Raises
        ------
        InputError
            When there is no such meter or point, or the meter is fixed where it is.
        """
        movable = {
            name: (server, server.instrument)
            for name, server in self._servers.items()
            if isinstance(server.instrument, SimulatedMeter)
            and not isinstance(server.instrument, ElectronicLoad)
        }
        if meter not in movable:
            fixed = any(each.name == meter for each in self.meters)
            why = "it stays where it is" if fixed else "no meter has that name"
            raise _wrong("meter", meter, why, closest("" if fixed else meter, movable))
        server, instrument = movable[meter]
        try:
            self.points.find(point)
        except NoPoint as error:
            mend = closest(point, self.points.names)
            raise _wrong("point", point, "the unit has no such test point", mend) from error
        with server.turn:
            instrument.move(point, min(instrument.probes))

    def start(self) -> None:
        """Start a server for each instrument.

        Raises
        ------
        OSError
            When the loopback interface gives no port; those started are stopped again.
        """
        with contextlib.ExitStack() as stack:
            for listed in self._entries({}):
                if listed.name in self._servers or not _owns_server(listed):
                    continue
                (meter,) = loads(stock.meters_toml([listed]), "simulated bench")
                self._servers[listed.name] = stack.enter_context(self._server(meter, listed))
            stack.callback(self._servers.clear)
            self._stack = stack.pop_all()
        entries = self._entries(self.resources)
        self.meters_toml = stock.meters_toml(entries)
        self.meters = loads(self.meters_toml, "simulated bench")

    def stop(self) -> None:
        """Stop every server; the unit stays as it is."""
        if self._stack is not None:
            stack, self._stack = self._stack, None
            stack.close()
            self._servers.clear()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def _entries(self, resources: dict[str, str]) -> list[Listed]:
        """Return every entry of the meters file; the channels of the thermometer are meters of their own."""
        found = [
            self._listed(name, kind, profile, accuracies, resource=resources.get(name, ""))
            for name, kind, profile, accuracies, _ in _PLAIN
        ]
        digits, heat = resources.get("scope", ""), resources.get("thermometer", "")
        found.append(
            self._listed("scope", "oscilloscope", "digitiser", stock.DIGITISER, resource=digits, channel="1")
        )
        for channel, what in self.channels.items():
            name = "thermometer" if channel == FREE_CHANNEL else f"sensor {what}"
            found.append(
                self._listed(
                    name, "thermometer", "thermometer", stock.THERMOMETER, resource=heat, channel=str(channel)
                )
            )
        for rail in self.supply.rails:
            name = f"load {rail.name}"
            found.append(self._listed(name, "load", "load", stock.LOAD, resource=resources.get(name, "")))
        return found

    def _listed(
        self,
        name: str,
        kind: str,
        profile: str,
        accuracies: Sequence[tuple[str, str, str, str]],
        *,
        resource: str,
        channel: str = "",
    ) -> Listed:
        serial = f"SIM-{self.seed:04d}"
        model = name if kind == "load" else profile
        return Listed(
            name=name, kind=kind, profile=profile, resource=resource, accuracies=accuracies, serial=serial,
            idn=f"{SIMULATED}{model.upper()},{serial},1", channel=channel,
        )  # fmt: skip

    def _server(self, meter: Meter, listed: Listed) -> Server:
        places = {name: at for name, _, _, _, at in _PLAIN}
        points, seed = self.points, self.seed
        match listed.kind:
            case "load":
                at = f"rail {listed.name.removeprefix('load ')} output"
                return Server(ElectronicLoad(meter, points, seed=seed, at=at), slow_s=self._slow_s)
            case "oscilloscope":
                return Server(Digitiser(meter, points, seed=seed, at="open"), slow_s=self._slow_s)
            case "thermometer":
                scanner = Thermometer(meter, points, seed=seed, at=self.channels, settling=self._settling)
                return Server(scanner, slow_s=self._slow_s)
        made = make(listed.kind)(meter, points, seed=seed, at=places[listed.name], settling=self._settling)
        return Server(made, slow_s=self._slow_s)


def _wrong(field: str, value: str, why: str, mend: str) -> InputError:
    return InputError([Mistake(where="probe", field=field, value=value, why=why, mend=mend)])


def _owns_server(listed: Listed) -> bool:
    return not listed.name.startswith("sensor ")
