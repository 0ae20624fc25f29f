"""The supply under test: one drawn unit that is switched, loaded, warmed and discharged in bench time.

Every call first lets the unit live until now by its clock, then acts or looks. It may be called from any
thread. Currents of loads are what a constant-current load is set to; voltages carry the rail's sign.

Where it is simpler than a real unit: a reservoir is charged at once at switch-on; a regulator takes
nothing from its reservoir after switch-off (the bleeder alone is what `physics.discharge` counts on); the
lid makes no difference to anything electrical.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ohmward.bench.simulated.charge import decay
from ohmward.bench.simulated.clock import BenchClock
from ohmward.bench.simulated.outside import Outside
from ohmward.bench.simulated.railnow import RailNow, nameplate, running, standing
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
EXACT = 40.0
"""Times that, the shapes of the current pulses are found anew."""
LEAST_STEP_S = 0.2
"""While the unit is on its temperatures are moved on no more often than this [s]: under 0.01 K."""


@dataclass(slots=True)
class _Settings:
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
        self._outside = Outside(
            seed=seed,
            mains_setting_v=supply.mains.voltage_v if mains_v is None else mains_v,
            room_setting_c=room_c,
            wander=wander,
        )
        self._set = _Settings()
        self._lived_s = clock.now_s()
        self._build(faults)
        self._warmth = Warmth(self.design, self._outside.room_c(self._lived_s))

    def _build(self, faults: Sequence[FaultAt]) -> None:
        self.faults = tuple(faults)
        self.design = draw(faulty(self.supply, faults), self.seed)
        self.fuse_blown = False
        self._state: State | None = None
        self._exact: State | None = None
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
            self._outside.mains_setting_v = volts

    def set_room(self, celsius: float) -> None:
        """Set the room temperature [°C] that the room wanders about."""
        if not -40 <= celsius <= 60:
            raise InputError([_mistake("room", f"{celsius:g}", "not a room", "Give it in °C")])
        with self._lock:
            self._live()
            self._outside.room_setting_c = celsius

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
            self._warmth = Warmth(self.design, self._outside.room_c(self._lived_s), bodies)

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
        return self._outside.mains_setting_v

    def load_a(self, rail: str) -> float:
        """Return what the load on a rail is set to [A]."""
        return self._set.loads.get(rail, 0.0)

    def mains_v(self) -> float:
        """Return the voltage at the socket [V RMS]; it is there whether or not the unit is on."""
        with self._lock:
            return self._outside.mains_v(self.clock.now_s())

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
                return nameplate(sheet.nominal_v, load, powered=self._powered)
            if state is None:
                return standing(self.design.rails[name], self._held[name])
            return running(self.design.rails[name], state.rails[name], load)

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
            room = self._outside.room_c(self._lived_s)
            if what == "room air":
                return room
            kind, _, name = what.rpartition(" ")
            if what == "transformer" and len(self.design.transformers) == 1:
                kind, name = what, next(iter(self.design.transformers))
            if kind == "transformer" and name in self.design.transformers:
                return self._warmth.skin_c(name, room)
            if what in self._warmth.bodies:
                return self._warmth.bodies[what]
            unknown = {"terminals", "transformer", *(f"heat sink {rail.name}" for rail in self.supply.rails)}
            if what not in unknown:
                return None
            # Nothing is known of its heat: warmer than the case by its load alone.
            shares = [self.load_a(rail.name) / rail.rated_current_a for rail in self.supply.rails]
            warm = TERMINAL_K * min(max(shares, default=0.0), 1.5) ** 2 if self._powered else 0.0
            return self._warmth.bodies["case"] + warm

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
        if self._powered and self._state is not None and now - self._lived_s < LEAST_STEP_S:
            return
        while now > self._lived_s:
            step = min(now - self._lived_s, LONGEST_STEP_S)
            if self._powered:
                self._solve(COARSE)
            else:
                self._discharge(step)
            self._warmth.step(
                step, self._state if self._powered else None, self._outside.room_c(self._lived_s)
            )
            self._lived_s = now if now - self._lived_s <= LONGEST_STEP_S else self._lived_s + step

    def _solve(self, slack: float = 1.0) -> None:
        mains, copper = self._outside.mains_v(self._lived_s), self._warmth.copper_c()
        loads = {name: amps for name, amps in self._set.loads.items() if name in self.design.rails}
        if self._state is not None and not self._moved(self._state, mains, copper, loads, slack):
            return
        room = self._outside.room_c(self._lived_s)
        like = self._exact
        if like is not None and self._moved(like, mains, copper, loads, EXACT):
            like = None
        self._state = state_of(
            self.design, loads=loads, mains_v=mains, ambient_c=room, copper_c=copper, like=like
        )
        if like is None:
            self._exact = self._state
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
        self._state, self._exact, self._waves = None, None, {}

    def _hold(self) -> None:
        """Keep what the reservoirs stand at, for the time after switch-off."""
        for name in self.design.rails:
            self._held[name] = abs(self.rail(name).reservoir_v)

    def _discharge(self, seconds: float) -> None:
        for name, volts in self._held.items():
            rail = self.design.rails[name]
            # Leakage falls with the voltage: taken as the resistance that it is at the no-load voltage.
            full = math.sqrt(2) * self._outside.mains_setting_v * float(ratio(self.design, rail)[0])
            siemens = 1 / float(rail.bleeder_ohm[0]) + 1 / rail.leak_ohm
            siemens += float(rail.leakage_a[0]) / max(full, 1.0)
            self._held[name] = decay(
                volts,
                seconds,
                ohm=math.inf if siemens == 0 else 1 / siemens,
                farad=float(rail.capacitance_f[0]),
                load_a=self.load_a(name) * float(rail.load_factor[0]),
            )


def _mistake(field_: str, value: str, why: str, mend: str) -> Mistake:
    return Mistake(where="simulated bench", field=field_, value=value, why=why, mend=mend)
