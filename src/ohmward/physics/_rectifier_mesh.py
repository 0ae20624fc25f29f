"""The nodes of a window of conduction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

POWERS = 7
"""Terms of the power series of sine and cosine, and their coefficients."""
EVEN = (-1.0) ** np.arange(POWERS) / np.cumprod([1.0, *(k * (k - 1) for k in range(2, 2 * POWERS, 2))])
ODD = EVEN / (2 * np.arange(POWERS) + 1)


@dataclass(frozen=True, slots=True)
class Mesh:
    """Nodes of a window of half-width one, crowded towards its ends, and what follows from them."""

    unit: Array
    """Chebyshev's extrema −cos(π·j/(nodes − 1)), shape (nodes, 1)."""
    spacing: Array
    """Distance of each node from the next, shape (nodes − 1, 1)."""
    squared: Array
    series: Array
    """Powers of `unit`, for `source`."""
    middle: Array
    slope: Array
    """The rule the steps are made with, summed up: weights of a function and of its derivative."""
    stiff: float
    """More nodes are wanted where `stiffness` exceeds this."""

    @property
    def last(self) -> int:
        """Index of the last node."""
        return len(self.unit) - 1


def mesh(nodes: int, stiff: float) -> Mesh:
    """Return a mesh of so many nodes."""
    unit = -np.cos(np.pi * np.arange(nodes) / (nodes - 1))
    spacing = np.diff(unit)
    square = np.square(spacing)
    return Mesh(
        unit=unit[:, None],
        spacing=spacing[:, None],
        squared=square[:, None],
        series=unit[:, None] ** np.arange(2 * POWERS),
        middle=0.5 * (np.append(spacing, 0.0) + np.append(0.0, spacing)),
        slope=(np.append(square, 0.0) - np.append(0.0, square)) / 12,
        stiff=stiff,
    )


MESHES = (mesh(16, 10.0), mesh(48, 80.0), mesh(128, np.inf))
"""The first serves supplies; the others small reservoirs behind little resistance. Against 192 nodes, over
wide random designs: mean within 0.012 %, ripple 0.2 %, RMS currents 0.04 % with the first."""
