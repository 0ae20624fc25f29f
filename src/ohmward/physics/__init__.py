"""What the supply ought to do, computed from its design sheet. Pure: no files, clocks or state.

Names are imported on first use, so that importing a neighbour costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ohmward.physics.condition import Condition, Unit
    from ohmward.physics.curves import load_curve, one_cycle
    from ohmward.physics.expectation import Band, Expectation
    from ohmward.physics.faults import FAULTS, apply
    from ohmward.physics.readings import expect
    from ohmward.physics.rectifier import Diode, steady_state
    from ohmward.physics.simulation import simulate

__all__ = [
    "FAULTS",
    "Band",
    "Condition",
    "Diode",
    "Expectation",
    "Unit",
    "apply",
    "expect",
    "load_curve",
    "one_cycle",
    "simulate",
    "steady_state",
]

_HOMES = {
    "FAULTS": "faults",
    "Band": "expectation",
    "Condition": "condition",
    "Diode": "rectifier",
    "Expectation": "expectation",
    "Unit": "condition",
    "apply": "faults",
    "expect": "readings",
    "load_curve": "curves",
    "one_cycle": "curves",
    "simulate": "simulation",
    "steady_state": "rectifier",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        value = getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
