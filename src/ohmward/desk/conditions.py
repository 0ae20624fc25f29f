"""The conditions that an expectation is computed at, as finely as it tells them apart."""

from __future__ import annotations

from ohmward.run.state import RunState

Conditions = tuple[float | None, float | None]
"""Mains voltage [V] and room temperature [°C] last read, as finely as the expectation tells them apart."""


def conditions_of(state: RunState) -> Conditions:
    """Return the conditions of the moment; a change too small to count is none."""
    mains_v, ambient_c = state.condition("mains_v"), state.condition("ambient_c")
    return (None if mains_v is None else round(mains_v, 1), None if ambient_c is None else round(ambient_c))
