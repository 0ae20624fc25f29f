"""Hands at the simulated bench: which meter goes where for an item of a procedure, and the reading it gives.

`probe_for` is the bridge from the procedure's words to the bench's; `Hands` keeps the unit as a run says it
is (plugged in or not, loaded, warmed, left to discharge) and takes readings over SCPI.
"""

from __future__ import annotations

import threading
from collections.abc import Collection
from dataclasses import dataclass

from ohmward.bench.conversation import Block, Conversation
from ohmward.bench.meters import Meter
from ohmward.bench.profile import load as load_profile
from ohmward.bench.reply import NoReading
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.transport import SocketTransport
from ohmward.physics.discharge import time_to
from ohmward.physics.network import ratio
from ohmward.procedure.model import Item
from ohmward.quantity import Value, show_value

DWELL_S, FULL_DWELL_S = 90.0, 300.0
"""Bench time that a load is left on before it is read [s]; at rated current the longer one."""
BLED_OHM, BLED_S = 470.0, 60.0
"""Resistor that a charged reservoir is bled through by hand, and for how long ('a few hundred ohms')."""
LONGER_S = 30.0
"""Waited beyond the computed discharge."""
SETTLED_S = 2.0
"""Bench time between a probe's arrival and its reading."""

INSULATION_TEST_V = 500.0
"""What the shipped limit sets test insulation at, and these hands set the tester to."""

_BY_STEP = {
    "lead-null": ("low-ohm", "low ohms", "leads joined"),
    "line-core": ("low-ohm", "low ohms", "line core"),
    "earth-bond": ("low-ohm", "low ohms", "earth case"),
    "hot-earth": ("low-ohm", "low ohms", "earth case"),
    "switch-line-pole": ("multimeter", "ohms", "line switch"),
    "switch-neutral-pole": ("multimeter", "ohms", "neutral switch"),
    "fuse-out-open": ("multimeter", "ohms", "line neutral"),
    "line-earth": ("multimeter", "ohms", "line earth"),
    "neutral-earth": ("multimeter", "ohms", "neutral earth"),
    "primary-output": ("multimeter", "ohms", "primary output"),
    "hot-primary": ("multimeter", "ohms", "primary"),
    "insulation": ("insulation", "insulation", "line earth"),
    "hot-insulation": ("insulation", "insulation", "line earth"),
    "insulation-mains-output": ("insulation", "insulation", "primary output"),
    "hot-terminals": ("thermometer", "temperature", "terminals"),
}
"""Steps whose quantity does not say where the probes go; ids of steps are kept over the years."""
_OF_WINDING = {"primary_ohm": ("multimeter", "ohms", "primary")}
_OF_RAIL = {
    "bleeder_ohm": ("multimeter", "ohms", "reservoir"),
    "output_v": ("multimeter", "dc volts", "output"),
    "reservoir_v": ("multimeter", "dc volts", "reservoir"),
    "residual_v": ("multimeter", "dc volts", "reservoir"),
    "output_ripple_pp_v": ("scope", "ac volts", "output"),
    "reservoir_ripple_pp_v": ("scope", "ac volts", "reservoir"),
    "resistance": ("multimeter", "ohms", "output"),
}
_OF_UNIT = {
    "mains_v": ("mains-meter", "ac volts", "mains"),
    "mains_a": ("mains-meter", "ac amps", "mains"),
    "case_v": ("multimeter", "ac volts", "case"),
    "ambient_c": ("thermometer", "temperature", "room air"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """Which meter of the simulated bench reads what, where."""

    meter: str
    function: str
    """One of `bench.meters.FUNCTIONS`; 'ac volts' of the scope is read peak to peak."""
    point: str


def probe_for(item: Item) -> Probe | None:
    """Return how an item is read on the simulated bench; None for a check, or what it has no meter for."""
    found = _found(item)
    return None if found is None else Probe(meter=found[0], function=found[1], point=found[2])


def _found(item: Item) -> tuple[str, str, str] | None:
    read = item.read
    if read is None:
        return None
    found = _BY_STEP.get(item.step)
    if found is None and item.spec.proves_earth and item.spec.each == "part":
        found = ("low-ohm", "low ohms", f"earth {item.subject}")
    elif found is None and read.expect in _OF_WINDING:
        found = _OF_WINDING[read.expect]
    elif found is None and read.quantity == "temperature_c":
        found = ("thermometer", "temperature", item.subject.split(" @ ")[0])
    elif found is None and read.quantity == "secondary_v":
        found = ("multimeter", "ac volts", f"secondary {item.about}")
    elif found is None and item.rail:
        key = read.expect if read.expect == "bleeder_ohm" else read.quantity
        meter, function, where = _OF_RAIL.get(key, ("", "", ""))
        found = (meter, function, f"rail {item.rail} {where}") if meter else None
    return found or _OF_UNIT.get(read.quantity)


class Hands:
    """Keeps the unit as a run says it is, and takes the readings it asks for; safe to use from any thread.

    Time that a person would wait (a load's dwell, a soak, a discharge, a settling display) is moved on at
    once on the bench clock.
    """

    def __init__(self, bench: SimulatedBench) -> None:
        self.bench = bench
        self._lock = threading.Lock()
        self._soak_began_s: float | None = None
        self._waited = True
        self._found_charged: set[str] = set()
        self._normal_v = bench.unit.mains_setting_v

    def follow(self, item: Item, *, energised: bool, case_open: bool) -> None:
        """Bring the unit to where `item` is read: case, mains, loads, soak, discharge."""
        with self._lock:
            self._plug(energised=energised, case_open=case_open)
            if not energised:
                self._discharge(item)
                return
            self.bench.unit.set_mains(self._mains_v(item))
            self._load(self.loads_for(item))
            self._soak(item)

    def stand_by(self, item: Item | None, *, case_open: bool, keep: Collection[str]) -> None:
        """Have mains on and as `item` asks, and no load on but on the rails to `keep`: others set those."""
        with self._lock:
            self._plug(energised=True, case_open=case_open)
            if item is not None:
                self.bench.unit.set_mains(self._mains_v(item))
            on = {rail.name: self.bench.unit.load_a(rail.name) for rail in self.bench.supply.rails}
            self._load({rail: amps for rail, amps in on.items() if rail in keep})

    def put(self, item: Item, meter: str = "") -> None:
        """Put the probe of the meter that reads an item where it is read, and let the display follow.

        Parameters
        ----------
        item : Item
        meter : str
            Name of the meter that will be asked; the one usual for the item when empty.

        Raises
        ------
        Unreachable
            When the instrument does not answer, or answers something else.
        """
        probe = self._waveform_probe(item) if item.is_waveform else probe_for(item)
        if probe is None:
            return
        chosen = next((each for each in self.bench.meters if each.name == meter), None)
        with self._lock, _Talk(self.bench, chosen or self._meter(probe.meter, probe.point)) as talk:
            talk.place(probe.point)

    def _waveform_probe(self, item: Item) -> Probe:
        """Return where the oscilloscope sits for a waveform: what the regulator sees, where there is one."""
        where = "output" if self.bench.supply.rail(item.rail).regulator is None else "reservoir"
        return Probe(meter="scope", function="ac volts", point=f"rail {item.rail} {where}")

    def set_load(self, rail: str, amps: float) -> None:
        """Set a load that no tool controls."""
        with self._lock:
            self.bench.unit.set_load(rail, amps)

    def _plug(self, *, energised: bool, case_open: bool) -> None:
        unit = self.bench.unit
        (unit.open_case if case_open else unit.shut_case)()
        if energised and not unit.energised:
            self._waited, self._soak_began_s = False, None
            unit.switch_on()
        elif not energised and unit.energised:
            self._load({})
            unit.switch_off()
            self._found_charged = set()

    def read(self, item: Item) -> str | None:
        """Return what the meter shows for an item, as a person would type it; None where there is no meter.

        Raises
        ------
        Unreachable
            When the instrument does not answer, or answers something else.
        """
        probe = probe_for(item)
        if probe is None:
            return None
        with self._lock:
            try:
                return show_value(self._measure(probe))
            except NoReading:
                return None

    def capture(self, point: str) -> Block:
        """Return a waveform at a test point from the digitiser."""
        with self._lock, _Talk(self.bench, self._meter("scope", point)) as talk:
            talk.place(point)
            how = talk.conversation.profile.capture
            assert how is not None
            return talk.conversation.waveform(how, talk.meter.channel)

    def loads_for(self, item: Item) -> dict[str, float]:
        """Return the load on each rail [A] that an item is read under; rails left out carry none."""
        rated = {rail.name: rail.rated_current_a for rail in self.bench.supply.rails}
        of_all = item.read is not None and (item.read.expect == "mains_a" or item.step == "mains-together")
        if item.together or of_all or item.step.startswith(("hot-", "mains-hot", "low-mains", "high-mains")):
            return rated
        if item.elapsed_s is not None and item.energised:
            return rated
        if item.rail and item.load_a:
            return {item.rail: item.load_a}
        return {}

    def _mains_v(self, item: Item) -> float:
        mains = self.bench.supply.mains
        if item.step.startswith("low-mains"):
            return mains.voltage_v * (1 + mains.low_pct / 100)
        if item.step.startswith("high-mains"):
            return mains.voltage_v * (1 + mains.high_pct / 100)
        return self._normal_v

    def _load(self, wanted: dict[str, float]) -> None:
        """Set every load over SCPI as it has to be, and let it dwell when anything changed."""
        changed = False
        for rail in self.bench.supply.rails:
            amps, now = wanted.get(rail.name, 0.0), self.bench.unit.load_a(rail.name)
            # A load sets what it is told to within its own accuracy.
            if abs(now - amps) <= max(0.01 * amps, 1e-9):
                continue
            with _Talk(self.bench, self._meter(f"load {rail.name}", "")) as talk:
                talk.conversation.set(talk.conversation.profile.settings[0], amps)
                talk.conversation.switch(on=amps > 0)
            changed = True
        if changed and wanted:
            rated = {rail.name: rail.rated_current_a for rail in self.bench.supply.rails}
            full = any(amps >= 0.99 * rated[name] for name, amps in wanted.items())
            self.bench.clock.skip(FULL_DWELL_S if full else DWELL_S)

    def _soak(self, item: Item) -> None:
        if item.elapsed_s is None:
            return
        now = self.bench.clock.now_s()
        if self._soak_began_s is None:
            self._soak_began_s = now
        self.bench.clock.skip(max(self._soak_began_s + item.elapsed_s - now, 0.0))

    def _discharge(self, item: Item) -> None:
        """Wait as the sheet's bleeders ask, once after each switch-off, before anything but a check.

        A rail asked for a second time was found charged: it is bled by hand first, as a person is told to.
        """
        if item.read is None:
            return
        if not self._waited:
            self._waited = True
            self.bench.clock.skip(self.wait_s())
        if item.read.quantity == "residual_v" and item.rail:
            if item.rail in self._found_charged:
                self.bench.unit.bleed(item.rail, BLED_OHM, BLED_S)
            self._found_charged.add(item.rail)

    def wait_s(self) -> float:
        """Return how long the sheet's bleeders need [s]: what is wrong with the unit they do not know."""
        waits = [0.0]
        design = self.bench.unit.design
        for rail in self.bench.supply.rails:
            reservoir, made = rail.reservoir, design.rails.get(rail.name)
            if reservoir is None or reservoir.bleeder_ohm is None or made is None:
                continue
            start = 1.414 * self.bench.supply.mains.voltage_v * float(ratio(design, made)[0])
            most = reservoir.capacitance_f * (1 + reservoir.tolerance_high_pct / 100)
            waits.append(float(time_to(start, reservoir.bleeder_ohm, most)))
        return max(waits) + LONGER_S

    def _measure(self, probe: Probe) -> Value:
        with _Talk(self.bench, self._meter(probe.meter, probe.point)) as talk:
            talk.place(probe.point)
            wanted = next(m for m in talk.conversation.profile.measures if m.function == probe.function)
            top = talk.meter.top_range(wanted.unit, probe.function)
            return talk.conversation.measure(
                wanted, talk.meter.channel, top, wanted.test_v(INSULATION_TEST_V)
            )

    def _meter(self, name: str, point: str) -> Meter:
        """Return the entry of a meter; of a sensor that is fixed to the point where there is one."""
        names = {meter.name: meter for meter in self.bench.meters}
        return names.get(f"sensor {point}", names[name]) if name == "thermometer" else names[name]


class _Talk:
    """A conversation with one meter of the bench, for one errand."""

    def __init__(self, bench: SimulatedBench, meter: Meter) -> None:
        self.meter = meter
        self._bench = bench
        self._fixed = meter.name.startswith("sensor ")
        address = "thermometer" if self._fixed else meter.name
        host, port = bench.addresses[address]
        self.conversation = Conversation(
            SocketTransport(f"tcp://{host}:{port}"),
            load_profile(meter.profile),
            expected=meter.idn,
            wait=bench.clock.skip,
        )

    def __enter__(self) -> _Talk:
        try:
            self.conversation.open()
        except BaseException:
            self.conversation.transport.close()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self.conversation.transport.close()

    def place(self, point: str) -> None:
        """Put the probe on a test point and wait until the display has followed."""
        if self._fixed:
            return
        channel = f",(@{self.meter.channel})" if self.meter.kind == "thermometer" else ""
        self.conversation.tell(f'PROB:AT "{point}"{channel}')
        self._bench.clock.skip(SETTLED_S if not channel else 10 * SETTLED_S)
