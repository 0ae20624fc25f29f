"""Newton on the whole cycle at once: every node of the conduction and the closure of the cycle together.

Conduction is stepped by the two-derivative implicit formula of fourth order (Hermite–Obreshkov; Hairer
& Wanner, *Solving Ordinary Differential Equations II*, 2nd ed., section IV.3, Padé (2, 2), A-stable)::

    v[j+1] = v[j] + h/2·(G[j] + G[j+1]) + h²/12·(G'[j] − G'[j+1])

with G' known in closed form, on nodes crowded towards the ends of the window, where the diode's knee
is. Between windows the reservoir is discharged by the load law in closed form. The matrix of the whole
is bidiagonal but for the one entry that closes the cycle, so each iteration is a sweep over the nodes
(all designs at once) and one division. The windows are moved along with the iteration until they fit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from ohmward.physics._rectifier_circuit import Circuit, ConstantCurrent, ConstantPower, Index, Mask
from ohmward.physics._rectifier_guess import EDGE, guess
from ohmward.physics._rectifier_mesh import MESHES, Array
from ohmward.physics._rectifier_state import (
    State,
    gaps,
    log_omega,
    other_half,
    source,
    state,
    stiffness,
    tails,
)

TOLERANCE = 1e-3
"""Largest last change of U; what is left after it is about its square."""
BENT_TOLERANCE = 1e-5
"""The same for constant power: near its collapse a step amplifies what the last one left."""
ROUGH = 0.3
"""Above this change of U a step is taken in volts, not in U."""
TAIL = 7.0
"""A window reaches down to exp(−TAIL) of the peak current …"""
KNEE = 0.05
"""… or to where the resistive drop is this share of VT, if that is lower."""
_ITERATIONS = 25
_FITS = 0.03
"""A window fits once it moves less than this share of its width …"""
_FADED = 2.0
"""… and U at its ends is no more than this above where it fades, or the ends are as far out as they go."""
_LEAST_RATE = 2e-3
"""Least rise of the driving voltage reckoned with at the ends, in amplitudes a radian."""
_EASY = 3
_SINGLE = 2
"""Iterations in single precision, half the work: what they leave is far above its rounding."""


@dataclass(slots=True)
class Solution:
    """U at the nodes, shape (nodes, columns); window of each column, state of each design."""

    low: Array
    high: Array
    U: Array
    converged: Mask
    bearing: Mask
    """False where the load looks too heavy for the source."""
    kept: Array
    """Share of a disturbance that is left after a cycle; from one up the state does not last."""
    load_a: Array
    """Guess of the load current of each column [A]."""

    def take(self, designs: Index, columns: Index) -> Solution:
        """Return the solution of some designs."""
        return Solution(
            self.low[columns],
            self.high[columns],
            self.U[:, columns],
            self.converged[designs],
            self.bearing[designs],
            self.kept[designs],
            self.load_a[columns],
        )


@dataclass(slots=True)
class _Trial:
    """Where the iteration stands."""

    low: Array
    high: Array
    U: Array
    moving: Mask
    """Columns whose window may still be moved."""
    unsettled: Mask
    """Designs that need another iteration."""
    kept: Array
    iteration: int = 0

    def take(self, designs: Index, columns: Index) -> _Trial:
        return _Trial(
            self.low[columns],
            self.high[columns],
            self.U[:, columns],
            self.moving[columns],
            self.unsettled[designs],
            self.kept[designs],
        )


def solve_finely(circuit: Circuit) -> Iterator[tuple[Index, Circuit, Solution]]:
    """Yield steady states with the designs they are of; those that want more nodes again with more."""
    left = np.arange(circuit.designs)
    for mesh in MESHES:
        some = circuit if left.size == circuit.designs else circuit.take(left)
        some = replace(some, mesh=mesh)
        found = solve(some)
        stiff = stiffness(some, found.low, found.high, found.U)
        # What found no end on the second mesh, or asks more than the source can give, will not on the last.
        hopeless = ~found.converged & (~found.bearing | (mesh is not MESHES[0]))
        done = (found.converged & (stiff <= mesh.stiff)) | hopeless | (mesh is MESHES[-1])
        if done.all():
            yield left, some, found
            return
        if done.any():
            kept = np.flatnonzero(done)
            yield left[kept], some.take(kept), found.take(kept, some.columns(kept))
        left = left[~done]


def solve(circuit: Circuit) -> Solution:
    """Return the periodic steady state of every design; those without one are left unconverged."""
    single = circuit.single()
    trial, found = _begin(single)
    eased = isinstance(circuit.load, ConstantPower)
    for trial.iteration in range(_SINGLE):
        _iterate(_gently(single, found) if eased else single, trial)
    trial = _in_full(circuit, trial)
    left, some, gentle = np.arange(circuit.designs), circuit, _EASY if eased else 0
    for iteration in range(_SINGLE, _ITERATIONS):
        trial.iteration = iteration
        _iterate(_gently(some, found) if iteration < gentle else some, trial)
        last = iteration == _ITERATIONS - 1
        if iteration < gentle or (trial.unsettled.mean() > 0.7 and not last):
            continue
        columns = circuit.columns(left)
        found.low[columns], found.high[columns], found.U[:, columns] = trial.low, trial.high, trial.U
        found.converged[left], found.kept[left] = ~trial.unsettled, trial.kept
        keep = np.flatnonzero(trial.unsettled)
        if keep.size == 0:
            break
        trial = trial.take(keep, some.columns(keep))
        some, left = some.take(keep), left[keep]
    return found


def _begin(circuit: Circuit) -> tuple[_Trial, Solution]:
    """Return where the iteration starts, and room for what it finds."""
    start = guess(circuit)
    low, high, U = (values.astype(circuit.V.dtype) for values in (start.low, start.high, start.U))
    moving = np.ones(low.size, dtype=bool)
    kept = np.ones(circuit.designs)
    trial = _Trial(low, high, U, moving, np.ones(circuit.designs, dtype=bool), kept)
    return trial, Solution(
        low=np.empty(low.shape),
        high=np.empty(low.shape),
        U=np.empty(U.shape),
        converged=np.zeros(circuit.designs, dtype=bool),
        bearing=start.bearing,
        kept=kept,
        load_a=start.load_a,
    )


def _in_full(circuit: Circuit, trial: _Trial) -> _Trial:
    """Return the trial in double precision; from the beginning if it ran away in single."""
    if not np.isfinite(trial.U).all():
        return _begin(circuit)[0]
    double = np.float64
    trial.low, trial.high, trial.U = (x.astype(double) for x in (trial.low, trial.high, trial.U))
    return trial


def _gently(circuit: Circuit, found: Solution) -> Circuit:
    """Return the circuit with constant current in place of power.

    A negative resistance is joined once the iteration is near: far off it may lead anywhere.
    """
    return replace(circuit, load=ConstantCurrent(found.load_a.astype(circuit.V.dtype)))


def _iterate(circuit: Circuit, trial: _Trial) -> None:
    """Take one step of Newton's, and move the windows that do not fit yet."""
    now = state(circuit, source(circuit, trial.low, trial.high), trial.U)
    step, trial.kept = _newton_step(circuit, now, trial.low, trial.high)
    change = np.maximum(step.max(axis=0), -step.min(axis=0))
    bent = isinstance(circuit.load, ConstantPower)
    calm = change < (BENT_TOLERANCE if bent else TOLERANCE)
    # Looked at when all else is done, and now and then in case that holds it up.
    if calm.any() or trial.iteration % 5 == 4:
        trial.moving |= (calm | (trial.iteration % 5 == 4)) & ~_covered(circuit, trial)
    restless = trial.moving | ~calm
    trial.unsettled = restless.reshape(circuit.halves, -1).any(axis=0)
    rough = np.flatnonzero(trial.moving | ~(change < ROUGH))
    if rough.size == 0:
        trial.U = trial.U + step
    elif rough.size == change.size:
        trial.U = _in_volts(circuit, trial, now, step, slice(None))
    else:
        advanced = _in_volts(circuit, trial, now, step, rough)
        trial.U = trial.U + step
        trial.U[:, rough] = advanced


def _in_volts(circuit: Circuit, trial: _Trial, now: State, step: Array, columns: Index | slice) -> Array:
    """Return U of some columns after the step, and move their windows.

    The step is taken in the drop over diode, resistance and (over half a step) reservoir, which moves with
    the node and with the step alike. It is a line in U at small currents and an exponential at large ones:
    a large step in U itself would overshoot.
    """
    pace = 0.5 / circuit.mesh.last * circuit.a[columns] * (trial.high - trial.low)[columns]
    still, ohm = now.D_still[..., columns], now.D_ohm[..., columns] + pace
    rise = ohm * now.J[:, columns]
    drop = still * trial.U[:, columns]
    drop += rise
    rise += still
    moving = trial.moving[columns]
    change = step[:, columns]
    if moving.any():
        shift, fade, near = _shift(circuit, trial, now, drop + rise * change, columns)
        change = change + now.U_prime[:, columns] * shift
        trial.low[columns] += shift[0]
        trial.high[columns] += shift[-1]
    drop += rise * change
    ratio = np.log(ohm / still)
    drop /= still
    drop += ratio
    U = log_omega(drop)
    U -= ratio
    if moving.any():
        first = (U[0] < fade + _FADED) | (trial.low[columns] <= -EDGE)
        last = (U[-1] < fade + _FADED) | (trial.high[columns] >= EDGE)
        trial.moving[columns] = moving & ~(near & first & last)
    return U


def _fade(circuit: Circuit, U: Array) -> Array:
    """Return U at which the current of each column has faded."""
    knee = np.log(KNEE * circuit.VT / np.maximum(circuit.R0 + circuit.esr, 1e-30))
    return np.asarray(np.minimum(knee, U.max(axis=0) - TAIL))


def _covered(circuit: Circuit, trial: _Trial) -> Mask:
    """Return which windows still hold their pulse, or belong to a half that carries next to nothing."""
    fade, U = _fade(circuit, trial.U) + 2 * _FADED, trial.U
    first = (U[0] < fade) | (trial.low <= -EDGE)
    last = (U[-1] < fade) | (trial.high >= EDGE)
    top = U.max(axis=0)
    return np.asarray((first & last) | (top < other_half(circuit, top) - 2 * TAIL))


def _newton_step(circuit: Circuit, now: State, low: Array, high: Array) -> tuple[Array, Array]:
    """Return the change of U that solves the linearised equations of the cycle, and the map's slope."""
    width = high - low
    half, twelfth = (0.25 * width) * circuit.mesh.spacing, (np.square(width) / 48) * circuit.mesh.squared
    curved = now.U_prime * now.D_slope
    curved += now.G_slope
    curved *= now.G_slope
    curved /= now.D
    curved = now.G_bare * now.U_prime - curved
    bend = circuit.load.bend(now.vo)
    if bend is not None:
        curved += _bent(circuit, now, bend)
    miss = now.v[1:] - now.v[:-1]
    miss -= half * (now.G[1:] + now.G[:-1])
    miss += twelfth * (now.G_prime[1:] - now.G_prime[:-1])
    left = half * now.G_slope[:-1]
    left += twelfth * curved[:-1]
    left -= now.D[:-1]
    right = twelfth * curved[1:]
    right -= half * now.G_slope[1:]
    right -= now.D[1:]
    left /= right
    miss /= right
    # U at each node as a part of its own and a multiple of that at the first node.
    both = np.empty((len(now.J), 2, width.size), dtype=now.J.dtype)
    both[0, 0], both[0, 1] = 0.0, 1.0
    for j in range(circuit.mesh.last):
        np.multiply(left[j], both[j], out=both[j + 1])
        both[j + 1, 0] -= miss[j]
    part, homogeneous = both[:, 0], both[:, 1]
    first, kept = _closure(circuit, now, gaps(circuit, low, high), part[-1], homogeneous[-1])
    homogeneous *= first
    return part + homogeneous, kept


def _bent(circuit: Circuit, now: State, bend: Array) -> Array:
    """Return the part of dG'/dU that comes from the bend of the load's law."""
    fall = circuit.VT + circuit.R0 * now.J
    g_slope = -bend * fall
    U_prime_slope = -circuit.esr * g_slope * (now.U_prime * fall - now.e_prime) / now.D
    direct = circuit.a * g_slope * (fall * now.U_prime - now.e_prime)
    return np.asarray(direct + now.G_slope * U_prime_slope)


def _closure(
    circuit: Circuit, now: State, gap: Array, part: Array, homogeneous: Array
) -> tuple[Array, Array]:
    """Return the change of U at the first node of each column that closes the cycle, and the map's slope."""
    before, after = tails(now)
    end, slope = circuit.load.decay(circuit, now.v[-1] + circuit.a * after, gap)
    into = circuit.a * before
    miss = now.v[0] - into - other_half(circuit, end)
    left = other_half(circuit, slope * (circuit.a * after - now.D[-1]))
    right = -now.D[0] - into
    # right·x = left·(part + homogeneous·x of the window before) − miss
    ratio = left / right * other_half(circuit, homogeneous)
    constant = (left * other_half(circuit, part) - miss) / right
    if circuit.halves == 1:
        return constant / (1 - ratio), ratio
    kept = ratio * other_half(circuit, ratio)
    first = (constant + ratio * other_half(circuit, constant)) / (1 - kept)
    return first, kept[: circuit.designs]


def _shift(
    circuit: Circuit, trial: _Trial, now: State, drop: Array, columns: Index | slice
) -> tuple[Array, Array, Mask]:
    """Return how far each node moves [rad] to bring the ends of its window to where the current fades.

    With it, U where it fades, and which windows move but little.
    """
    low, high, last = trial.low[columns], trial.high[columns], circuit.mesh.last
    fade = _fade(circuit, trial.U)[columns]
    # At the ends the current is next to nothing, and so is all of the drop but the diode's.
    still = now.D_still[::last][:, columns] if now.D_still.ndim == 2 else now.D_still[columns]
    short = still * fade - drop[::last]
    rate = now.rate[::last][:, columns]
    width, least = high - low, _LEAST_RATE * circuit.V[columns]
    reach = np.where(trial.moving[columns], 0.25 * width, 0.0)
    begin = np.minimum(short[0] / np.maximum(rate[0], least), reach)
    begin = np.maximum(begin, np.maximum(-reach, -EDGE - low))
    end = np.maximum(short[-1] / np.minimum(rate[-1], -least), -reach)
    end = np.minimum(end, np.minimum(reach, EDGE - high))
    near = np.maximum(np.abs(begin), np.abs(end)) < _FITS * width
    return 0.5 * (begin + end) + (0.5 * (end - begin)) * circuit.mesh.unit, fade, near
