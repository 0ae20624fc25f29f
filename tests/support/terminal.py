"""A program in a terminal of its own: keys typed at it, what it shows, and when that came."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import struct
import subprocess
import termios
import time
from collections.abc import Callable, Mapping, Sequence
from types import TracebackType
from typing import Self

import pyte

UP, DOWN, ESCAPE, ENTER = "\x1b[A", "\x1b[B", "\x1b", "\r"


class _Screen(pyte.Screen):
    """What is asked of the terminal is answered by nobody."""

    def report_device_attributes(self, *_: object, **__: object) -> None:
        """Nothing."""

    def select_graphic_rendition(self, *attrs: int, **_: object) -> None:
        super().select_graphic_rendition(*attrs)


class Terminal:
    """A program that runs in a pseudo-terminal.

    Parameters
    ----------
    argv : sequence of str
    size : tuple of int
        Columns and rows.
    env : mapping, optional
        Added to the environment.
    """

    def __init__(
        self, argv: Sequence[str], *, size: tuple[int, int] = (80, 24), env: Mapping[str, str] | None = None
    ) -> None:
        self._ours, theirs = pty.openpty()
        self._screen = _Screen(*size)
        self._stream = pyte.ByteStream(self._screen)
        self._set_size(*size)
        around = {key: value for key, value in os.environ.items() if key not in {"COLUMNS", "LINES"}}
        self.began = time.monotonic()
        self.process = subprocess.Popen(
            argv, stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True,
            preexec_fn=_own,  # noqa: PLW1509 nothing of ours runs in threads here
            env={**around, "TERM": "xterm-256color", **(env or {})},
        )  # fmt: skip
        os.close(theirs)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(10)
        self.hang_up()

    def _set_size(self, columns: int, rows: int) -> None:
        fcntl.ioctl(self._ours, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))

    def resize(self, columns: int, rows: int) -> None:
        """Give the terminal another size; the program is told, as by a window that is dragged."""
        self._screen.resize(rows, columns)
        self._set_size(columns, rows)

    def type(self, text: str) -> None:
        """Type text or keys."""
        os.write(self._ours, text.encode())

    def read(self, seconds: float = 0.05) -> float | None:
        """Take in what is written within some time; return when it came, None where nothing did."""
        if self._ours < 0 or not select.select([self._ours], [], [], seconds)[0]:
            return None
        at = time.monotonic()
        try:
            data = os.read(self._ours, 1 << 16)
        except OSError:  # the other end is closed
            data = b""
        if not data:
            time.sleep(0.01)
            return None
        self._stream.feed(data)
        return at

    @property
    def shown(self) -> str:
        """The screen, a line each."""
        return "\n".join(line.rstrip() for line in self._screen.display)

    def until(self, met: str | Callable[[str], bool], seconds: float = 30.0) -> float:
        """Read until the screen shows a text, or is as asked; return when that came.

        Raises
        ------
        AssertionError
            When it does not in time.
        """
        asked = (lambda shown: met in shown) if isinstance(met, str) else met
        ends = time.monotonic() + seconds
        at: float | None = time.monotonic()
        while not (at is not None and asked(self.shown)):
            if time.monotonic() > ends or (at is None and self.process.poll() is not None):
                raise AssertionError(f"'{met}' is not shown:\n{self.shown}")
            at = self.read()
        return at

    def answer(self, question: str, keys: str, seconds: float = 30.0) -> None:
        """Wait for a text, then type."""
        self.until(question, seconds)
        self.quiet(0.1, 1.0)
        self.type(keys)

    def quiet(self, seconds: float = 0.3, most: float = 5.0) -> None:
        """Read until nothing is written for a while."""
        ends = time.monotonic() + most
        while self.read(seconds) is not None and time.monotonic() < ends:
            pass

    def hang_up(self) -> None:
        """Take the terminal away, as a connection that breaks does."""
        if self._ours >= 0:
            os.close(self._ours)
            self._ours = -1

    def wait(self, seconds: float = 30.0) -> int:
        """Wait until the program has ended; return its exit code."""
        ends = time.monotonic() + seconds
        while self.process.poll() is None and time.monotonic() < ends:
            self.read()
        return self.process.wait(1.0)


def _own() -> None:
    """Make the terminal the controlling one, so that its hanging up is told."""
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
