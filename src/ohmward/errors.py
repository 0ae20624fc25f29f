"""Everything that ohmward refuses, by whose fault it is and what to do next.

One base; each subclass fixes the exit code of DESIGN section 3. The text of an error is ready for a
person: one line a mistake, naming the file, the field, the value and the mend.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Literal

from ohmward.text import visible


class Exit(IntEnum):
    """Exit codes of every command."""

    DONE = 0
    OUT_OF_TOLERANCE = 1
    """Done, and something is out of tolerance (`assess --strict`, `verify` of a damaged log)."""
    BAD_INPUT = 2
    """The input or the command line is wrong."""
    UNREACHABLE = 3
    """A meter or a file could not be reached."""


Sort = Literal["", "missing", "form", "unknown", "twice", "untapped"]
"""Sorts of mistakes that a front end has words of its own for, as what to write is not what a file wants:
something needed is missing; a value is not of the form wanted there; the field is not known; several have
one name; a winding is not said to have a tap. Empty: the words of the mistake do everywhere."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistake:
    """One thing wrong with what a person gave us, and its mend."""

    where: str
    """File (with line where known), or command-line option."""
    field: str
    """Dotted path inside it, such as ``rail[+15].reservoir.capacitance``; empty for the whole."""
    value: str
    """What was found, as written; empty when it is missing."""
    why: str
    mend: str
    """As in a file."""
    sort: Sort = ""

    def __str__(self) -> str:
        place = ": ".join(part for part in (self.where, self.field) if part)
        found = f" is '{self.value}'" if self.value else ""
        return visible(f"{place}{found}: {self.why}. {self.mend}")


class OhmwardError(Exception):
    """Base of every error a person may be shown; the text needs no traceback beside it."""

    exit_code: Exit = Exit.BAD_INPUT


class InputError(OhmwardError):
    """Input that cannot be taken: all its mistakes at once."""

    def __init__(self, mistakes: Sequence[Mistake]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__("\n".join(str(mistake) for mistake in self.mistakes))


class Refused(OhmwardError):
    """A gate said no; nothing was recorded and the state is unchanged.

    Attributes
    ----------
    gate : str
        Which law refused, a short stable word such as ``danger-open`` or ``not-live``.
    reasons : tuple of str
        Each thing that stands in the way, in words.
    mend : str
        What to do next.
    """

    def __init__(self, gate: str, reasons: Sequence[str], mend: str) -> None:
        self.gate = gate
        self.reasons = tuple(reasons)
        self.mend = mend
        super().__init__(visible(f"{'; '.join(self.reasons)}. {mend}"))


class Unreachable(OhmwardError):
    """A file, folder or meter that could not be reached."""

    exit_code = Exit.UNREACHABLE


class Damaged(OhmwardError):
    """A journal whose bytes are not what the tool wrote."""

    exit_code = Exit.OUT_OF_TOLERANCE
