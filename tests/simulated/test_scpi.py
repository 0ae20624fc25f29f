"""The language of the simulated meters. Clauses of IEEE 488.2-1992 and SCPI-99 are cited from memory."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.bench import reply
from ohmward.bench.simulated import scpi
from ohmward.bench.simulated.scpi import Instrument, ScpiError


def heard(message: str) -> list[str]:
    """Return the headers of a message as an instrument hears them."""
    return [header + ("?" if asks else "") for header, asks, _ in scpi.units(message)]


class Parrot(Instrument):
    """Knows a few headers and answers with its parameters."""

    def __init__(self) -> None:
        super().__init__("OHMWARD,SIMULATED PARROT,0,0")
        self.set_to: list[str] = []
        self.add(
            {
                "CONFigure[:SCALar]:VOLTage[:DC]": self.set_to.extend,
                "[SENSe]:VOLTage[:DC]:RANGe[:UPPer]": self.set_to.extend,
                "SAY?": "/".join,
                "LIMit": self._limit,
            }
        )

    @staticmethod
    def _limit(parameters: list[str]) -> None:
        if scpi.number(scpi.one(parameters)) > 10:
            raise ScpiError(-222, parameters[0])


@pytest.mark.parametrize(
    ("header", "fits"),
    [
        # SCPI-99 volume 1, 6.2.1: exactly the short or the long form, in any case
        ("CONF:VOLT", True),
        ("conf:volt:dc", True),
        ("CONFIGURE:VOLTAGE", True),
        ("Configure:Scalar:Voltage:DC", True),
        ("CONFI:VOLT", False),
        ("CON:VOLT", False),
        ("CONFIGURE:VOLTAGES", False),
        # 6.2.2: a node in brackets may be left out, another may not
        ("CONF:SCAL:VOLT", True),
        ("CONF:DC", False),
        ("CONF:VOLT:AC", False),
    ],
)
def test_headers_are_taken_in_short_and_long_form(header: str, fits: bool) -> None:
    pattern = scpi.compile_header("CONFigure[:SCALar]:VOLTage[:DC]")
    assert (pattern.fullmatch(header) is not None) is fits


@pytest.mark.parametrize("header", ["VOLT:RANG", "SENS:VOLT:RANG", "SENSE:VOLTAGE:DC:RANGE:UPPER"])
def test_a_first_node_in_brackets_may_be_left_out(header: str) -> None:
    assert scpi.compile_header("[SENSe]:VOLTage[:DC]:RANGe[:UPPer]").fullmatch(header)


@pytest.mark.parametrize(
    ("message", "headers"),
    [
        # SCPI-99 volume 1, 6.2.4: what follows a semicolon begins where the last header's branch is
        ("SENS:VOLT:RANG 10;NPLC 1", ["SENS:VOLT:RANG", "SENS:VOLT:NPLC"]),
        ("SENS:VOLT:RANG 10;:READ?", ["SENS:VOLT:RANG", "READ?"]),
        # common commands leave that place alone
        ("SENS:VOLT:RANG 10;*CLS;NPLC 1", ["SENS:VOLT:RANG", "*CLS", "SENS:VOLT:NPLC"]),
        (":READ?", ["READ?"]),
        ("*ESE 37;:READ?;*ESE?", ["*ESE", "READ?", "*ESE?"]),
        # 488.2, 7.4.1: semicolons and commas inside a string separate nothing
        ('PROB:AT "a;b, c";AT?', ["PROB:AT", "PROB:AT?"]),
        ("", []),
        (" ; ", []),
    ],
)
def test_compound_messages_follow_the_tree(message: str, headers: list[str]) -> None:
    assert heard(message) == headers


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        # IEEE 488.2, 7.7.2 (NRf) and 7.7.3 (suffixes: M is milli, but MOHM is megohm)
        ("12", "", 12.0),
        ("-.5", "", -0.5),
        ("1.5e3", "", 1500.0),
        ("+2.50E-3", "V", 0.0025),
        ("100 MV", "V", 0.1),
        ("20 mA", "A", 0.02),
        ("10 KOHM", "OHM", 1e4),
        ("1 MOHM", "OHM", 1e6),
        ("5 us", "S", 5e-6),
    ],
)
def test_numbers_are_read_with_their_suffixes(text: str, unit: str, value: float) -> None:
    assert scpi.number(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(("text", "code"), [("abc", -104), ("1.2.3", -104), ("5 A", -131), ("3 XV", -131)])
def test_what_is_no_number_is_named_by_its_standard_error(text: str, code: int) -> None:
    with pytest.raises(ScpiError) as caught:
        scpi.number(text, "V")
    assert caught.value.code == code


@given(st.integers(-(10**9), 10**9), st.integers(-7, 2))
def test_numbers_go_out_as_nr3_with_the_resolution_in_the_last_digit(count: int, place: int) -> None:
    resolution = 10.0**place
    text = scpi.nr3(count * resolution, resolution)
    # IEEE 488.2, 8.7.4: sign, digits with a point among them, E, signed exponent
    assert re.fullmatch(r"[+-]\d+\.\d+E[+-]\d+", text)
    assert Decimal(text) == Decimal(count).scaleb(place)
    assert reply.number(text.encode()).resolution == Decimal(1).scaleb(place)


@given(st.binary(max_size=2000))
def test_blocks_are_of_definite_length(payload: bytes) -> None:
    # IEEE 488.2, 8.7.9: #, one digit that counts the digits of the length, the length, the bytes
    raw = scpi.block(payload)
    digits = int(raw[1:2])
    assert raw[:1] == b"#"
    assert int(raw[2 : 2 + digits]) == len(payload)
    assert raw[2 + digits :] == payload


def test_the_error_queue_is_first_in_first_out_and_says_when_it_is_empty() -> None:
    # SCPI-99 volume 2, 21.8: code, comma, quoted words; 0,"No error" when there is none
    parrot = Parrot()
    parrot.obey("FIRST")
    parrot.obey("LIM 11")
    answers = [parrot.obey("SYST:ERR?") for _ in range(3)]
    assert answers[0] == b'-113,"Undefined header;FIRST"'
    assert answers[1] is not None
    assert answers[1].startswith(b'-222,"Data out of range')
    assert answers[2] == b'0,"No error"'


def test_a_full_error_queue_ends_in_queue_overflow() -> None:
    # SCPI-99 volume 2, 21.8.1: the last entry is replaced by -350, older ones stay, later ones are lost
    parrot = Parrot()
    for number in range(scpi.QUEUE + 5):
        parrot.obey(f"WRONG{number}")
    assert parrot.obey("SYST:ERR:COUN?") == str(scpi.QUEUE).encode()
    codes = [(parrot.obey("SYST:ERR?") or b"").split(b",")[0] for _ in range(scpi.QUEUE + 1)]
    assert codes == [b"-113"] * (scpi.QUEUE - 1) + [b"-350", b"0"]


def test_cls_empties_queue_and_event_register() -> None:
    parrot = Parrot()
    parrot.obey("WRONG")
    parrot.obey("*CLS")  # IEEE 488.2, 10.3
    assert parrot.obey("*ESR?;:SYST:ERR?") == b'0;0,"No error"'


def test_event_register_tells_kinds_of_error_and_clears_when_read() -> None:
    parrot = Parrot()
    # IEEE 488.2, 11.5.1.1: bit 7 power on, bit 5 command error, bit 4 execution error, bit 0 complete
    assert parrot.obey("*ESR?") == b"128"
    parrot.obey("WRONG")
    parrot.obey("LIM 11")
    parrot.obey("*OPC")
    assert parrot.obey("*ESR?") == str(32 + 16 + 1).encode()
    assert parrot.obey("*ESR?") == b"0"


def test_status_byte_sums_up_what_is_enabled() -> None:
    parrot = Parrot()
    parrot.obey("*CLS;*ESE 32;*SRE 32")
    assert parrot.obey("*STB?") == b"0"
    parrot.obey("WRONG")
    # IEEE 488.2, 11.2: bit 2 queue (SCPI), bit 5 event summary, bit 6 master summary
    assert parrot.obey("*STB?") == str(4 + 32 + 64).encode()


def test_a_command_error_ends_the_message_and_an_execution_error_does_not() -> None:
    parrot = Parrot()
    assert parrot.obey("SAY? 1;WRONG;SAY? 2") == b"1"
    assert parrot.obey("LIM 11;SAY? 2") == b"2"


def test_answers_of_one_message_are_joined_by_semicolons() -> None:
    assert Parrot().obey("SAY? 1,2;*OPC?;SAY? 'x;y'") == b"1/2;1;'x;y'"  # IEEE 488.2, 8.4.1


@pytest.mark.parametrize(
    ("message", "code"),
    [
        ("*IDN", b"-113"),
        ("*CLS 1", b"-108"),
        ("LIM", b"-109"),
        ("LIM 1,2", b"-108"),
        ("LIM one", b"-104"),
        ('SAY? "open', b"-151"),
        ("SAY?1", b"-102"),
        ("!!", b"-102"),
        ("CONF:VÖLT", b"-101"),
        ("*ESE 256", b"-222"),
    ],
)
def test_what_is_wrong_has_its_standard_number(message: str, code: bytes) -> None:
    parrot = Parrot()  # numbers of SCPI-99 volume 2, 21.8.9 and 21.8.10
    assert parrot.obey(message) is None
    assert (parrot.obey("SYST:ERR?") or b"").split(b",")[0] == code


@settings(max_examples=400)
@given(
    st.text(max_size=80)
    | st.lists(st.sampled_from([*"*:;?,()@#'\"", "SAY", "READ", " 1", "IDN"])).map("".join)
)
def test_nothing_that_is_sent_breaks_an_instrument(message: str) -> None:
    parrot = Parrot()
    parrot.obey(message)
    while (parrot.obey("SYST:ERR?") or b"").split(b",")[0] != b"0":
        pass
    assert parrot.obey("*IDN?") == b"OHMWARD,SIMULATED PARROT,0,0"
