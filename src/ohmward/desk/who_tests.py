"""Who tests: asked once, kept for the next run, named anew whenever a person wants it.

The name is only ever one that a person typed or gave; never that by which a computer knows them.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.desk.own_settings import keep, kept, own_file
from ohmward.text import one_line, tester

if TYPE_CHECKING:
    from ohmward.desk.asking import Talks

LABEL = "Who tests (may stay empty)"
ANEW = "Who tests from here on (- for no name)"
_NO_NAME = "-"
_MOST_BYTES = 400


def who_file() -> Path:
    """Return where the name is kept: among the person's own settings."""
    return own_file("operator")


class Who:
    """Who tests in this sitting.

    Parameters
    ----------
    given : str, optional
        Named for this sitting; empty: not given. None: nobody was named, and the name kept counts.
    file : Path, optional
        Where the name typed last is kept; without one it is asked for anew in each sitting.
    """

    def __init__(self, given: str | None = None, *, file: Path | None = None) -> None:
        self._file = file
        self._named = given is not None
        self._name = given if given is not None or file is None else kept(file, _MOST_BYTES)

    @property
    def name(self) -> str:
        """The name as it is recorded; empty where none is given."""
        return "" if self._name is None else one_line(self._name).strip()

    @property
    def known(self) -> bool:
        """Whether a person has said it, be it that no name is given."""
        return self._name is not None

    def take(self, name: str) -> str:
        """Go by what a person typed, and keep it; return why it could not be kept, empty where it was."""
        self._name, self._named = one_line(name).strip(), True
        return keep(self._file, self._name) if self._file is not None else ""

    def going_on(self, last: str) -> Who:
        """Return who goes on with a run that `last` tested: they, but where this sitting has named somebody.

        The name typed last may be of another person, who sat here since.
        """
        return self if self._named or not last or last == self._name else _OfRun(last, self)


class _OfRun(Who):
    """Who tests in one run, by its own records; named anew, it is so for the sitting."""

    def __init__(self, last: str, sitting: Who) -> None:
        super().__init__(last)
        self._sitting = sitting

    def take(self, name: str) -> str:
        """Go by what a person typed, here and in the sitting."""
        self._name = one_line(name).strip()
        return self._sitting.take(name)


def going_on_words(who: Who, sitting: Who, way: str) -> list[str]:
    """Return what is said where a run goes on as somebody whom nobody has named in this sitting.

    `way` is what names another.
    """
    same = who is sitting
    return [] if same else [f"Going on as {who.name}, who tested in this run last; {way} names another."]


async def ask_once(desk: Talks, who: Who) -> bool:
    """Ask who tests where nobody has said it yet; False when the person goes back."""
    if who.known:
        return True
    lines = ["It stands in the record and on the label, and is kept for the next run."]
    said = await desk.ask("Who tests", lines, label=LABEL)
    if said is None:
        return False
    problem = who.take(said)
    if problem:
        await desk.tell("Who tests", [problem])
    return True


async def ask_anew(desk: Talks, who: Who) -> bool:
    """Ask who tests from here on; False when the person goes back, or it is who it was."""
    said = await desk.ask("Who tests", [f"Now: {tester(who.name)}."], label=ANEW, value=who.name)
    if said is None:
        return False
    name = "" if said.strip() == _NO_NAME else one_line(said).strip()
    if who.known and name == who.name:
        return False
    problem = who.take(name)
    if problem:
        await desk.tell("Who tests", [problem])
    return True
