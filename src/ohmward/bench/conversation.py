"""One instrument spoken to by one thread: opening, asking, telling, leaving.

Whatever is raised here but `InstrumentRefused` and `NoReading` means that the session is no longer to be
trusted: the caller closes it and opens another (`session`). Nothing is tried again here.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from ohmward.bench.commands import filled
from ohmward.bench.in_step import InStep
from ohmward.bench.profile import Capturing, Measure, Profile, Setting
from ohmward.bench.reply import (
    ErrorEntry,
    Number,
    ReplyError,
    error_entry,
    identity,
    number,
    numbers,
    samples,
    value_of,
)
from ohmward.bench.transport import Transport
from ohmward.errors import Exit, OhmwardError
from ohmward.quantity import Value
from ohmward.text import one_line

DRAIN_LIMIT = 30
"""Entries of the error queue read before it is said to have no end."""


class WrongInstrument(OhmwardError):
    """Another instrument answers there than the one that was expected."""

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


class Conversation(InStep):
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
        super().__init__(transport, profile)
        self.expected = expected
        self._wait = wait
        self._prepared: tuple[str, ...] = ()
        self._asked: tuple[Measure, str, float | None, tuple[str, ...], str] | None = None

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
        found = identity(self.ask_bare("*IDN?", self.profile.timeout_s))
        if self.expected and found != self.expected:
            raise WrongInstrument(
                f"{self.transport.where}: '{one_line(found)}' answers where '{one_line(self.expected)}' is"
                " expected. Check the address and the cable, or mend idn = … in meters.toml"
            )
        self.get_in_step(found)
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
        if self.numbered:
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
            found = samples(self.block(ask, how.timeout_s), how.form)
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
