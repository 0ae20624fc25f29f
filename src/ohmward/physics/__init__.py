"""What the supply ought to do, computed from its design sheet. Pure: no files, clocks or state.

Names are imported on first use, so that importing a neighbour costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ohmward.physics.expect import expect

__all__ = ["expect"]

_HOMES = {"expect": "ohmward.physics.expect"}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        value = getattr(import_module(_HOMES[name]), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
