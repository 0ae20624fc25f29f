"""What the readings mean. Pure: no files, clocks or state.

The names below are loaded when they are first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ohmward.analysis.decision import Decision, conformance_probability, decide

__all__ = ["Decision", "conformance_probability", "decide"]

_HOME = {
    "Decision": "decision",
    "conformance_probability": "decision",
    "decide": "decision",
}


def __getattr__(name: str) -> object:
    """Load a public name from its module."""
    if name in _HOME:
        return getattr(import_module(f"ohmward.analysis.{_HOME[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
