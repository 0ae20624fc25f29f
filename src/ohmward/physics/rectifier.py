"""Periodic steady state of rectifiers with capacitor input: bridge, centre-tap, half-wave.

A transformer's secondary with resistance, logarithmic diodes with bulk resistance, a reservoir with
ESR, a load of constant current, resistance or power. Arrays of designs in, arrays out. The equations are
in `_rectifier_circuit`, how they are solved in `_rectifier_newton`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from ohmward.physics._rectifier_circuit import (
    FLOOR,
    SERIES_DIODES,
    Circuit,
    ConstantCurrent,
    ConstantPower,
    Index,
    Load,
    Mask,
    Resistance,
)
from ohmward.physics._rectifier_measure import Measured, measure, sample
from ohmward.physics._rectifier_mesh import MESHES, Array
from ohmward.physics._rectifier_newton import Solution, solve_finely
from ohmward.supply.model import RectifierKind

BOLTZMANN_OVER_CHARGE_V_PER_K = 8.617333262e-5
"""k/e from the exact values of the SI (2019): 1.380649e-23 J/K over 1.602176634e-19 C."""
LEAST_PHASE = 0.01
LEAST_SHARE = 1e-3
"""Least resistance in series with the reservoir: ω·C·R [rad], or its share of load voltage over current.

The stepping loses its footing where a reservoir has next to no resistance to charge through. Less than
the smaller of the two is taken as that; the ripple then comes out 0.5 % too small at most and the mean
0.1 % too low, against the closed form for no resistance at all.
"""
CHUNK = 512
"""Designs solved together; the arrays of more of them leave the processor's cache."""

Number = float | npt.ArrayLike


@dataclass(frozen=True, slots=True, kw_only=True)
class Diode:
    """One diode: i = saturation_a·(exp(v / (emission·kT/e)) − 1), in series with `bulk_ohm`.

    Any field may be an array that broadcasts with the other arguments of `steady_state`.
    """

    saturation_a: Number
    """At `temperature_k` [A]."""
    emission: Number = 1.0
    """Emission coefficient n."""
    bulk_ohm: Number = 0.0
    """Of each diode [Ω]."""
    temperature_k: Number = 300.15
    """Of the junction [K]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Waveform:
    """One cycle of the mains, from the rising zero crossing of the source; shape (samples, *designs)."""

    time_s: Array
    output_v: Array
    diode_a: Array
    """Rectified current into reservoir and load [A], less what leaks back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyState:
    """What `steady_state` returns: arrays of the broadcast shape of its arguments.

    Where ``converged`` is False every other number is NaN and ``problem`` says why. Voltages are at the
    load terminals (capacitor and ESR).
    """

    mean_v: Array
    valley_v: Array
    """Lowest instant [V]."""
    peak_v: Array
    """Highest instant [V]."""
    ripple_pp_v: Array
    ripple_rms_v: Array
    """RMS of the output less its mean [V]."""
    source_rms_a: Array
    """RMS current of the source [A]. In centre-tap: of both halves of the winding together, so that
    source_rms_a²·source_ohm is the loss in the resistance whatever the kind; see ``half_rms_a``."""
    half_rms_a: Array
    """RMS current [A] of one half of a centre-tapped winding (the larger where they differ), over the
    whole cycle; in a bridge the same number is the RMS current of a diode."""
    source_peak_a: Array
    diode_mean_a: Array
    """Mean rectified current of all diodes together [A]; equals the mean load current."""
    load_mean_a: Array
    capacitor_rms_a: Array
    conduction_fraction: Array
    """Share of the cycle in which a diode carries more than 1 % of the peak current."""
    piv_v: Array
    """Peak inverse voltage of the diode worst off [V]."""
    fundamental_v: Array
    """Amplitude of the output's component at the mains frequency [V]; nought with both halves alike."""
    second_harmonic_v: Array
    """Amplitude at twice the mains frequency [V]."""
    converged: Mask
    problem: npt.NDArray[np.object_]
    """Words for a person; empty where there is a steady state."""
    _groups: tuple[_Group, ...]
    _frequency_hz: Array

    def waveform(self, n: int) -> Waveform:
        """Return one cycle at `n` instants; NaN where there is no steady state."""
        shape = self.converged.shape
        output = np.full((n, self.converged.size), np.nan)
        current = np.full_like(output, np.nan)
        theta = 2 * np.pi * np.arange(n) / n - np.pi / 2
        good = self.converged.reshape(-1)
        for group in self._groups:
            for part, circuit, solution in group.parts:
                kept = good[part]
                vo, i = sample(circuit, solution, theta)
                output[:, part[kept]], current[:, part[kept]] = vo[:, kept], i[:, kept]
        time = np.arange(n)[:, None] / n / np.where(good, self._frequency_hz, np.nan)
        return Waveform(
            time_s=time.reshape(n, *shape),
            output_v=output.reshape(n, *shape),
            diode_a=current.reshape(n, *shape),
        )


@dataclass(frozen=True, slots=True)
class _Group:
    """Designs with the same number of windows a cycle; chunk by chunk, with where they came from."""

    parts: tuple[tuple[Index, Circuit, Solution], ...]


def steady_state(
    *,
    kind: RectifierKind,
    source_rms_v: Number,
    frequency_hz: Number,
    source_ohm: Number,
    capacitance_f: Number,
    diode: Diode,
    esr_ohm: Number = 0.0,
    load_a: Number | None = None,
    load_ohm: Number | None = None,
    load_w: Number | None = None,
    second_rms_v: Number | None = None,
    second_ohm: Number | None = None,
    open_half: npt.ArrayLike = False,
) -> SteadyState:
    """Return the periodic steady state of rectifiers with capacitor input.

    Parameters
    ----------
    kind : {'bridge', 'centre-tap', 'half-wave'}
        Two diodes in series in a bridge, one otherwise.
    source_rms_v : float or array
        No-load RMS voltage of the sinusoidal source, of each half in centre-tap [V].
    frequency_hz, source_ohm, capacitance_f, esr_ohm : float or array
        `source_ohm` is the whole series resistance outside the diodes, of each half in centre-tap.
    load_a, load_ohm, load_w : float or array
        Exactly one of constant current [A], resistance [Ω], constant power [W].
    second_rms_v, second_ohm : float or array, optional
        Source and resistance in the second half-cycle where they differ from the first.
    open_half : bool or array of bool
        One half-cycle does not conduct: an open diode of a bridge, a broken half of a winding.

    Returns
    -------
    SteadyState

    Notes
    -----
    Within 0.02 % of the mean, 0.3 % of ripple and 0.1 % of RMS currents for any sensible supply, mostly
    ten times better (tests/physics). The answer is smooth in its arguments but for jumps of 1e-6 of the mean
    and 1e-4 of the ripple: differences taken for a derivative want steps of a per cent.

    Exact for the circuit as drawn, except that the current of a diode whose source has changed its sign is
    left out, and see `LEAST_PHASE`. A lone reservoir of a few microfarads on unequal halves may find no
    answer; that too is said.

    Raises
    ------
    TypeError
        Not exactly one load.
    ValueError
        An unknown kind, or shapes that do not broadcast.
    """
    if kind not in SERIES_DIODES:
        raise ValueError(f"kind of rectifier '{kind}': it must be one of {', '.join(SERIES_DIODES)}")
    loads = {"load_a": load_a, "load_ohm": load_ohm, "load_w": load_w}
    given = {name: value for name, value in loads.items() if value is not None}
    if len(given) != 1:
        raise TypeError("give exactly one of load_a, load_ohm, load_w")
    load_name, load = next(iter(given.items()))
    values = {
        "source_rms_v": source_rms_v,
        "frequency_hz": frequency_hz,
        "source_ohm": source_ohm,
        "capacitance_f": capacitance_f,
        "esr_ohm": esr_ohm,
        "saturation_a": diode.saturation_a,
        "emission": diode.emission,
        "bulk_ohm": diode.bulk_ohm,
        "temperature_k": diode.temperature_k,
        load_name: load,
    }
    values |= {"second_rms_v": second_rms_v} if second_rms_v is not None else {}
    values |= {"second_ohm": second_ohm} if second_ohm is not None else {}
    arrays = np.broadcast_arrays(
        *(np.asarray(v, dtype=float) for v in values.values()), np.asarray(open_half)
    )
    shape = arrays[0].shape
    flat = {name: np.ravel(array) for name, array in zip(values, arrays, strict=False)}
    # Where the second half is not said to differ it is the first: refused, and computed, only once.
    flat.setdefault("second_rms_v", flat["source_rms_v"])
    flat.setdefault("second_ohm", flat["source_ohm"])
    one_sided = np.ravel(arrays[-1]).astype(bool) | (kind == "half-wave")
    return _Batch(kind, load_name, flat, one_sided).solve(shape)


_WORDS: dict[str, tuple[str, str, bool]] = {
    "source_rms_v": ("source voltage", "V", False),
    "frequency_hz": ("frequency", "Hz", False),
    "source_ohm": ("source resistance", "Ω", True),
    "capacitance_f": ("capacitance", "F", False),
    "esr_ohm": ("ESR", "Ω", True),
    "saturation_a": ("saturation current of the diode", "A", False),
    "emission": ("emission coefficient of the diode", "", False),
    "bulk_ohm": ("bulk resistance of the diode", "Ω", True),
    "temperature_k": ("temperature of the diode", "K", False),
    "load_a": ("load current", "A", True),
    "load_ohm": ("load resistance", "Ω", False),
    "load_w": ("load power", "W", True),
    "second_rms_v": ("source voltage of the second half", "V", False),
    "second_ohm": ("source resistance of the second half", "Ω", True),
}
"""What each argument is called, its unit, and whether nought is allowed."""


class _Batch:
    """All designs of one call, flattened."""

    def __init__(self, kind: RectifierKind, load: str, values: dict[str, Array], one_sided: Mask) -> None:
        self.kind, self.load, self.values, self.one_sided = kind, load, values, one_sided
        self.size = one_sided.size
        self.problem = np.full(self.size, "", dtype=object)
        self.converged = np.zeros(self.size, dtype=bool)
        self.found = {f.name: np.full(self.size, np.nan) for f in fields(Measured)}

    def solve(self, shape: tuple[int, ...]) -> SteadyState:
        self._refuse()
        groups = tuple(self._group(halves, members) for halves, members in self._grouped())
        for name in self.found:
            self.found[name][~self.converged] = np.nan
        found = self.found
        names = {f.name for f in fields(SteadyState)} & found.keys()
        return SteadyState(
            source_rms_a=found["pulses_rms_a"].reshape(shape),
            converged=self.converged.reshape(shape),
            problem=self.problem.reshape(shape),
            _groups=groups,
            _frequency_hz=self.values["frequency_hz"],
            **{name: found[name].reshape(shape) for name in names},
        )

    def _refuse(self) -> None:
        """Say what is impossible about each design."""
        for name, values in self.values.items():
            what, unit, zero = _WORDS[name]
            wrong = ~np.isfinite(values) | (values < 0) | ((values == 0) & (not zero))
            if name.startswith("second"):
                wrong &= ~self.one_sided & (values is not self.values[name.replace("second", "source")])
            bound = "a number, not negative" if zero else "a number above zero"
            for at in np.flatnonzero(wrong):
                words = f"{what} of {values[at]:g} {unit}".rstrip() + f": it must be {bound}"
                self.problem[at] = "; ".join(filter(None, (self.problem[at], words)))

    def _grouped(self) -> Iterator[tuple[str, Index]]:
        possible = self.problem == ""
        v = self.values
        alike = (v["second_rms_v"] == v["source_rms_v"]) & (v["second_ohm"] == v["source_ohm"])
        for name, mask in (
            ("one", self.one_sided),
            ("alike", ~self.one_sided & alike),
            ("two", ~self.one_sided & ~alike),
        ):
            members = np.flatnonzero(mask & possible)
            if members.size:
                yield name, members

    def _group(self, name: str, members: Index) -> _Group:
        parts = []
        for start in range(0, members.size, CHUNK):
            part = members[start : start + CHUNK]
            circuit = self._circuit(name, part)
            # Far from an answer numbers may run away; what has not converged is reported, not used.
            with np.errstate(all="ignore"):
                for piece, refined, solution in solve_finely(circuit):
                    self._take(part[piece], refined, solution)
                    parts.append((part[piece], refined, solution))
        return _Group(tuple(parts))

    def _take(self, part: Index, circuit: Circuit, solution: Solution) -> None:
        measured = measure(circuit, solution, SERIES_DIODES[self.kind])
        for f in fields(Measured):
            self.found[f.name][part] = getattr(measured, f.name)
        self._judge(part, circuit, solution, measured)

    def _circuit(self, name: str, part: Index) -> Circuit:
        v = {key: values[part] for key, values in self.values.items()}
        series = SERIES_DIODES[self.kind]
        two = name == "two"

        def both(values: Array) -> Array:
            return np.tile(values, 2) if two else values

        V = np.concatenate([v["source_rms_v"], v["second_rms_v"]]) if two else v["source_rms_v"]
        R = np.concatenate([v["source_ohm"], v["second_ohm"]]) if two else v["source_ohm"]
        V = np.sqrt(2) * V
        thermal = BOLTZMANN_OVER_CHARGE_V_PER_K * v["temperature_k"]
        value = both(v[self.load])
        load: Load
        if self.load == "load_a":
            load = ConstantCurrent(value)
        elif self.load == "load_ohm":
            load = Resistance(value)
        else:
            load = ConstantPower(value, FLOOR * V)
        a, esr = both(1 / (2 * np.pi * v["frequency_hz"] * v["capacitance_f"])), both(v["esr_ohm"])
        with np.errstate(divide="ignore"):
            least = np.minimum(LEAST_PHASE * a, LEAST_SHARE * V / load.current(V))
        return Circuit(
            V=V,
            R0=np.maximum(R + series * both(v["bulk_ohm"]), least - esr),
            VT=both(series * v["emission"] * thermal),
            Is=both(v["saturation_a"]),
            U0=both(np.log(v["saturation_a"])),
            leak=both(v["saturation_a"]) * (1 if name == "one" else 2),
            a=a,
            esr=esr,
            load=load,
            halves=2 if two else 1,
            period=np.pi if name == "alike" else 2 * np.pi,
            mesh=MESHES[0],
        )

    def _judge(self, part: Index, circuit: Circuit, solution: Solution, measured: Measured) -> None:
        """Decide which designs of a chunk have a steady state, and say why the others have none."""
        lasting = (solution.kept < 1) & (measured.lowest_v > circuit.load.lowest(circuit)[: part.size])
        sound = solution.converged & lasting & np.isfinite(measured.mean_v)
        self.converged[part] = sound
        for at in np.flatnonzero(~sound):
            peak = circuit.V.reshape(circuit.halves, -1)[:, at].max()
            value = self.values[self.load][part[at]]
            load = f"{_WORDS[self.load][0]} of {value:g} {_WORDS[self.load][1]}"
            # Drawn at the crest's voltage for a cycle or half of one, would the load empty the reservoir?
            drawn = circuit.load.take(np.array([at])).current(np.array([peak]))[0]
            emptied = drawn * circuit.a[at] * (circuit.period if circuit.halves == 1 else np.pi) > peak
            heavy = emptied or not solution.bearing[at] or solution.converged[at]
            if self.load != "load_ohm" and heavy:
                words = (
                    f"{load} collapses the rail: a source of {peak:.3g} V peak through "
                    f"{circuit.R0[at]:.3g} Ω and its diodes cannot carry it over the whole cycle"
                )
            else:
                words = f"no steady state was found at a {load} and {peak:.3g} V peak"
                if (circuit.R0[at] + circuit.esr[at]) < LEAST_PHASE * circuit.a[at]:
                    words += "; give the source or the reservoir some resistance"
            self.problem[part[at]] = words


__all__ = ["Diode", "SteadyState", "Waveform", "steady_state"]
