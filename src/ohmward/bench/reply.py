"""What an instrument answered, read strictly: a correct value, or an error that quotes the reply.

Pure functions over one reply, without its line feed. IEEE 488.2 numbers (NR1, NR2, NR3: 8.7.2 to
8.7.4), definite-length blocks (8.7.9) and strings (8.7.8); SCPI-99 volume 1, 7.2.1: 9.9E37 stands for
infinity, -9.9E37 for minus infinity, 9.91E37 for 'not a number'; volume 2, 21.8: the error queue. Clause
numbers are from memory.

More is accepted than 488.2 lets a meter send in two places only, because meters do it: spaces around a
reply with one carriage return behind it, and the exponent's sign or the digits before the point left out.
"""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

import msgspec

from ohmward.errors import Exit, OhmwardError
from ohmward.quantity import Value
from ohmward.text import one_line

_QUOTED = 60
_NUMBER = re.compile(rb"[+-]?(?:[0-9]{1,24}(?:\.([0-9]{0,24}))?|\.([0-9]{1,24}))(?:[eE]([+-]?[0-9]{1,3}))?")
"""Groups: the digits behind the point, in either place; the exponent."""
_ERROR = re.compile(rb'([+-]?[0-9]{1,5}) *, *"((?:[^"]|"")*)"')
_INFINITE, _NOT_A_NUMBER = Decimal("9.9E37"), Decimal("9.91E37")
_ONE, _SINGLE = Decimal(1), Decimal("1E-6")
"""Relative room for meters that hold 9.9E37 as a 32-bit float and print all its digits."""
_LARGEST = _INFINITE * (1 - _SINGLE)
"""What is above is no magnitude, but has a meaning or none."""

STANDARD_ERRORS = {
    0: "no error", -100: "command error", -102: "syntax error", -103: "invalid separator",
    -104: "data type error", -108: "parameter not allowed", -109: "missing parameter",
    -113: "undefined header", -114: "header suffix out of range", -131: "invalid suffix",
    -141: "invalid character data", -200: "execution error", -221: "settings conflict",
    -222: "data out of range", -224: "illegal parameter value", -230: "data corrupt or stale",
    -240: "hardware error", -241: "hardware missing", -310: "system error", -350: "queue overflow",
    -363: "input buffer overrun", -400: "query error", -410: "query interrupted",
    -420: "query unterminated", -430: "query deadlocked",
}  # fmt: skip
"""SCPI-99 volume 2, 21.8 (from memory): codes and what they mean."""

NumberKind = Literal["exact", "over-range", "under-range", "not a number"]


class ReplyError(OhmwardError):
    """A reply that is not what was asked for.

    Attributes
    ----------
    reply : bytes
        As it came.
    why : str
    """

    exit_code = Exit.UNREACHABLE

    def __init__(self, reply: bytes, why: str) -> None:
        self.reply = bytes(reply)
        self.why = why
        super().__init__(f"the reply '{quoted(reply)}' {why}")


class NoReading(ReplyError):
    """The reply is sound, and says that the instrument has no valid reading."""


class Number(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One number of a reply."""

    kind: NumberKind
    number: Decimal | None = None
    """None unless exact."""
    resolution: Decimal | None = None
    """Weight of the last digit sent."""
    raw: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorEntry:
    """One entry of the error queue."""

    code: int
    text: str
    """The instrument's own words."""

    @property
    def meaning(self) -> str:
        """What the code stands for in SCPI; empty for an instrument's own codes."""
        return STANDARD_ERRORS.get(self.code, "")

    def __str__(self) -> str:
        return f"{self.code}, {one_line(self.text)}"


def quoted(reply: bytes) -> str:
    """Return a reply as text that can be shown: printable, on one line, cut when long."""
    text = one_line(bytes(reply[: _QUOTED + 1]).decode("latin-1").encode("unicode_escape").decode("ascii"))
    return text if len(reply) <= _QUOTED else f"{text[:_QUOTED]}…"


def bare(reply: bytes) -> bytes:
    """Return a reply without the carriage return and the spaces around it."""
    return bytes(reply).removesuffix(b"\r").strip(b" ")


def number(reply: bytes) -> Number:
    """Read exactly one number.

    Raises
    ------
    ReplyError
        When the reply is anything else, or a magnitude that SCPI has no meaning for.
    """
    body = bare(reply)
    if not body:
        raise ReplyError(reply, "is empty")
    found = _NUMBER.fullmatch(body)
    if found is None:
        raise ReplyError(reply, "is not one number")
    raw = body.decode("ascii")
    value = Decimal(raw)
    if abs(value) > _LARGEST:
        return Number(kind=_special(reply, value), raw=raw)
    whole, point, exponent = found.groups(b"")
    last = int(exponent or 0) - len(whole or point)
    return Number(kind="exact", number=value, resolution=_ONE.scaleb(last), raw=raw)


def _special(reply: bytes, value: Decimal) -> NumberKind:
    size = abs(value)
    if abs(size - _INFINITE) <= _INFINITE * _SINGLE:
        return "over-range" if value > 0 else "under-range"
    if value > 0 and abs(size - _NOT_A_NUMBER) <= _NOT_A_NUMBER * _SINGLE:
        return "not a number"
    raise ReplyError(reply, "is larger than any number an instrument may send (9.9E37)")


def numbers(reply: bytes, count: int | None = None) -> tuple[Number, ...]:
    """Read numbers with commas between them, exactly `count` of them where it is given."""
    found = []
    for part in bare(reply).split(b","):
        try:
            found.append(number(part))
        except ReplyError as error:
            raise ReplyError(reply, f"is not a list of numbers ('{quoted(part)}')") from error
    if count is not None and len(found) != count:
        raise ReplyError(reply, f"has {len(found)} numbers where {count} were asked for")
    return tuple(found)


def value_of(found: Number, unit: str, *, reply: bytes = b"", top: float | None = None) -> Value:
    """Return a number as a value in `unit`.

    Parameters
    ----------
    found : Number
    unit : str
        Unit that the instrument answers in, a base unit of `quantity`.
    reply : bytes
        Quoted in the error.
    top : float, optional
        Top of the range [unit]: an over-range reading is then 'above' it, which a limit can be
        judged against; an overload otherwise.

    Raises
    ------
    NoReading
        For 'not a number', and for an under-range that has no bound.
    """
    if found.kind == "exact":
        return Value(raw=found.raw, number=found.number, unit=unit, resolution=found.resolution)
    if found.kind == "not a number":
        raise NoReading(
            reply or found.raw.encode(), "means 'not a number': the instrument has no valid reading"
        )
    if found.kind == "under-range" or top is None:
        return Value(raw=found.raw, kind="overload", unit=unit)
    return Value(raw=found.raw, kind="above", number=Decimal(repr(top)), unit=unit)


def word(reply: bytes, allowed: tuple[str, ...] = ()) -> str:
    """Read one word of printable ASCII, one of `allowed` where given (case does not matter)."""
    text = _ascii(reply)
    if allowed and text.upper() not in {each.upper() for each in allowed}:
        raise ReplyError(reply, f"is none of: {', '.join(allowed)}")
    return text


def identity(reply: bytes) -> str:
    """Read the answer to ``*IDN?``: four fields with commas between them (IEEE 488.2, 10.14)."""
    text = _ascii(reply)
    if text.count(",") < 3:
        raise ReplyError(reply, "is not an identity (maker, model, serial number, firmware)")
    return text


def error_entry(reply: bytes) -> ErrorEntry:
    """Read an answer to ``SYSTem:ERRor?``: ``code,"text"`` with quotes inside doubled."""
    match = _ERROR.fullmatch(bare(reply))
    if match is None:
        raise ReplyError(reply, 'is not an error entry (code,"text")')
    text = match[2].decode("latin-1").replace('""', '"')
    return ErrorEntry(code=int(match[1]), text=one_line(text))


def block_head(head: bytes, reply: bytes = b"") -> int | None:
    """Return the length a definite-length block announces, None while the header is not whole.

    Raises
    ------
    ReplyError
        When `head` cannot be the start of one; an indefinite block (``#0``) cannot be told from a
        cut one and is refused.
    """
    shown = reply or head
    if head[:1] != b"#":
        if not head:
            return None
        raise ReplyError(shown, "does not begin as a block (#)")
    if len(head) < 2:
        return None
    if head[1:2] not in b"123456789":
        why = "is a block of no stated length (#0)" if head[1:2] == b"0" else "has no block length behind #"
        raise ReplyError(shown, why)
    digits = int(head[1:2])
    length = head[2 : 2 + digits]
    if length and not (length.isdigit() and length.isascii()):
        raise ReplyError(shown, "has no block length behind #")
    return int(length) if len(length) == digits else None


def block(reply: bytes) -> bytes:
    """Return the payload of a reply that is exactly one definite-length block."""
    length = block_head(reply)
    if length is None:
        raise ReplyError(reply, "is a block cut short")
    start = 2 + int(reply[1:2])
    if len(reply) != start + length:
        raise ReplyError(reply, f"holds {len(reply) - start} bytes where its header says {length}")
    return bytes(reply[start:])


_FORMATS = {
    "int8": "b", "uint8": "B", "int16": "h", "uint16": "H", "int32": "i", "uint32": "I",
    "real32": "f", "real64": "d",
}  # fmt: skip


def samples(payload: bytes, form: str) -> tuple[float, ...]:
    """Return the numbers in a block.

    Parameters
    ----------
    payload : bytes
    form : str
        ``int8``, ``uint8``, ``int16``, ``uint16``, ``int32``, ``uint32``, ``real32`` or ``real64``;
        most significant byte first, or last with ``-swapped`` behind it.

    Raises
    ------
    ReplyError
        When the bytes are not a whole number of samples, or one of them is no finite number.
    """
    base, swapped, _ = form.partition("-swapped")
    code = _FORMATS[base]
    size = struct.calcsize("=" + code)
    if len(payload) % size:
        raise ReplyError(payload, f"is {len(payload)} bytes long, not a whole number of {size}-byte samples")
    found = struct.unpack(f"{'<' if swapped else '>'}{len(payload) // size}{code}", payload)
    if code in "fd" and not all(abs(each) < 9.8e37 for each in found):
        raise ReplyError(payload, "holds a sample that is over-range or not a number")
    return tuple(float(each) for each in found)


def _ascii(reply: bytes) -> str:
    body = bare(reply)
    if not body:
        raise ReplyError(reply, "is empty")
    if not all(0x20 <= byte < 0x7F for byte in body):
        raise ReplyError(reply, "holds bytes that are not plain text")
    return body.decode("ascii")


SAMPLES_FORMS = tuple(_FORMATS)
"""The sample forms known, without ``-swapped``."""
