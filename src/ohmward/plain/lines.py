"""Lines out and lines in: no cursor, no colour, no control character; what a terminal lacks is spelled."""

from __future__ import annotations

import re
import select
import shutil
import textwrap
import threading
from contextlib import suppress
from typing import TextIO

from ohmward.text import visible

try:
    import termios
except ImportError:  # pragma: no cover  not on Linux or macOS
    termios = None  # type: ignore[assignment]

WIDTH, NARROWEST = 80, 20
STOP = "stop"
_MARK = re.compile(r"^(\s*)[•✓✗‼↻»·□■◧–] +")
"""A mark that stands before words which say the same: read aloud it only delays them."""
_SPELLED = {
    "Ω": "ohm", "µ": "u", "°C": "deg C", "°": " deg", "²": "2", "±": "+/-", "≤": "<=", "≥": ">=", "–": "-",
    "−": "-", "×": "x", "…": "...", "·": ";", "≈": "about ", "Δ": "delta ", "τ": "tau ", "′": "'",
    "‘": "'", "’": "'", "“": '"', "”": '"',
}  # fmt: skip
"""For a terminal whose character set has no such sign."""


class Left(BaseException):
    """The person left: end of input, or Ctrl-C at a question. No handler of errors is to keep it."""


class Lines:
    """What is said and what is typed, a line at a time.

    Parameters
    ----------
    into, out : TextIO
        Where lines come from, and where they go.
    """

    def __init__(self, into: TextIO, out: TextIO) -> None:
        self._into, self._out = into, out
        self._turn = threading.Lock()
        self._person = into.isatty()
        self._ahead: list[str] = []
        """Lines of a pipe that were looked at while something ran, and are for the questions after it."""
        columns = shutil.get_terminal_size((WIDTH, 24)).columns if out.isatty() else WIDTH
        self._width = min(max(columns, NARROWEST), WIDTH)

    def say(self, *said: str) -> None:
        """Say each text on lines of its own, wrapped; an empty one is an empty line. Any thread may."""
        with self._turn:
            for text in said:
                for line in visible(text).split("\n") or [""]:
                    self._line(line)
            self._flush()

    def ask(self) -> str:
        """Return the next line typed, without the spaces around it.

        Raises
        ------
        Left
            At the end of input, and on Ctrl-C.
        """
        try:
            if self._person:
                with self._turn:
                    self._write("> ")
                    self._flush()
            line = self._ahead.pop(0) if self._ahead else self._into.readline()
        except (KeyboardInterrupt, OSError) as error:
            self.say("")
            raise Left from error
        if not line:
            raise Left
        text = line.strip()
        if not self._person:
            self.say(f"> {text}")
        return text

    def stop_typed(self) -> str | None:
        """Return a line by which what runs is to be stopped; None where there is none. It never waits.

        Of a person any line stops it, Enter alone too. A pipe holds lines for later: there only the word
        `STOP` does. Where a system cannot look without waiting, Ctrl-C is what is left.
        """
        if self._ahead:
            return None  # the next line is for a question
        try:
            waiting = select.select([self._into.fileno()], [], [], 0)[0]
        except (OSError, ValueError):
            return None
        if not waiting:
            return None
        line = self._into.readline()
        text = line.strip().lower()
        if line and (self._person or text == STOP):
            return text
        self._ahead.append(line)
        return None

    def forget(self) -> None:
        """Let go of what a person typed while nothing was asked: it answers no question that comes after."""
        if self._person and termios is not None:
            with suppress(OSError, termios.error):
                termios.tcflush(self._into.fileno(), termios.TCIFLUSH)

    def _line(self, text: str) -> None:
        shown = "".join(char if char.isprintable() else " " if char.isspace() else "" for char in text)
        spoken = _MARK.sub(r"\1", shown).replace(" · ", "; ").rstrip()
        indent = " " * min(len(spoken) - len(spoken.lstrip()), 4)
        wrapped = textwrap.wrap(
            self._fitting(spoken.strip()),
            self._width,
            initial_indent=indent,
            subsequent_indent=f"{indent}  ",
            break_on_hyphens=False,
        )
        for line in wrapped or [""]:
            self._write(f"{line}\n")

    def _fitting(self, text: str) -> str:
        """Return text that the terminal's character set holds."""
        encoding = self._out.encoding or "utf-8"
        try:
            text.encode(encoding)
        except UnicodeEncodeError:
            for sign, spelled in _SPELLED.items():
                text = text.replace(sign, spelled)
            return text.encode(encoding, "replace").decode(encoding)
        return text

    def _write(self, text: str) -> None:
        try:
            self._out.write(text)
        except BrokenPipeError:
            raise
        except OSError as error:  # a line that has gone away
            raise BrokenPipeError(*error.args) from error

    def _flush(self) -> None:
        try:
            self._out.flush()
        except BrokenPipeError:
            raise
        except OSError as error:
            raise BrokenPipeError(*error.args) from error
