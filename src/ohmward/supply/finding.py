"""A finding: something about a design that a person ought to know before plugging it in."""

from __future__ import annotations

from typing import Any, Literal

import msgspec

Severity = Literal["danger", "fault", "improvement"]


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that a design sheet gives away."""

    field: str
    """Where in the sheet, such as ``rail[+15].reservoir.voltage_rating``."""
    severity: Severity
    text: str
    """In words, with the numbers."""
    basis: str
    """The rule it rests on, and where that comes from."""

    def as_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        return msgspec.structs.asdict(self)
