"""Replies: what IEEE 488.2 and SCPI-99 let an instrument send is read right, all else is an error."""

from __future__ import annotations

import csv
import io
import math
import struct
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.bench.reply import (
    SAMPLES_FORMS,
    ErrorEntry,
    NoReading,
    Number,
    ReplyError,
    block,
    block_head,
    error_entry,
    identity,
    number,
    numbers,
    quoted,
    samples,
    value_of,
    word,
)
from ohmward.errors import Exit
from ohmward.text import one_line


@pytest.mark.parametrize(
    ("reply", "value", "resolution"),
    [
        # IEEE 488.2, 8.7.2 NR1, 8.7.3 NR2, 8.7.4 NR3 (from memory)
        (b"12", "12", "1"),
        (b"-12", "-12", "1"),
        (b"+0012", "12", "1"),
        (b"12.04", "12.04", "0.01"),
        (b"-0.50", "-0.50", "0.01"),
        (b"+1.20400E+01", "12.04", "0.0001"),
        (b"-2.5E-03", "-0.0025", "0.0001"),
        # met in practice though 488.2 wants more digits or a sign (common practice, no source)
        (b"1.2e1", "12", "1"),
        (b".5", "0.5", "0.1"),
        (b"5.", "5", "1"),
        (b" 12.04\r", "12.04", "0.01"),
    ],
)
def test_numbers_of_488_2(reply: bytes, value: str, resolution: str) -> None:
    found = number(reply)
    assert found.kind == "exact"
    assert found.number == Decimal(value)
    assert found.resolution == Decimal(resolution)


@pytest.mark.parametrize(
    ("reply", "kind"),
    [
        # SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5 (from memory)
        (b"9.9E37", "over-range"),
        (b"+9.90000000E+37\r", "over-range"),
        (b"9.8999995E+37", "over-range"),
        (b"-9.9E37", "under-range"),
        (b"9.91E37", "not a number"),
        (b"+9.91000000E+37", "not a number"),
    ],
)
def test_what_scpi_sends_for_no_number(reply: bytes, kind: str) -> None:
    found = number(reply)
    assert (found.kind, found.number) == (kind, None)


BAD_NUMBERS = [
    b"", b" ", b"\r", b"12.04 V", b"12,04", b"12.04;", b"1.2.3", b"--1", b"+-1", b"1E", b"1E+", b"E5", b".",
    b"+", b"NaN", b"nan", b"inf", b"INF", b"0x10", b"1_000", b"12.04\n", b"12\r\r", b"1 2", b"\xff12",
    b"12\x00", "１２".encode(), "١٢".encode(), b"9.92E37", b"1E38", b"-9.91E37", b"1E400", b"1" * 60, b"#H1F",
    b"12.04E+0001",
]  # fmt: skip


@pytest.mark.parametrize("reply", BAD_NUMBERS)
def test_anything_else_is_an_error_that_quotes_the_reply(reply: bytes) -> None:
    with pytest.raises(ReplyError) as caught:
        number(reply)
    assert caught.value.reply == reply
    assert quoted(reply) in str(caught.value)
    assert str(caught.value).isprintable()
    assert caught.value.exit_code is Exit.UNREACHABLE


def test_lists_of_numbers() -> None:
    assert [each.number for each in numbers(b"1,-2.5, 3E2\r", 3)] == [1, Decimal("-2.5"), 300]
    for reply, count in ((b"1,2", 3), (b"1,,2", None), (b"", None), (b"1,2;3", None), (b"1,x", 2)):
        with pytest.raises(ReplyError):
            numbers(reply, count)


def test_an_over_range_is_above_the_range_where_it_is_known_and_an_overload_where_not() -> None:
    over = number(b"9.9E37")
    assert value_of(over, "Ω").kind == "overload"
    above = value_of(over, "Ω", top=200e6)
    assert (above.kind, above.number) == ("above", Decimal("200000000.0"))
    assert value_of(number(b"-9.9E37"), "V", top=60.0).kind == "overload"
    with pytest.raises(NoReading, match="not a number"):
        value_of(number(b"9.91E37"), "V")
    exact = value_of(number(b"1.204E+01"), "V")
    assert (exact.si, exact.resolution, exact.raw, exact.unit) == (12.04, Decimal("0.01"), "1.204E+01", "V")


@pytest.mark.parametrize(
    ("reply", "code", "text"),
    [
        # SCPI-99 volume 2, 21.8 (from memory)
        (b'0,"No error"', 0, "No error"),
        (b'+0,"No error"\r', 0, "No error"),
        (b'-113,"Undefined header;FOO:BAR"', -113, "Undefined header;FOO:BAR"),
        (b'-350, "Queue overflow"', -350, "Queue overflow"),
        (b'205,"Probe ""A"" is off"', 205, 'Probe "A" is off'),
        (b'1,""', 1, ""),
    ],
)
def test_error_entries(reply: bytes, code: int, text: str) -> None:
    found = error_entry(reply)
    assert (found.code, found.text) == (code, text)


def test_an_error_entry_says_what_its_code_means() -> None:
    assert error_entry(b'-222,"x"').meaning == "data out of range"
    assert error_entry(b'205,"x"').meaning == ""


@pytest.mark.parametrize(
    "reply",
    [
        b"",
        b"0",
        b"0,",
        b'0,"',
        b'0,"a"b"',
        b'x,"a"',
        b'0,"a"\n',
        b'0,"a",1',
        b"0,'a'",
        b'1.5,"a"',
        b"12.04",
        b'0\r,"a"',
        b'0,\t"a"',
    ],
)
def test_what_is_no_error_entry(reply: bytes) -> None:
    with pytest.raises(ReplyError):
        error_entry(reply)


def test_identity_has_four_fields() -> None:
    # IEEE 488.2, 10.14.3 (from memory)
    assert identity(b"Maker,Model 1,0,1.0\r") == "Maker,Model 1,0,1.0"
    for reply in (b"", b"12.04", b"a,b,c", b"a,b,c,\xff", b"a,b\x00,c,d"):
        with pytest.raises(ReplyError):
            identity(reply)


def test_words() -> None:
    assert word(b" on\r", ("ON", "OFF")) == "on"
    with pytest.raises(ReplyError, match="none of"):
        word(b"of", ("ON", "OFF"))


@pytest.mark.parametrize(
    ("reply", "payload"),
    # IEEE 488.2, 8.7.9 (from memory)
    [(b"#15hello", b"hello"), (b"#210" + b"\n" * 10, b"\n" * 10), (b"#10", b""), (b"#3003abc", b"abc")],
)
def test_definite_length_blocks(reply: bytes, payload: bytes) -> None:
    assert block(reply) == payload


@pytest.mark.parametrize(
    "reply",
    [b"", b"#", b"#0abc\n", b"#A1x", b"#15hell", b"#15hello!", b"#2x5hello", b"12.04", b"#2", b"##", b"#15"],
)
def test_blocks_cut_short_or_wrong(reply: bytes) -> None:
    with pytest.raises(ReplyError):
        block(reply)


@given(st.binary(max_size=2000))
def test_a_block_gives_back_what_was_put_in(payload: bytes) -> None:
    size = str(len(payload)).encode()
    reply = b"#" + str(len(size)).encode() + size + payload
    assert block(reply) == payload
    assert block_head(reply) == len(payload)
    for end in range(min(len(reply), 2 + len(size))):
        assert block_head(reply[:end]) is None


@given(st.lists(st.floats(-(2.0**100), 2.0**100, width=32), max_size=50))
def test_samples_both_ways_round(values: list[float]) -> None:
    assert samples(struct.pack(f">{len(values)}f", *values), "real32") == tuple(values)
    assert samples(struct.pack(f"<{len(values)}f", *values), "real32-swapped") == tuple(values)


def test_every_sample_form_has_its_size() -> None:
    for form in SAMPLES_FORMS:
        size = int("".join(each for each in form if each.isdigit())) // 8
        assert samples(bytes(2 * size), form) == (0.0, 0.0)
        if size > 1:
            with pytest.raises(ReplyError, match="whole number"):
                samples(bytes(2 * size - 1), form)


@pytest.mark.parametrize("sample", [math.nan, math.inf, 9.9e37])
def test_a_sample_that_is_no_number_is_an_error(sample: float) -> None:
    with pytest.raises(ReplyError, match="over-range or not a number"):
        samples(struct.pack(">2f", 1.0, sample), "real32")


@given(st.decimals(allow_nan=False, allow_infinity=False, places=4, min_value=-1e9, max_value=1e9))
def test_a_number_is_read_back_exactly(value: Decimal) -> None:
    for text in (f"{value:f}", f"{value:+.9E}"):
        found = number(text.encode())
        assert found.number is not None
        assert abs(found.number - Decimal(text)) == 0


@given(st.binary(max_size=80))
def test_any_bytes_are_a_value_or_a_named_error(reply: bytes) -> None:
    every_reader(reply)


SOUND = (
    b"+1.20400E+01", b"12.04", b"-15", b"9.9E37", b"9.91E37", b'0,"No error"', b'-113,"Undefined header"',
    b"Maker,Model,0001,1.0", b"#15hello", b"#210\x00\x01\x02\x03\x04\x05\x06\x07\x08\x09", b"1.5,2.5,3.5",
    b"12.04;37", b"1",
)  # fmt: skip
ODD = b"\x00\r\n\xff;,#\"'+-.eE 0123456789VmN"
A_REPLY = 10
"""Bytes of chance that a malformed reply is made of: which it was, how many changes, three to a change."""
AT_ONCE = 100


def malformed(chance: bytes) -> bytes:
    """Return a sound reply cut, joined with another, or with bytes changed, one to three times."""
    which, changes, *rest = chance
    reply = bytearray(SOUND[which % len(SOUND)])
    for number_of in range(1 + changes % 3):
        place, kind, what = rest[3 * number_of : 3 * number_of + 3] if number_of < 2 else rest[-3:]
        spot = place % (len(reply) + 1)
        match kind % 5:
            case 0:
                del reply[spot:]
            case 1:
                reply[spot:spot] = bytes([ODD[what % len(ODD)]])
            case 2:
                reply[spot : spot + 1] = bytes([what])
            case 3:
                reply[spot:spot] = SOUND[what % len(SOUND)]
            case _:
                del reply[:spot]
    return bytes(reply)


def test_a_hundred_thousand_malformed_replies() -> None:
    """A right value or a named error each, by every reader; hypothesis looks for those that are neither."""
    read = refused = 0

    @settings(max_examples=1400, deadline=None, database=None)
    @given(st.binary(min_size=A_REPLY * AT_ONCE, max_size=A_REPLY * AT_ONCE))
    def many(chance: bytes) -> None:
        nonlocal read, refused
        for begin in range(0, len(chance), A_REPLY):
            reply = malformed(chance[begin : begin + A_REPLY])
            if reply in SOUND:
                continue
            read += 1
            refused += every_reader(reply)

    many()
    assert read >= 100_000
    assert refused > 3 * read  # of five readers: most of it is malformed indeed


def every_reader(reply: bytes) -> int:
    """Read it as everything; return how many refused it. What is taken must be what is written there.

    The judges are Python's own: `float`, `decimal`, `csv`, and for a block its lengths.
    """
    readers: tuple[tuple[Callable[[bytes], Any], Callable[[bytes, Any], object]], ...] = (
        (number, _is_the_number),
        (numbers, _are_the_numbers),
        (error_entry, _is_the_entry),
        (identity, _is_the_identity),
        (block, _is_the_block),
    )
    refused = 0
    for read, judge in readers:
        try:
            found = read(reply)
        except ReplyError:
            refused += 1
        else:
            judge(reply, found)
    return refused


def _is_the_number(reply: bytes, found: Number) -> None:
    text = reply.decode("ascii")  # nothing but ASCII is a number
    if found.number is None:
        assert abs(float(text)) > 9.8e37
        return
    assert float(found.number) == float(text)
    last = Decimal(text).as_tuple().exponent
    assert isinstance(last, int)
    assert found.resolution == Decimal(1).scaleb(last)


def _are_the_numbers(reply: bytes, found: tuple[Number, ...]) -> None:
    parts = reply.split(b",")
    assert len(parts) == len(found)
    for part, each in zip(parts, found, strict=True):
        _is_the_number(part, each)


def _is_the_entry(reply: bytes, found: ErrorEntry) -> None:
    text = io.StringIO(reply.decode("latin-1").strip(" \r"), newline="")
    ((code, words),) = csv.reader(text, skipinitialspace=True, strict=True)
    assert (found.code, found.text) == (int(code), one_line(words))


def _is_the_identity(reply: bytes, found: str) -> None:
    assert found == reply.decode("ascii").removesuffix("\r").strip(" ")
    assert found.isprintable()
    assert len(found.split(",")) >= 4


def _is_the_block(reply: bytes, found: bytes) -> None:
    head = reply.removesuffix(found)
    assert head[:1] == b"#"
    assert int(head[1:2]) == len(head) - 2
    assert int(head[2:]) == len(found)
