"""One line of a journal: record to bytes and back, each line sealed by its own digest.

``{"seq":…,"at":"…","elapsed_s":…,"kind":"…","body":{…},"prev":"…","digest":"…"}``: `prev` is the
SHA-256 of the whole line before (without its line end), 64 zeros in the first; `digest` is the
SHA-256 of this line's bytes before ``,"digest":``, so that the last line is covered too. This frame
is kept for ever; only the kinds and bodies of `events` grow.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import msgspec

from ohmward.errors import Refused
from ohmward.logbook.events import FORMAT, KINDS, Event, Record

ZEROS = "0" * 64
MAX_LINE_BYTES = 1 << 24
"""No line is as long as this [bytes]."""

_TAIL_BYTES = len(',"digest":""}') + 64
_KIND_OF = {body: kind for kind, body in KINDS.items()}
_DECODERS: Mapping[str, msgspec.json.Decoder[Any]] = {
    kind: msgspec.json.Decoder(body) for kind, body in KINDS.items()
}


class _Head(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, gc=False):
    seq: int
    at: str
    elapsed_s: float
    kind: str
    body: msgspec.Raw
    prev: str


class _Line(_Head, frozen=True, kw_only=True, forbid_unknown_fields=True, gc=False):
    digest: str


class Seal(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a closed run's seal file says, so that a cut tail is found."""

    format: int = FORMAT
    run: str
    """File name of the journal."""
    records: int
    last: str
    """Digest of the last record."""
    at: str


class _SealLine(Seal, frozen=True, kw_only=True, forbid_unknown_fields=True):
    digest: str


class _Format(msgspec.Struct):
    format: int = 0
    tool: str = ""


class _FormatLine(msgspec.Struct):
    kind: str
    body: _Format


_LINE = msgspec.json.Decoder(_Line)
_SEAL_LINE = msgspec.json.Decoder(_SealLine)
_FORMAT_LINE = msgspec.json.Decoder(_FormatLine)


class BadLineError(Exception):
    """A line that the tool did not write so; the text says what is wrong with it."""


def line_hash(line: bytes) -> str:
    """Return the SHA-256 (hex) of a line, as the next one's `prev` holds it."""
    return hashlib.sha256(line).hexdigest()


def encode(*, seq: int, at: datetime, elapsed_s: float, event: Event, prev: str) -> tuple[bytes, Record]:
    """Return the line (without line end) and the record of `event`.

    Raises
    ------
    Refused
        When the event could not be read back exactly as it is: a value outside its type, a number
        that is not finite, text that is not Unicode.
    """
    kind = _KIND_OF.get(type(event))
    if kind is None:
        raise _unwritable(type(event).__name__, "there is no such kind of record")
    try:
        head = _Head(
            seq=seq,
            at=at.isoformat(timespec="milliseconds"),
            elapsed_s=round(elapsed_s, 6),
            kind=kind,
            body=msgspec.Raw(msgspec.json.encode(event)),
            prev=prev,
        )
        line = with_digest(head)
        record = decode(line)
        same = record.event == event
    except (BadLineError, ValueError, ArithmeticError, TypeError) as error:
        raise _unwritable(kind, str(error)) from error
    if not same:
        raise _unwritable(kind, "it would not read back as it is (a number that is not finite, or a list?)")
    if len(line) >= MAX_LINE_BYTES:
        raise _unwritable(kind, f"it takes {len(line)} bytes, more than {MAX_LINE_BYTES}")
    return line, record


def decode(line: bytes) -> Record:
    """Return the record of a line (without line end), read strictly.

    Raises
    ------
    BadLineError
        When anything in it is not as `encode` writes it.
    """
    return decode_hashed(line)[0]


def decode_hashed(line: bytes) -> tuple[Record, str]:
    """Return the record of a line as `decode` does, and the line's SHA-256: both from one pass over it."""
    line_sha256 = require_digest(line)
    try:
        parsed = _LINE.decode(line)
    except (ValueError, RecursionError) as error:
        raise BadLineError(f"not a record: {error}") from error
    decoder = _DECODERS.get(parsed.kind)
    if decoder is None:
        raise BadLineError(f"unknown kind '{parsed.kind}': perhaps written by a newer version of ohmward")
    try:
        event = decoder.decode(parsed.body)
    except (ValueError, RecursionError) as error:
        newer = ". Perhaps written by a newer version of ohmward" if "unknown field" in str(error) else ""
        raise BadLineError(f"not a valid '{parsed.kind}' record: {error}{newer}") from error
    if not 0 <= parsed.elapsed_s < math.inf:
        raise BadLineError(f"elapsed_s is {parsed.elapsed_s}")
    require_instant(parsed.at)
    record = Record(
        seq=parsed.seq,
        at=parsed.at,
        elapsed_s=parsed.elapsed_s,
        event=event,
        prev=parsed.prev,
        digest=parsed.digest,
    )
    return record, line_sha256


def require_instant(text: str) -> datetime:
    """Return `text` as an aware time, or raise BadLineError."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError as error:
        raise BadLineError(f"'{text}' is not a time") from error
    if at.utcoffset() is None:
        raise BadLineError(f"the time '{text}' has no offset from UTC")
    return at


def newer_format(line: bytes) -> str:
    """Return, in words, which newer format this first line announces; empty when it does not.

    Only a line whose digest holds is believed: a changed byte is damage, not a newer tool.
    """
    try:
        require_digest(line)
        first = _FORMAT_LINE.decode(line)
    except (BadLineError, ValueError, RecursionError):
        return ""
    if first.kind != "opened" or first.body.format <= FORMAT:
        return ""
    return (
        f"written by {first.body.tool or 'a newer ohmward'} in log format {first.body.format}; this version "
        f"reads up to format {FORMAT}. Read it with that version or a later one"
    )


def encode_seal(seal: Seal) -> bytes:
    """Return the bytes of a seal file."""
    return with_digest(seal) + b"\n"


def decode_seal(data: bytes) -> Seal:
    """Return the seal in `data`.

    Raises
    ------
    BadLineError
        When it is not as `encode_seal` writes it.
    """
    line = data.removesuffix(b"\n")
    if line == data or b"\n" in line:
        raise BadLineError("not one line")
    require_digest(line)
    try:
        found = _SEAL_LINE.decode(line)
    except (ValueError, RecursionError) as error:
        raise BadLineError(f"not a seal: {error}") from error
    require_instant(found.at)
    return Seal(format=found.format, run=found.run, records=found.records, last=found.last, at=found.at)


def with_digest(head: msgspec.Struct) -> bytes:
    """Return a struct as one line of JSON (without line end) that ends with its own digest."""
    start = msgspec.json.encode(head)[:-1]
    return start + _tail(hashlib.sha256(start).hexdigest())


def require_digest(line: bytes) -> str:
    """Return a line's SHA-256 (hex); BadLineError unless it ends with the digest of what stands before."""
    if not line:
        raise BadLineError("an empty line")
    passing = hashlib.sha256(line[:-_TAIL_BYTES])
    tail = line[-_TAIL_BYTES:]
    if tail != _tail(passing.hexdigest()):
        if not line.startswith(b"{"):
            raise BadLineError("not a record")
        if line.endswith(b"\r") and _holds(line[:-1]):
            raise BadLineError(
                "line ends were changed to CR LF by a program that copied the file (version control, or a "
                "transfer of text); its words are untouched"
            )
        raise BadLineError("its bytes do not match its digest: changed, or cut, after it was written")
    passing.update(tail)
    return passing.hexdigest()


def _holds(line: bytes) -> bool:
    return line[-_TAIL_BYTES:] == _tail(hashlib.sha256(line[:-_TAIL_BYTES]).hexdigest())


def _tail(digest: str) -> bytes:
    return b',"digest":"%s"}' % digest.encode()


def _unwritable(kind: str, why: str) -> Refused:
    return Refused(
        "record", [f"a '{kind}' record cannot be written: {why}"], "Nothing was recorded; correct the entry"
    )
