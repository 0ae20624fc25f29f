"""What the readings mean. Pure: no files, clocks or state.

Names and modules below are loaded when they are first used, so that importing the package costs
nothing: ``analysis.decide(...)``, ``analysis.fits.straight_line(...)``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ohmward.analysis.decision import Decision, conformance_probability, decide
    from ohmward.analysis.judgement import judge

__all__ = ["Decision", "conformance_probability", "decide", "judge"]

_HOME = {
    "Decision": "decision",
    "conformance_probability": "decision",
    "decide": "decision",
    "judge": "judgement",
}
_MODULES = frozenset(
    {
        "assessment",
        "characterise",
        "decision",
        "diagnose",
        "fits",
        "halves",
        "judgement",
        "least_squares",
        "load_effect",
        "regulation",
        "rails",
        "ripple",
        "soak",
        "soak_outlook",
        "soaks",
        "stability",
        "trend",
        "uncertainty",
    }
)


def __getattr__(name: str) -> object:
    """Load a public name, or a module of the package, when it is first used."""
    if name in _HOME:
        return getattr(import_module(f"ohmward.analysis.{_HOME[name]}"), name)
    if name in _MODULES:
        return import_module(f"ohmward.analysis.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
