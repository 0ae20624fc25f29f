"""What every reading of a run would be with one or two faults in the unit, over its tolerances.

All physics is `physics.solve`, for all drawn units and all readings at once. A fault of one rail is
computed for the readings that it can reach; the others are taken from the sound unit, drawn alike.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
from msgspec.structs import replace as replace_struct

from ohmward.analysis._hypotheses import Hypothesis, Levels, Nominal, batchable, generator, stacked
from ohmward.analysis._independent import AT_PLUG, at_plug
from ohmward.analysis._observations import MAINS_KEYS, Observation
from ohmward.analysis._readings import COLD, reading
from ohmward.physics.condition import SOUND, Unit
from ohmward.physics.design import Design, TransformerDesign, build
from ohmward.physics.heat import after
from ohmward.physics.losses import TransformerState
from ohmward.physics.network import Operating, Scenario
from ohmward.physics.solve import State, settle, solve
from ohmward.supply.model import Supply

Array = npt.NDArray[np.float64]
_Key = tuple[tuple[tuple[str, float], ...], float, float, float]
"""Loads, mains [V], room [°C] and seconds since: one scenario."""

ROWS = 128
"""Drawn units; a power of two above the number of quantities with a tolerance."""
COLLAPSED = 0.1
"""A reading of a rail that cannot carry its load is taken as this share of the sound one."""

BEFORE_S = 1800.0
"""Loads began to warm the unit before those of a reading did, by from nothing to twice this [s]: a run is
read point after point, and what stood on the rails in between is not told (made up, no source)."""
DROP_V = 0.9
"""Of a diode: what a rectified voltage has less than its share of the mains, twice in a bridge [V]."""
_ROUNDS = 3
_HOTTER_K = 2.0
"""Windings that a fault warms by more are computed again at the resistance they then have."""


_SPARE = 3
"""Columns that the drawn quantities leave free: for the size of a fault, for `BEFORE_S`, and the mean."""


@dataclass(frozen=True, slots=True)
class Reach:
    """Which readings a set of faults can move."""

    rails: frozenset[str]
    whole: bool

    def holds(self, seen: Observation, fed: dict[str, tuple[str, ...]]) -> bool:
        """Return whether the reading may move; `fed` are the rails behind each transformer."""
        if self.whole or not seen.subject or seen.subject in self.rails:
            return True
        if len(seen.loads) > 1 and any(
            seen.subject in rails and self.rails & set(rails) for rails in fed.values()
        ):
            # loaded together, it feels what the others take from their transformer
            return True
        transformer = seen.subject.split(".")[0]
        return bool(self.rails & set(fed.get(transformer, ())))


@dataclass(frozen=True, slots=True)
class Plug:
    """What parts of a unit put on its mains lead, nominally: their transformers, with one row."""

    designs: dict[str, TransformerDesign] = field(default_factory=dict)
    states: dict[int, dict[str, TransformerState]] = field(default_factory=dict)
    """By the place of the reading among those at the plug."""

    def beside(self, other: Plug) -> Plug:
        """Return both."""
        places = self.states.keys() | other.states.keys()
        return Plug(
            designs=self.designs | other.designs,
            states={at: self.states.get(at, {}) | other.states.get(at, {}) for at in places},
        )


class Bench:
    """One supply with the readings that were taken of it: predicts them under any hypothesis.

    Of a supply in independent parts each has its own; `beside` is what the others put on the mains lead.
    """

    def __init__(
        self,
        supply: Supply,
        seen: Sequence[Observation],
        *,
        mains_known: bool = True,
        still: tuple[int, int] = (0, 0),
    ) -> None:
        """Take a sheet and readings; `still` as for `Levels`."""
        self.supply, self.seen, self.mains_known, self.still = supply, tuple(seen), mains_known, still
        rows, levels = ROWS, Levels(ROWS, still)
        self.design = build(Unit(sheet=supply), rng=generator(levels), draws=rows, mains_known=mains_known)
        while levels.used >= rows - _SPARE:
            rows *= 2
            levels = Levels(rows, still)
            self.design = build(
                Unit(sheet=supply), rng=generator(levels), draws=rows, mains_known=mains_known
            )
        self.rows = rows
        self.place = np.concatenate(([0.0], levels.last(rows)))
        self.before_s = BEFORE_S * (1.0 + np.concatenate(([0.0], levels.last(rows, 2))))
        drawn = levels.signs(levels.used)
        self.signs = np.column_stack([drawn, np.sign(levels.last(rows, 2)), np.sign(levels.last(rows))])
        """Which way each quantity with a tolerance, how long it was warm before, and the size of a fault, are
        off in each unit."""
        self.nominal = build(Unit(sheet=supply), rng=generator(Nominal()), draws=0)
        self.fed = {
            name: tuple(r.name for r in self.design.rails.values() if self.design.winding(r.windings[0]) is t)
            for name, t in self.design.transformers.items()
        }
        self.scenarios = _scenarios(self.seen, self.design)
        chosen = [self.scenarios[key] for key in self.scenarios]
        times = [key[3] + BEFORE_S for key in self.scenarios]
        warm = settle(self.nominal, self.nominal, chosen, times)
        self.at = dict(zip(self.scenarios, (state.at for state in warm), strict=True))
        self.warm = dict(zip(self.scenarios, warm, strict=True))
        regulated = {rail.name for rail in supply.rails if rail.regulator is not None}
        self.follows = [
            each.mains_off != 0.0
            and each.key in MAINS_KEYS
            and not (each.key == "output_v" and each.subject in regulated)
            for each in self.seen
        ]
        """Whether a reading was taken at another mains than it is computed at, and goes with it."""
        self.plug = [i for i, each in enumerate(self.seen) if at_plug(each)]
        self.beside = Plug()

    @cached_property
    def sound(self) -> Array:
        """Predicted readings of the sound unit, shape (1 + rows, readings); row 0 is the nominal one."""
        return self._run(self.design, self.nominal, Reach(frozenset(), True), None, self.before_s)

    @property
    def at_plug(self) -> Plug:
        """What the sound unit puts on the mains lead."""
        loaded = {j: self.seen[i] for j, i in enumerate(self.plug) if self.seen[i].key not in COLD}
        return Plug(
            designs=self.nominal.transformers,
            states={j: self.warm[seen.scenario].transformers for j, seen in loaded.items()},
        )

    def of(self, units: Design) -> Array:
        """Return the readings of other units of the same sheet, where the sound one is warm."""
        return self._run(units, None, Reach(frozenset(), True), None)

    def reach(self, hypothesis: Hypothesis) -> Reach:
        """Return what its faults can move."""
        rails: set[str] = set()
        whole = False
        for part in hypothesis.parts:
            whole |= part.fault.scope == "unit"
            rails |= set(self.fed.get(part.subject, (part.subject,)))
            rails |= {part.subject}
        return Reach(frozenset(rails), whole)

    def predict(self, hypothesis: Hypothesis) -> Array:
        """Return predicted readings, shape (1 + rows, readings)."""
        sheet = Unit(sheet=self.supply)
        if _as_sound(hypothesis.applied(sheet), self.supply):
            return self.sound
        design = build(
            hypothesis.applied(sheet, self.place),
            rng=generator(Levels(self.rows, self.still)),
            draws=self.rows,
            mains_known=self.mains_known,
        )
        nominal = build(hypothesis.applied(sheet), rng=generator(Nominal()), draws=0)
        return self._run(design, nominal, self.reach(hypothesis), self.sound, self.before_s)

    def screen(self, hypotheses: Sequence[Hypothesis]) -> Array:
        """Return nominal readings under each hypothesis, roughly: shape (hypotheses, readings).

        Every place a fault can sit in has it at once, and each hypothesis takes the readings of its own. What
        several of them move together, as a transformer that feeds two, is shared evenly among them; what one
        does to the readings of another's rail is left out.
        """
        kinds: dict[tuple[str, float], list[int]] = {}
        for index, hypothesis in enumerate(hypotheses):
            (part,) = hypothesis.parts
            if part.fault.change is not None:
                kinds.setdefault((part.fault.name, part.size), []).append(index)
        units = []
        for members in kinds.values():
            unit = Unit(sheet=self.supply)
            for index in members:
                unit = hypotheses[index].applied(unit)
            units.append(unit)
        tables = self._nominals(units)
        found = np.tile(self.sound[0], (len(hypotheses), 1))
        for table, members in zip(tables, kinds.values(), strict=True):
            reaches = {index: self.reach(hypotheses[index]) for index in members}
            for column, seen in enumerate(self.seen):
                if len(members) > 1 and seen.key in AT_PLUG:
                    continue
                sits = [index for index in members if seen.subject in reaches[index].rails]
                moves = sits or [index for index in members if reaches[index].holds(seen, self.fed)]
                if moves:
                    found[moves, column] += (table[column] - found[moves, column]) / len(moves)
        return found

    def nominals(self, hypotheses: Sequence[Hypothesis]) -> Array:
        """Return nominal readings with all faults of each hypothesis: shape (hypotheses, readings)."""
        return self._nominals([each.applied(Unit(sheet=self.supply)) for each in hypotheses])

    def _nominals(self, units: Sequence[Unit]) -> Array:
        """Return the nominal readings of each unit, as many as can at once."""
        together = [i for i, unit in enumerate(units) if batchable(unit, self.supply)]
        found = np.empty((len(units), len(self.seen)))
        whole = Reach(frozenset(), True)
        if together:
            unit = stacked([units[i] for i in together], self.supply)
            design = build(unit, rng=generator(Nominal()), draws=len(together) - 1)
            found[together] = self._run(design, None, whole, None)
        for i in sorted(set(range(len(units))) - set(together)):
            design = build(units[i], rng=generator(Nominal()), draws=0)
            found[i] = self._run(design, None, whole, None)[0]
        return found

    def _run(
        self,
        design: Design,
        nominal: Design | None,
        reach: Reach,
        base: Array | None,
        before_s: Array | float = BEFORE_S,
    ) -> Array:
        """Return readings of a design; those out of reach, and of collapsed rails, from `base`."""
        columns = [i for i, seen in enumerate(self.seen) if reach.holds(seen, self.fed)]
        states = self._states(design, nominal, columns, before_s)
        found = np.empty((design.rows, len(self.seen))) if base is None else base.copy()
        sound = None if base is None else base[0]
        for i in columns:
            seen = self.seen[i]
            whole, state = self._with_others(design, states.get(seen.scenario), i)
            values = np.broadcast_to(reading(whole, state, seen, before_s), (design.rows,))
            if self.follows[i]:
                rectified = seen.key in ("reservoir_v", "output_v")
                values = values + seen.mains_off * (values + 2 * DROP_V * rectified)
            fallback = self._fallback(seen, i, sound)
            found[:, i] = np.where(np.isfinite(values), values, fallback)
        return found

    def _with_others(self, design: Design, state: State | None, column: int) -> tuple[Design, State | None]:
        """Return design and state with the transformers of the other parts, for a reading at the plug."""
        if column not in self.plug or not self.beside.designs:
            return design, state
        whole = replace(design, transformers=design.transformers | self.beside.designs)
        if state is not None:
            others = self.beside.states[self.plug.index(column)]
            state = replace(state, transformers=state.transformers | others)
        return whole, state

    def _fallback(self, seen: Observation, column: int, sound: Array | None) -> float:
        if sound is None and "sound" in self.__dict__:
            sound = self.sound[0]
        return COLLAPSED * float(abs(seen.value) if sound is None else sound[column])

    def _states(
        self, design: Design, nominal: Design | None, columns: Sequence[int], before_s: Array | float
    ) -> dict[_Key, State]:
        needed: dict[_Key, set[str]] = {}
        for i in columns:
            seen = self.seen[i]
            if seen.key not in COLD:
                needed.setdefault(seen.scenario, set()).update(_needed(seen, design))
        keys = [key for key in self.scenarios if key in needed]
        if not keys:
            return {}
        chosen = [replace(self.scenarios[key], wanted=frozenset(needed[key])) for key in keys]
        at = [self._operating(key, design, before_s) for key in keys]
        if nominal is not None and nominal is not self.nominal:
            settled = self._settled(keys, chosen, nominal)
            at = [
                replace(self._warmed(key, where, state, design, before_s), pulse=own.pulse)
                for key, where, (own, state) in zip(keys, at, settled, strict=True)
            ]
        return dict(zip(keys, solve(design, chosen, at), strict=True))

    def _operating(self, key: _Key, design: Design, before_s: Array | float = BEFORE_S) -> Operating:
        """Return the sound unit's temperatures, for every row of a design."""
        warm, at = self.warm[key], self.at[key]
        copper_c = {}
        for name, transformer in design.transformers.items():
            known = name in at.copper_c
            share = transformer.thermal_kpw / self.nominal.transformers[name].thermal_kpw[0] if known else 1.0
            air = warm.air_c[0] + design.ambient_offset_k
            final = air + (warm.transformers[name].final_c[0] - warm.air_c[0]) * share if known else air
            copper_c[name] = np.asarray(after(key[3] + before_s, air, final, transformer.tau_s))
        return Operating(copper_c=copper_c, pulse=at.pulse)

    def _settled(
        self, keys: Sequence[_Key], chosen: Sequence[Scenario], nominal: Design
    ) -> list[tuple[Operating, State]]:
        """Return where the nominal unit with a fault stands: its own heat, and its current pulses."""
        sound = [self._operating(key, nominal) for key in keys]
        own = list(sound)
        states = solve(nominal, chosen, own)
        for _ in range(_ROUNDS):
            moving = []
            for i, (key, state) in enumerate(zip(keys, states, strict=True)):
                warmed = self._warmed(key, sound[i], state, nominal, BEFORE_S)
                several = len(chosen[i].loads) > 1
                if several or _hotter(own[i], warmed):
                    pulse = {**own[i].pulse, **pulses(state)} if several else own[i].pulse
                    own[i] = replace(warmed, pulse=pulse)
                    moving.append(i)
            if not moving:
                break
            again = solve(nominal, [chosen[i] for i in moving], [own[i] for i in moving])
            for i, state in zip(moving, again, strict=True):
                states[i] = state
        return list(zip(own, states, strict=True))

    def _warmed(
        self, key: _Key, sound: Operating, state: State, design: Design, before_s: Array | float
    ) -> Operating:
        """Return the sound unit's temperatures moved by what the fault moves the nominal unit's by."""
        warm = self.warm[key]
        copper_c = {}
        for name, transformer in design.transformers.items():
            if name not in warm.transformers:
                copper_c[name] = sound.copper_c[name]
                continue
            more = state.transformers[name].final_c[0] - warm.transformers[name].final_c[0]
            more = more if np.isfinite(more) else 0.0
            gone = np.zeros(design.rows)
            copper_c[name] = sound.copper_c[name] + after(
                key[3] + before_s, gone, gone + more, transformer.tau_s
            )
        return Operating(copper_c=copper_c, pulse=sound.pulse)


def _hotter(old: Operating, new: Operating) -> bool:
    return any(bool(np.abs(new.copper_c[name] - was).max() > _HOTTER_K) for name, was in old.copper_c.items())


def _as_sound(unit: Unit, sheet: Supply) -> bool:
    """Return whether nothing is wrong with a unit that its circuit would show (an earth is no part of it)."""
    safety = {"earth_extra_ohm": 0.0, "insulation_ohm": None, "isolation_ohm": None}
    return unit.sheet is sheet and replace_struct(unit.condition, **safety) == SOUND


def pulses(state: State) -> dict[str, float]:
    """Return peak over mean current of every computed rail that has a steady state."""
    return {
        name: float(rail.reservoir.source_peak_a[0] / rail.raw_a[0])
        for name, rail in state.rails.items()
        if bool(rail.reservoir.converged[0])
    }


def _scenarios(seen: Sequence[Observation], design: Design) -> dict[_Key, Scenario]:
    wanted: dict[_Key, set[str]] = {}
    for each in seen:
        if each.key not in COLD:
            wanted.setdefault(each.scenario, set()).update(_needed(each, design))
    return {
        key: Scenario(mains_v=key[1], ambient_c=key[2], loads=dict(key[0]), wanted=frozenset(names))
        for key, names in wanted.items()
    }


def _needed(seen: Observation, design: Design) -> Iterable[str]:
    """Return the rails that have to be computed for a reading."""
    return design.rails if seen.key in AT_PLUG or seen.key == "surface_c" else [seen.subject]
