"""Questions to one instrument and their answers, kept in step: a late reply never passes for another.

**Stamps.** On opening the instrument is asked whether it takes several commands on one line and echoes
``*ESE`` (IEEE 488.2, 10.10 and 10.11, mandatory; from memory). If so, each question carries a number that
comes back with its answer: ``*ESE 37;:READ?;*ESE?`` is answered ``12.04;37``. A late, doubled or halved
reply then cannot pass for the answer, whatever the cable or the network did. The register only chooses
which events raise a service request, which is not used here.

**Fences.** An instrument that takes one command a line only is told a number by ``*ESE``, and asked for it,
behind every question; one that does not echo it at all is asked who it is. The answer to the question stands
only when the number, or the identity, follows, and nothing else: no answer to another question looks like it.
On a line that keeps the order, one reply too many, or one too few, shifts the answers by one and is found
out, however late it comes. What remains: within one question a reply to an earlier one comes late *and* its
own reply is lost on the way, both. Then one number stands for another, and nothing shows it. An identity,
which is always the same, shows less than a number: also an earlier reply *and* an earlier identity, both
come a second time, in this order and before the instrument's own, pass it.
"""

from __future__ import annotations

from typing import Literal

from ohmward.bench.commands import rooted
from ohmward.bench.profile import Profile
from ohmward.bench.reply import ReplyError, bare, quoted
from ohmward.bench.transport import NoAnswer, Transport
from ohmward.errors import Exit, OhmwardError

_PROBES = (0x55, 0xAA)
_STAMPS = 255
_Numbers = Literal["in line", "behind", "nowhere"]
_NEXT: dict[_Numbers, _Numbers] = {"in line": "behind", "behind": "nowhere"}
_TRIES: dict[_Numbers, int] = {"in line": 4, "behind": 2}
"""Faults on the line at the first tries must not cost the stamps for good: they are quicker than fences, and
surer."""
_SURE = 3
"""A try after which the line was not in step either says less than one after which it was, by so much."""


class NoStamp(OhmwardError):
    """It did not echo the number on opening: open it again, it will be tried once more or done without."""

    exit_code = Exit.UNREACHABLE


class InStep:
    """One line to one instrument, with questions that know their answers.

    Parameters
    ----------
    transport : Transport
    profile : Profile
    """

    def __init__(self, transport: Transport, profile: Profile) -> None:
        self.transport = transport
        self.profile = profile
        self._numbers: _Numbers = "in line" if profile.stamps else "nowhere"
        """Where a question carries a number that comes back: tried there until it is `_sure` or given up."""
        self._sure = False
        self._missed = 0
        """How surely it did not come back there."""
        self._stamp = 0
        self._found = ""
        """What it called itself when it was opened."""

    @property
    def stamped(self) -> bool:
        """Whether each question carries a stamp."""
        return self._numbers == "in line" and self._sure

    @property
    def numbered(self) -> bool:
        """Whether its event status enable register is used for numbers, or that is still tried."""
        return self._numbers != "nowhere"

    def query(self, line: str, timeout_s: float) -> bytes:
        """Ask one line and return its answer, and nothing else."""
        if self._numbers != "in line":
            reply = self.ask_bare(line, timeout_s)
            self._fence(reply)
            return reply
        stamp = self._next()
        self.transport.write(f"*ESE {stamp};{rooted(line)};*ESE?")
        return self._unstamped(self.transport.read_line(timeout_s), stamp)

    def block(self, ask: str, timeout_s: float) -> bytes:
        """Ask one line and return the payload of the block that answers it, and nothing else."""
        if self._numbers != "in line":
            self._clean()
            self.transport.write(ask)
            payload, rest = self.transport.read_block(timeout_s)
            if rest.removesuffix(b"\r"):
                raise ReplyError(rest, "came behind the block")
            self._fence(rest)
            return payload
        stamp = self._next()
        self.transport.write(f"*ESE {stamp};{rooted(ask)};*ESE?")
        payload, rest = self.transport.read_block(timeout_s)
        if self._unstamped(rest, stamp):
            raise ReplyError(rest, "came behind the block")
        return payload

    def ask_bare(self, line: str, timeout_s: float) -> bytes:
        """Ask one line by itself and return its answer, when nothing else has come."""
        self._clean()
        self.transport.write(line)
        reply = self.transport.read_line(timeout_s)
        self._clean()
        return reply

    def _fence(self, reply: bytes) -> None:
        """Refuse an answer that is not followed by the number or the identity, and nothing else."""
        if self._numbers == "behind":
            stamp = self._next()
            found = self._told_and_asked(stamp)
            if not _echoes(found, stamp):
                raise ReplyError(reply, f"is not followed by {stamp} but by '{quoted(found)}'")
            return
        found = self.ask_bare("*IDN?", self.profile.timeout_s)
        if bare(found) != self._found.encode("ascii"):
            raise ReplyError(reply, f"is not followed by the identity but by '{quoted(found)}'")

    def _clean(self) -> None:
        """Refuse to go on when anything has come that nobody asked for."""
        extra = self.transport.leftover()
        if extra:
            raise ReplyError(extra, "came without having been asked for")

    def _unstamped(self, reply: bytes, stamp: int) -> bytes:
        body, between, mark = reply.removesuffix(b"\r").rpartition(b";")
        if not between or not _echoes(mark, stamp):
            raise ReplyError(reply, f"does not carry the stamp {stamp}: it answers another question")
        return body

    def _next(self) -> int:
        self._stamp = self._stamp % _STAMPS + 1
        return self._stamp

    def get_in_step(self, identity: str) -> None:
        """Find out whether numbers come back; a known answer also proves that the line is in step.

        Parameters
        ----------
        identity : str
            What it has just called itself.

        Raises
        ------
        NoStamp
            When it is to be opened once more.
        """
        self._found = identity
        try:
            if self._numbers == "in line":
                self._echo_in_line()
            elif self._numbers == "behind":
                self._echo_behind()
        except (NoAnswer, ReplyError) as error:
            if self._sure:
                raise
            self._missed += _SURE if self._in_step() else 1
            if self._missed >= _TRIES[self._numbers] * _SURE:
                self._numbers, self._missed = _NEXT[self._numbers], 0
            raise NoStamp(str(error)) from error
        self._sure = True

    def _echo_in_line(self) -> None:
        first, second = _PROBES
        reply = self.ask_bare(f"*ESE {first};*ESE?;*ESE {second};*ESE?", self.profile.timeout_s)
        if reply.replace(b" ", b"").removesuffix(b"\r") != f"{first};{second}".encode():
            raise ReplyError(reply, f"is not {first};{second}, what *ESE was set to")

    def _echo_behind(self) -> None:
        for each in _PROBES:
            reply = self._told_and_asked(each)
            if not _echoes(reply, each):
                raise ReplyError(reply, f"is not {each}, what *ESE was set to")

    def _told_and_asked(self, stamp: int) -> bytes:
        self._clean()
        self.transport.write(f"*ESE {stamp}")
        return self.ask_bare("*ESE?", self.profile.timeout_s)

    def _in_step(self) -> bool:
        """Return whether it answers the next question: then it was the stamp that it did not take.

        Where the line was slow, or this computer was, what comes next is the answer to the stamp.
        """
        try:
            return bare(self.ask_bare("*IDN?", self.profile.timeout_s)) == self._found.encode("ascii")
        except (NoAnswer, ReplyError):
            return False


def _echoes(reply: bytes, stamp: int) -> bool:
    wanted = b"%d" % stamp
    return reply == wanted or bare(reply).lstrip(b"+") == wanted
