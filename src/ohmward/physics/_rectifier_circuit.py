"""The circuit behind a capacitor-input rectifier, and the three laws of its load.

Symbols, shared by the ``_rectifier_*`` modules. Angles are of the mains cycle [rad], counted from the
crest of the half-cycle in question.

=========  ==================================================================================
``V``      amplitude of the source in this half-cycle [V]
``R0``     resistance of source and diodes in this half-cycle [Ω]
``VT``     emission × thermal voltage × diodes in series [V]
``Is``     saturation current [A]
``leak``   reverse current through all blocked paths, as seen by the reservoir [A]
``a``      1/(ωC), volts a radian and ampere [Ω]
``esr``    of the reservoir [Ω]
``U0``     ln(Is / 1 A), which is U at no bias
``U``      ln(J / 1 A), with J = Is·exp(u) and u the junction voltage over ``VT``
``J``      forward part of the diode current [A]; the diode carries J − Is
``v``      voltage of the capacitor proper [V]
``vo``     voltage at the load terminals [V]
``G``      dv/dθ = a·(J − leak − load current) [V/rad]
=========  ==================================================================================

Kirchhoff's laws in those symbols, exact for the logarithmic diode of Shockley::

    vo = V·cos θ − VT·(U − U0) − R0·(J − Is)
    v  = vo − esr·(J − leak − load(vo))
    dv/dθ = a·(J − leak − load(vo))
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Protocol, Self

import numpy as np
import numpy.typing as npt

from ohmward.physics._rectifier_mesh import Array, Mesh, as_single

Mask = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]

SERIES_DIODES = {"bridge": 2, "centre-tap": 1, "half-wave": 1}


class Load(Protocol):
    """What hangs on the terminals; every array has one column a window."""

    @property
    def value(self) -> Array:
        """Current, resistance or power of each column."""

    def take(self, columns: Index) -> Self:
        """Return the load of some columns."""

    def single(self) -> Self:
        """Return the load in single precision."""

    def current(self, vo: Array) -> Array:
        """Return the load current [A] at terminal voltage `vo`."""

    def slope(self, vo: Array) -> Array | None:
        """Return d(current)/d(vo) [S]; None where it is nought."""

    def bend(self, vo: Array) -> Array | None:
        """Return d²(current)/d(vo)² [S/V]; None where it is nought."""

    def lowest(self, circuit: Circuit) -> Array:
        """Return the terminal voltage at and below which the rail has collapsed [V]."""

    def decay(self, circuit: Circuit, v: Array, angle: Array) -> tuple[Array, Array]:
        """Return the capacitor voltage `angle` after `v` with all diodes blocked, and d(end)/d(v)."""

    def terminal(self, circuit: Circuit, v: Array) -> Array:
        """Return the terminal voltage with all diodes blocked."""


_ARRAYS = ("V", "R0", "VT", "Is", "U0", "leak", "a", "esr")


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """Columns of independent windows of conduction; every array has shape (columns,).

    Column ``m·designs + d`` is half-cycle `m` of design `d`; one half stands for both where they are
    alike, so ``halves`` is 1 or 2. ``period`` is the angle from one window to the next of the same column.
    """

    V: Array
    R0: Array
    VT: Array
    Is: Array
    U0: Array
    leak: Array
    a: Array
    esr: Array
    load: Load
    halves: int
    period: float
    mesh: Mesh

    @property
    def designs(self) -> int:
        """How many designs the columns make up."""
        return self.V.size // self.halves

    def take(self, designs: Index) -> Circuit:
        """Return the circuit of some designs."""
        columns = self.columns(designs)
        arrays: dict[str, Any] = {name: getattr(self, name)[columns] for name in _ARRAYS}
        return replace(self, load=self.load.take(columns), **arrays)

    def single(self) -> Circuit:
        """Return the circuit in single precision."""
        arrays: dict[str, Any] = {name: as_single(getattr(self, name)) for name in _ARRAYS}
        return replace(self, load=self.load.single(), mesh=self.mesh.single or self.mesh, **arrays)

    def columns(self, designs: Index) -> Index:
        """Return the columns of some designs."""
        return np.concatenate([designs + half * self.designs for half in range(self.halves)])


@dataclass(frozen=True, slots=True)
class ConstantCurrent:
    """A linear regulator or an electronic load; `value` in amperes."""

    value: Array

    def take(self, columns: Index) -> ConstantCurrent:
        """Return the load of some columns."""
        return ConstantCurrent(self.value[columns])

    def single(self) -> ConstantCurrent:
        """Return the load in single precision."""
        return ConstantCurrent(as_single(self.value))

    def current(self, vo: Array) -> Array:
        """Return the load current [A]; broadcasts against `vo`."""
        return self.value

    def slope(self, vo: Array) -> Array:
        """Return nought [S]."""
        return np.zeros_like(self.value)

    def bend(self, vo: Array) -> None:
        """Return None: a straight law."""

    def lowest(self, circuit: Circuit) -> Array:
        """Return nought: the load turns round no current."""
        return np.zeros_like(circuit.V)

    def decay(self, circuit: Circuit, v: Array, angle: Array) -> tuple[Array, Array]:
        """Return a straight line's end and its slope."""
        return v - circuit.a * (circuit.leak + self.value) * angle, np.ones_like(v)

    def terminal(self, circuit: Circuit, v: Array) -> Array:
        """Return `v` less the drop in the ESR."""
        return v - circuit.esr * (circuit.leak + self.value)


@dataclass(frozen=True, slots=True)
class Resistance:
    """A resistor; `value` in ohms."""

    value: Array

    def take(self, columns: Index) -> Resistance:
        """Return the load of some columns."""
        return Resistance(self.value[columns])

    def single(self) -> Resistance:
        """Return the load in single precision."""
        return Resistance(as_single(self.value))

    def current(self, vo: Array) -> Array:
        """Return vo/R [A]."""
        return vo / self.value

    def slope(self, vo: Array) -> Array:
        """Return 1/R [S]."""
        return 1 / self.value

    def bend(self, vo: Array) -> None:
        """Return None: a straight law."""

    def lowest(self, circuit: Circuit) -> Array:
        """Return nought: the load turns round no current."""
        return np.zeros_like(circuit.V)

    def decay(self, circuit: Circuit, v: Array, angle: Array) -> tuple[Array, Array]:
        """Return an exponential's end, with time constant C·(R + ESR), towards −leak·R."""
        kept = np.exp(-circuit.a / (self.value + circuit.esr) * angle)
        end = -circuit.leak * self.value
        return end + (v - end) * kept, kept

    def terminal(self, circuit: Circuit, v: Array) -> Array:
        """Return the divider of ESR and load."""
        return self.value / (self.value + circuit.esr) * (v - circuit.esr * circuit.leak)


FLOOR = 0.05
"""A constant-power load draws constant current below this share of the source amplitude, so that the
search stays finite; a steady state that goes there has collapsed."""


@dataclass(frozen=True, slots=True)
class ConstantPower:
    """A switching load; `value` in watts, `floor` the voltage [V] under which the law is cut off."""

    value: Array
    floor: Array

    def take(self, columns: Index) -> ConstantPower:
        """Return the load of some columns."""
        return ConstantPower(self.value[columns], self.floor[columns])

    def single(self) -> ConstantPower:
        """Return the load in single precision."""
        return ConstantPower(as_single(self.value), as_single(self.floor))

    def current(self, vo: Array) -> Array:
        """Return P/vo [A]."""
        return self.value / np.maximum(vo, self.floor)

    def slope(self, vo: Array) -> Array:
        """Return −P/vo² [S]; nought below the floor."""
        return np.where(vo > self.floor, -self.value / np.square(np.maximum(vo, self.floor)), 0.0)

    def bend(self, vo: Array) -> Array:
        """Return 2·P/vo³ [S/V]; nought below the floor."""
        return np.where(vo > self.floor, 2 * self.value / np.maximum(vo, self.floor) ** 3, 0.0)

    def lowest(self, circuit: Circuit) -> Array:
        """Return the floor, or √(ESR·P), where less voltage would mean no more current from the capacitor."""
        return 1.01 * np.maximum(self.floor, np.sqrt(circuit.esr * self.value))

    def decay(self, circuit: Circuit, v: Array, angle: Array) -> tuple[Array, Array]:
        """Return where the stored energy left by the load puts the capacitor.

        From C·dv/dt = −P/vo and v = vo + ESR·P/vo: vo²/2 − ESR·P·ln vo falls by P·t/C. The leakage is
        taken as power at the mean voltage, which leaves an error of leakage × ripple².
        """
        start = np.maximum(self.terminal(circuit, v), self.floor)
        fall, leak, b = circuit.a * angle, circuit.leak, circuit.esr * self.value
        least_square = np.maximum(1.002 * b, np.square(self.floor))
        # Below √b the terminals would climb as the current falls: there is no way down from there.
        vo = np.sqrt(np.maximum(np.square(start) - 2 * fall * (self.value + leak * start), least_square))
        for _ in range(4):
            miss = 0.5 * (np.square(vo) - np.square(start)) - b * np.log(vo / start)
            miss += fall * (self.value + 0.5 * leak * (vo + start))
            square = np.square(vo)
            vo = vo - miss * vo / np.maximum(square - b + 0.5 * fall * leak * vo, 1e-6 * square)
            vo = np.maximum(vo, np.sqrt(least_square))
        return vo + circuit.esr * (leak + self.value / vo), start / vo

    def terminal(self, circuit: Circuit, v: Array) -> Array:
        """Return the upper root of vo + ESR·(leak + P/vo) = v."""
        s = v - circuit.esr * circuit.leak
        return 0.5 * (s + np.sqrt(np.maximum(np.square(s) - 4 * circuit.esr * self.value, 0.0)))
