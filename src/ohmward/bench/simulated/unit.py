"""The supply under test: one drawn unit that is switched, loaded, warmed and discharged in bench time.

Every call first lets the unit live until now by its clock, then acts or looks. It may be called from any
thread. Currents of loads are what a constant-current load is set to; voltages carry the rail's sign.

Where it is simpler than a real unit: a reservoir is charged at once at switch-on; a regulator takes
nothing from its reservoir after switch-off (the bleeder alone is what `physics.discharge` counts on); the
lid makes no difference to anything electrical.
"""

from __future__ import annotations

import math
import random
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ohmward.bench.simulated.charge import decay
from ohmward.bench.simulated.clock import BenchClock
from ohmward.bench.simulated.specimen import FaultAt, draw, faulty, state_of
from ohmward.bench.simulated.warmth import TERMINAL_K, Warmth
from ohmward.bench.simulated.waveform import Waves, waves
from ohmward.errors import InputError, Mistake
from ohmward.physics.network import ratio
from ohmward.physics.solve import State
from ohmward.supply.model import Supply

Array = npt.NDArray[np.float64]

LONGEST_STEP_S = 60.0
SAME_MAINS_V = 0.05
SAME_COPPER_K = 0.3
"""The unit is computed anew when mains or a winding has moved by more than this; under 0.03 % of a rail."""
COARSE = 8.0
"""Times that, while nobody looks: it is computed exactly again at the next look."""
MAINS_WANDER_V, ROOM_WANDER_K = 0.8, 0.3
NAMEPLATE_OHM = 0.02
"""Output resistance of a rail of which only the nameplate is known (assumption) [Ω]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RailNow:
    """One rail at one moment; voltages with the rail's sign, ripple as a magnitude."""

    output_v: float = 0.0
    output_ripple_pp_v: float = 0.0
    reservoir_v: float = 0.0
    reservoir_ripple_rms_v: float = 0.0
    load_a: float = 0.0


@dataclass(slots=True)
class _Settings:
    mains_v: float
    room_c: float
    energised: bool = False
    case_open: bool = True
    loads: dict[str, float] = field(default_factory=dict)


class SimulatedUnit:
    """One unit of a design sheet on the bench.

    Parameters
    ----------
    supply : Supply
    clock : BenchClock
    faults : sequence
        ``(name, subject)`` of `physics.faults`.
    seed : int
        Draws the unit within the sheet's tolerances, and how mains and room wander.
    mains_v, room_c : float
        Mains [V] (the sheet's when None) and room [°C] that they wander about.
    wander : bool
        False holds both still.

    Raises
    ------
    InputError
        For an unknown fault, or a sheet that is impossible.
    """

    def __init__(
        self,
        supply: Supply,
        *,
        clock: BenchClock,
        faults: Sequence[FaultAt] = (),
        seed: int = 0,
        mains_v: float | None = None,
        room_c: float = 21.5,
        wander: bool = True,
    ) -> None:
        self.supply, self.clock, self.seed = supply, clock, seed
        self._lock = threading.RLock()
        self._wander = wander
        self._phases = [random.Random(f"wander {seed} {n}").uniform(0, 2 * math.pi) for n in range(4)]
        self._set = _Settings(mains_v=supply.mains.voltage_v if mains_v is None else mains_v, room_c=room_c)
        self._lived_s = clock.now_s()
        self._build(faults)
        self._warmth = Warmth(self.design, self._room_c(self._lived_s))

    def _build(self, faults: Sequence[FaultAt]) -> None:
        self.faults = tuple(faults)
        self.design = draw(faulty(self.supply, faults), self.seed)
        self.fuse_blown = False
        self._state: State | None = None
        self._waves: dict[str, Waves] = {}
        self._held: dict[str, float] = dict.fromkeys(self.design.rails, 0.0)

    # -- what a person does

    def switch_on(self) -> None:
        """Plug in and switch on. A diode that is a short takes the fuse with it."""
        with self._lock:
            self._live()
            self._set.energised = True
            if any(name == "shorted-diode" for name, _ in self.faults):
                self.fuse_blown = True

    def switch_off(self) -> None:
        """Switch off and unplug: reservoirs keep what they hold."""
        with self._lock:
            self._live()
            self._hold()
            self._set.energised = False
            self._forget()

    def set_load(self, rail: str, amps: float) -> None:
        """Draw `amps` [A] from a rail, from now on.

        Raises
        ------
        InputError
            For a rail that the sheet has not, or a current below nought.
        """
        if rail not in {each.name for each in self.supply.rails}:
            known = ", ".join(each.name for each in self.supply.rails)
            raise InputError([_mistake("rail", rail, "no such rail", f"One of: {known}")])
        if not (math.isfinite(amps) and amps >= 0):
            raise InputError([_mistake("load", f"{amps:g}", "not a current", "Give 0 A or more")])
        with self._lock:
            self._live()
            self._set.loads[rail] = amps

    def bleed(self, rail: str, ohm: float, seconds: float) -> None:
        """Hold a resistor [Ω] across a reservoir of a unit that is off, for so many seconds of bench time."""
        with self._lock:
            self._live()
            if not self._set.energised and rail in self._held:
                farad = float(self.design.rails[rail].capacitance_f[0])
                self._held[rail] = decay(self._held[rail], seconds, ohm=ohm, farad=farad)
            self.clock.skip(seconds)

    def set_mains(self, volts: float) -> None:
        """Set the mains voltage [V] that the mains wanders about."""
        if not (math.isfinite(volts) and 0 <= volts <= 2 * self.supply.mains.voltage_v):
            raise InputError([_mistake("mains", f"{volts:g}", "not a mains voltage", "Give it in volt")])
        with self._lock:
            self._live()
            self._set.mains_v = volts

    def set_room(self, celsius: float) -> None:
        """Set the room temperature [°C] that the room wanders about."""
        if not -40 <= celsius <= 60:
            raise InputError([_mistake("room", f"{celsius:g}", "not a room", "Give it in °C")])
        with self._lock:
            self._live()
            self._set.room_c = celsius

    def open_case(self) -> None:
        """Take the lid off."""
        with self._lock:
            self._live()
            self._set.case_open = True

    def shut_case(self) -> None:
        """Put the lid on."""
        with self._lock:
            self._live()
            self._set.case_open = False

    def mend(self) -> None:
        """Repair it: every fault gone, the fuse new, reservoirs emptied; it is as warm as it was."""
        with self._lock:
            self._live()
            bodies = dict(self._warmth.bodies)
            self._build(())
            self._warmth = Warmth(self.design, self._room_c(self._lived_s), bodies)

    # -- what there is to see

    @property
    def energised(self) -> bool:
        """Whether mains is applied (a blown fuse does not count)."""
        return self._set.energised

    @property
    def case_open(self) -> bool:
        """Whether the lid is off."""
        return self._set.case_open

    @property
    def mains_setting_v(self) -> float:
        """What the mains wanders about [V]."""
        return self._set.mains_v

    def load_a(self, rail: str) -> float:
        """Return what the load on a rail is set to [A]."""
        return self._set.loads.get(rail, 0.0)

    def mains_v(self) -> float:
        """Return the voltage at the socket [V RMS]; it is there whether or not the unit is on."""
        with self._lock:
            self._live()
            return self._mains_v(self._lived_s)

    def mains(self) -> tuple[float, float]:
        """Return mains current [A RMS] and power [W]."""
        with self._lock:
            state = self._now()
            if state is None:
                return 0.0, 0.0
            power = sum(
                float(t.power_w[0] + t.core_loss_w[0] + t.copper_loss_w[0])
                for t in state.transformers.values()
            )
            amps = float(state.mains_a[0])
            return amps, min(power, amps * float(state.mains_v[0]))

    def rail(self, name: str) -> RailNow:
        """Return a rail as it stands now."""
        with self._lock:
            state = self._now()
            sheet = self.supply.rail(name)
            load = self.load_a(name)
            if name not in self.design.rails:
                return self._nameplate(sheet.nominal_v, load, powered=self._powered)
            if state is None:
                return self._off(name)
            found, sign = state.rails[name], self.design.rails[name].sign
            if not (found.reservoir.converged[0] and math.isfinite(found.reservoir.mean_v[0])):
                return RailNow()
            return RailNow(
                output_v=sign * float(found.output_v[0]),
                output_ripple_pp_v=float(found.output_ripple_pp_v[0]),
                reservoir_v=sign * float(found.reservoir.mean_v[0]),
                reservoir_ripple_rms_v=float(found.reservoir.ripple_rms_v[0]),
                load_a=load * float(self.design.rails[name].load_factor[0]),
            )

    def secondary_v(self, source: str) -> float:
        """Return the RMS voltage across a secondary such as ``T1.a`` [V]."""
        with self._lock:
            state = self._now()
            if state is None:
                return 0.0
            for rail in self.design.rails.values():
                if source not in rail.windings:
                    continue
                volts = float(state.secondary_v(rail)[0])
                if math.isfinite(volts):
                    return volts / rail.turns
            open_ratio = float(self.design.winding(source).ratio[source][0])
            return float(state.mains_v[0]) * self.design.condition.mains_factor * open_ratio

    def temperature_c(self, what: str) -> float | None:
        """Return a temperature [°C]; None where there is no such thing.

        ``room air``, ``case``, ``terminals``, ``transformer T1`` (its skin), ``heat sink +15``.
        """
        with self._lock:
            self._now()
            room = self._room_c(self._lived_s)
            kind, _, name = what.rpartition(" ")
            if what == "room air":
                return room
            if what == "transformer" and len(self.design.transformers) == 1:
                kind, name = what, next(iter(self.design.transformers))
            if kind == "transformer" and name in self.design.transformers:
                return self._warmth.skin_c(name, room)
            if what == "terminals":
                share = [self.load_a(r.name) / r.rated_current_a for r in self.supply.rails]
                warm = TERMINAL_K * min(max(share, default=0.0), 1.5) ** 2 if self._powered else 0.0
                return self._warmth.bodies["case"] + warm
            return self._warmth.bodies.get(what)

    def copper_c(self, transformer: str) -> float:
        """Return the mean temperature of a transformer's windings [°C]."""
        with self._lock:
            self._live()
            return self._warmth.copper_c()[transformer]

    def waves(self, rail: str) -> Waves:
        """Return one cycle of the mains of a rail: flat where the unit is off or not modelled."""
        with self._lock:
            state = self._now()
            if state is None or rail not in self.design.rails:
                now = self.rail(rail)
                return Waves.flat(now.reservoir_v, now.output_v)
            if rail not in self._waves:
                self._waves[rail] = waves(self.design, state, rail)
            return self._waves[rail]

    # -- how it lives

    @property
    def _powered(self) -> bool:
        return self._set.energised and not self.fuse_blown

    def _now(self) -> State | None:
        """Live until now; return the state, None where it is off."""
        self._live()
        if not self._powered:
            return None
        self._solve()
        return self._state

    def _live(self) -> None:
        now = self.clock.now_s()
        while now > self._lived_s:
            step = min(now - self._lived_s, LONGEST_STEP_S)
            if self._powered:
                self._solve(COARSE)
            else:
                self._discharge(step)
            self._warmth.step(step, self._state if self._powered else None, self._room_c(self._lived_s))
            self._lived_s = now if now - self._lived_s <= LONGEST_STEP_S else self._lived_s + step

    def _solve(self, slack: float = 1.0) -> None:
        mains, copper = self._mains_v(self._lived_s), self._warmth.copper_c()
        loads = {name: amps for name, amps in self._set.loads.items() if name in self.design.rails}
        if self._state is not None and not self._moved(self._state, mains, copper, loads, slack):
            return
        room = self._room_c(self._lived_s)
        self._state = state_of(self.design, loads=loads, mains_v=mains, ambient_c=room, copper_c=copper)
        self._waves = {}

    def _moved(
        self,
        state: State,
        mains_v: float,
        copper_c: Mapping[str, float],
        loads: Mapping[str, float],
        slack: float,
    ) -> bool:
        if state.scenario.loads != loads or abs(state.scenario.mains_v - mains_v) > slack * SAME_MAINS_V:
            return True
        most = slack * SAME_COPPER_K
        return any(abs(state.at.copper_c[name][0] - now) > most for name, now in copper_c.items())

    def _forget(self) -> None:
        self._state, self._waves = None, {}

    def _hold(self) -> None:
        """Keep what the reservoirs stand at, for the time after switch-off."""
        for name in self.design.rails:
            self._held[name] = abs(self.rail(name).reservoir_v)

    def _discharge(self, seconds: float) -> None:
        for name, volts in self._held.items():
            rail = self.design.rails[name]
            # Leakage falls with the voltage: taken as the resistance that it is at the no-load voltage.
            full = math.sqrt(2) * self._set.mains_v * float(ratio(self.design, rail)[0])
            siemens = 1 / float(rail.bleeder_ohm[0]) + 1 / rail.leak_ohm
            siemens += float(rail.leakage_a[0]) / max(full, 1.0)
            self._held[name] = decay(
                volts,
                seconds,
                ohm=math.inf if siemens == 0 else 1 / siemens,
                farad=float(rail.capacitance_f[0]),
                load_a=self.load_a(name) * float(rail.load_factor[0]),
            )

    def _off(self, name: str) -> RailNow:
        rail, volts = self.design.rails[name], self._held[name]
        output = volts
        if rail.regulator is not None and rail.regulator.state != "shorted":
            output = max(
                min(float(rail.regulator.set_point_v[0]), volts - float(rail.regulator.dropout_v[0])), 0.0
            )
        return RailNow(output_v=rail.sign * output, reservoir_v=rail.sign * volts)

    @staticmethod
    def _nameplate(nominal_v: float, load_a: float, *, powered: bool) -> RailNow:
        if not powered:
            return RailNow()
        output = nominal_v - math.copysign(NAMEPLATE_OHM * load_a, nominal_v)
        return RailNow(output_v=output, reservoir_v=output, load_a=load_a)

    def _mains_v(self, at_s: float) -> float:
        size = MAINS_WANDER_V * self._set.mains_v / 230.0 if self._wander else 0.0
        first, second = self._phases[:2]
        return self._set.mains_v + size * (
            0.6 * math.sin(2 * math.pi * at_s / 1700 + first)
            + 0.4 * math.sin(2 * math.pi * at_s / 430 + second)
        )

    def _room_c(self, at_s: float) -> float:
        size = ROOM_WANDER_K if self._wander else 0.0
        return self._set.room_c + size * math.sin(2 * math.pi * at_s / 5400 + self._phases[2])


def _mistake(field_: str, value: str, why: str, mend: str) -> Mistake:
    return Mistake(where="simulated bench", field=field_, value=value, why=why, mend=mend)
