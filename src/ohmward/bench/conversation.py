"""One instrument spoken to by one thread: opening, asking, telling, leaving.

Whatever is raised here but `InstrumentRefused` and `NoReading` means that the session is no longer to be
trusted: the caller closes it and opens another (`session`). Nothing is tried again here.

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

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from ohmward.bench.commands import filled, rooted
from ohmward.bench.profile import Capturing, Measure, Profile, Setting
from ohmward.bench.reply import (
    ErrorEntry,
    Number,
    ReplyError,
    bare,
    error_entry,
    identity,
    number,
    numbers,
    quoted,
    samples,
    value_of,
)
from ohmward.bench.transport import NoAnswer, Transport
from ohmward.errors import Exit, OhmwardError
from ohmward.quantity import Value
from ohmward.text import one_line

DRAIN_LIMIT = 30
"""Entries of the error queue read before it is said to have no end."""
_PROBES = (0x55, 0xAA)
_STAMPS = 255
_Numbers = Literal["in line", "behind", "nowhere"]
_NEXT: dict[_Numbers, _Numbers] = {"in line": "behind", "behind": "nowhere"}
_TRIES: dict[_Numbers, int] = {"in line": 4, "behind": 2}
"""Faults on the line at the first tries must not cost the stamps for good: they are quicker than fences, and
surer."""
_SURE = 3
"""A try after which the line was not in step either says less than one after which it was, by so much."""


class WrongInstrument(OhmwardError):
    """Another instrument answers there than the one that was expected."""

    exit_code = Exit.UNREACHABLE


class NoStamp(OhmwardError):
    """It did not echo the number on opening: open it again, it will be tried once more or done without."""

    exit_code = Exit.UNREACHABLE


class InstrumentRefused(OhmwardError):
    """The instrument understood, and would not.

    Attributes
    ----------
    entries : tuple of ErrorEntry
        What its error queue said.
    """

    exit_code = Exit.UNREACHABLE

    def __init__(self, text: str, entries: Sequence[ErrorEntry] = ()) -> None:
        self.entries = tuple(entries)
        super().__init__(text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A waveform as it came: samples already scaled to the unit."""

    values: tuple[float, ...]
    unit: str
    interval_s: float


class Conversation:
    """Opens nothing until `open`.

    Parameters
    ----------
    transport : Transport
    profile : Profile
    expected : str
        What ``*IDN?`` has to answer; empty: whatever it answers first is expected from then on.
    wait : callable
        Waits so many seconds (settling).
    """

    def __init__(
        self,
        transport: Transport,
        profile: Profile,
        *,
        expected: str = "",
        wait: Callable[[float], object] = time.sleep,
    ) -> None:
        self.transport = transport
        self.profile = profile
        self.expected = expected
        self._numbers: _Numbers = "in line" if profile.stamps else "nowhere"
        """Where a question carries a number that comes back: tried there until it is `_sure` or given up."""
        self._sure = False
        self._found = ""
        """What it called itself when it was opened."""
        self._wait = wait
        self._stamp = 0
        self._missed = 0
        """How surely it did not come back there."""
        self._prepared: tuple[str, ...] = ()
        self._asked: tuple[Measure, str, float | None, tuple[str, ...], str] | None = None

    @property
    def stamped(self) -> bool:
        """Whether each question carries a stamp."""
        return self._numbers == "in line" and self._sure

    def open(self) -> tuple[ErrorEntry, ...]:
        """Connect, check the identity, clear the instrument; return what its error queue held before.

        Raises
        ------
        WrongInstrument
            When another one answers.
        NoStamp
            When it is to be opened once more.
        Unreachable, ReplyError
            When it does not answer as it should.
        """
        self.transport.open()
        self._prepared = ()
        found = identity(self._ask_bare("*IDN?", self.profile.timeout_s))
        if self.expected and found != self.expected:
            raise WrongInstrument(
                f"{self.transport.where}: '{one_line(found)}' answers where '{one_line(self.expected)}' is"
                " expected. Check the address and the cable, or mend idn = … in meters.toml"
            )
        self._found = found
        self._probe()
        stale = self.drain()
        self.expected = found
        for command in self.profile.opening:
            self.tell(command)
        return stale

    def measure(
        self, what: Measure, channel: str = "", top: float | None = None, volts: float | None = None
    ) -> Value:
        """Take one reading, in the unit of `what`; `volts` is the test voltage, where it applies one.

        Raises
        ------
        NoReading
            When the instrument says that it has none.
        """
        wanted, ask = self._commands(what, channel, volts)
        if wanted != self._prepared:
            self.prepare(wanted, what.settling_s)
        reply = self.query(ask, what.timeout_s)
        return _scaled(self._pick(what, reply), what, reply, top)

    def _commands(self, what: Measure, channel: str, volts: float | None) -> tuple[tuple[str, ...], str]:
        """Return what comes before a question, and the question; kept, as the next is mostly the same."""
        kept = self._asked
        if kept is None or kept[0] is not what or kept[1] != channel or kept[2] != volts:
            wanted = tuple(filled(each, channel, volts=volts) for each in what.prepare)
            kept = self._asked = (what, channel, volts, wanted, filled(what.ask, channel, volts=volts))
        return kept[3], kept[4]

    def prepare(self, wanted: tuple[str, ...], settling_s: float) -> None:
        """Tell what comes before a question, unless that was told last, and let it settle."""
        if not wanted or wanted == self._prepared:
            return
        self._prepared = ()
        for each in wanted:
            self.tell(each)
        self._prepared = wanted
        self._wait(settling_s)

    def set(self, what: Setting, value: float, channel: str = "") -> None:
        """Set a quantity [its unit] and see that it took.

        Raises
        ------
        InstrumentRefused
            When it did not.
        """
        self.tell(filled(what.tell, channel, value=value))
        if what.confirm:
            back = self._exact(what.confirm, channel)
            if abs(back - value) > what.tolerance + 1e-9 * abs(value):
                raise InstrumentRefused(
                    f"{self.transport.where}: {what.name} set to {value:g} {what.unit}, and it says {back:g}"
                )
        self._wait(what.settling_s)

    def switch(self, *, on: bool, channel: str = "") -> None:
        """Switch its output (or a load's input) and see that it did."""
        output = self.profile.output
        if output is None:
            return
        for each in output.on if on else output.off:
            self.tell(filled(each, channel))
        if output.confirm and self._exact(output.confirm, channel) != float(on):
            raise InstrumentRefused(
                f"{self.transport.where}: told to switch {'on' if on else 'off'}, and it did not"
            )

    def leave(self) -> None:
        """Tell it what it must be told on leaving."""
        for each in self.profile.leaving:
            self.tell(each)
        if self._numbers != "nowhere":
            self.tell("*ESE 0")

    def waveform(self, how: Capturing, channel: str = "") -> Block:
        """Hand over one waveform."""
        self._prepared = ()
        for each in how.prepare:
            self.tell(filled(each, channel), how.timeout_s)
        interval = self._exact(how.interval, channel)
        if not 0 < interval < 1e6:
            raise ReplyError(str(interval).encode(), "is no time between two samples")
        ask = filled(how.ask, channel)
        if how.form == "ascii":
            reply = self.query(ask, how.timeout_s)
            found = tuple(_plain(each, reply) for each in numbers(reply))
        else:
            found = samples(self._block(ask, how.timeout_s), how.form)
        if how.form.startswith(("int", "uint")):
            gain = self._exact(how.gain, channel) if how.gain else 1.0
            offset = self._exact(how.offset, channel) if how.offset else 0.0
            found = tuple(gain * each + offset for each in found)
        return Block(values=found, unit=how.unit, interval_s=interval)

    def tell(self, command: str, timeout_s: float | None = None) -> None:
        """Send a command and see from the error queue that it was taken.

        Raises
        ------
        InstrumentRefused
            When the error queue says otherwise; it is empty then.
        """
        limit = self.profile.timeout_s if timeout_s is None else timeout_s
        question = self.profile.error or "*OPC?"
        # a line of its own: after a command error the rest of a line is thrown away (488.2, 6.1.6)
        self.transport.write(command)
        reply = self.query(question, limit)
        if not self.profile.error:
            if number(reply).number != 1:
                raise ReplyError(reply, "is not the 1 that *OPC? answers")
            return
        entry = error_entry(reply)
        if entry.code != 0:
            entries = (entry, *self.drain())
            said = "; ".join(str(each) for each in entries[:3])
            raise InstrumentRefused(f"{self.transport.where}: '{command}' was refused: {said}", entries)

    def drain(self) -> tuple[ErrorEntry, ...]:
        """Read the error queue empty.

        Raises
        ------
        ReplyError
            When it has no end.
        """
        found: list[ErrorEntry] = []
        while self.profile.error:
            entry = error_entry(self.query(self.profile.error, self.profile.timeout_s))
            if entry.code == 0:
                break
            found.append(entry)
            if len(found) >= DRAIN_LIMIT:
                raise ReplyError(str(entry).encode(), f"still comes after {DRAIN_LIMIT} entries of the queue")
        return tuple(found)

    def query(self, line: str, timeout_s: float) -> bytes:
        """Ask one line and return its answer, and nothing else."""
        if self._numbers != "in line":
            reply = self._ask_bare(line, timeout_s)
            self._fence(reply)
            return reply
        stamp = self._next()
        self.transport.write(f"*ESE {stamp};{rooted(line)};*ESE?")
        return self._unstamped(self.transport.read_line(timeout_s), stamp)

    def _block(self, ask: str, timeout_s: float) -> bytes:
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

    def _ask_bare(self, line: str, timeout_s: float) -> bytes:
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
        found = self._ask_bare("*IDN?", self.profile.timeout_s)
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

    def _probe(self) -> None:
        """Find out whether numbers come back; a known answer also proves that the line is in step."""
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
        reply = self._ask_bare(f"*ESE {first};*ESE?;*ESE {second};*ESE?", self.profile.timeout_s)
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
        return self._ask_bare("*ESE?", self.profile.timeout_s)

    def _in_step(self) -> bool:
        """Return whether it answers the next question: then it was the stamp that it did not take.

        Where the line was slow, or this computer was, what comes next is the answer to the stamp.
        """
        try:
            return bare(self._ask_bare("*IDN?", self.profile.timeout_s)) == self._found.encode("ascii")
        except (NoAnswer, ReplyError):
            return False

    def _pick(self, what: Measure, reply: bytes) -> Number:
        if what.form == "number":
            return number(reply)
        found = numbers(reply)
        if len(found) < what.place:
            raise ReplyError(reply, f"has {len(found)} numbers, and number {what.place} is wanted")
        return found[what.place - 1]

    def _exact(self, question: str, channel: str) -> float:
        reply = self.query(filled(question, channel), self.profile.timeout_s)
        return _plain(number(reply), reply)


def _echoes(reply: bytes, stamp: int) -> bool:
    wanted = b"%d" % stamp
    return reply == wanted or bare(reply).lstrip(b"+") == wanted


def _plain(found: Number, reply: bytes) -> float:
    if found.number is None:
        raise ReplyError(reply, "is over-range or not a number")
    return float(found.number)


def _scaled(found: Number, what: Measure, reply: bytes, top: float | None) -> Value:
    value = value_of(found, what.unit, reply=reply, top=top)
    if what.scale == 1.0 or value.number is None or value.kind != "exact":
        return value
    factor = Decimal(repr(what.scale))
    return Value(
        raw=value.raw,
        number=value.number * factor,
        unit=value.unit,
        resolution=None if value.resolution is None else value.resolution * abs(factor),
    )
