"""What a fit warns of: which kind of thing it is, and the words for it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto


class Kind(Enum):
    """What a warning is about."""

    UNTESTED = auto()
    """As many points as parameters."""
    TOO_FEW = auto()
    """Too few points for a line."""
    FURTHER = auto()
    """The points lie further from the line than their uncertainties allow."""
    CLOSER = auto()
    """They agree better than their uncertainties allow."""
    BENT = auto()
    """They follow a curve."""
    KNEE = auto()
    """The output lets go."""
    TOO_GOOD = auto()
    """Better than a supply can be."""
    RISES = auto()
    """The output rises with load."""


@dataclass(frozen=True, slots=True)
class Warned:
    """One warning."""

    kind: Kind
    words: str
