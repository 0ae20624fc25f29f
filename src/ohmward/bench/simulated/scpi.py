"""The language of the simulated meters: SCPI-99 headers and IEEE 488.2 messages, status and error queue.

Pure but for the state of one instrument. Clauses are cited from memory: IEEE 488.2-1992 chapters 7
(listening), 8 (talking), 10 (common commands), 11 (status); SCPI-99 volume 1 chapters 5 and 6 (parsing), 7
(numbers), volume 2 chapter 21 (SYSTem, error numbers).
"""

from __future__ import annotations

import math
import re
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

ERRORS = {
    0: "No error",
    -101: "Invalid character",
    -102: "Syntax error",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -131: "Invalid suffix",
    -151: "Invalid string data",
    -171: "Invalid expression",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -310: "System error",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
}
"""SCPI-99 volume 2, 21.8: the numbers that these instruments use, with their standard words."""

QUEUE = 20
"""Entries that the error queue holds; the last becomes -350 when another comes (21.8.1)."""
INFINITY, NOT_A_NUMBER = "9.9E+37", "9.91E+37"
"""SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5."""
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:\s*[eE]\s*[+-]?\d+)?)\s*([A-Za-z]*)")
_MULTIPLIERS = {"": 1.0, "U": 1e-6, "M": 1e-3, "K": 1e3, "MA": 1e6, "N": 1e-9, "G": 1e9}
_HEADER = re.compile(r"(\*[A-Za-z]+|:?[A-Za-z][A-Za-z0-9_]*(?::[A-Za-z][A-Za-z0-9_]*)*)(\?)?")


class ScpiError(Exception):
    """A command that cannot be obeyed: goes into the error queue, never to the client as a reply."""

    def __init__(self, code: int, detail: str = "") -> None:
        self.code, self.detail = code, detail
        super().__init__(f"{code} {ERRORS[code]} {detail}")


Handler = Callable[[list[str]], "str | bytes | None"]


@dataclass(frozen=True, slots=True)
class Command:
    """One header of an instrument, as printed in a manual, and what obeys it."""

    pattern: re.Pattern[str]
    handler: Handler
    query: bool


def compile_header(written: str) -> re.Pattern[str]:
    """Return a pattern for a header such as ``CONFigure[:SCALar]:VOLTage[:DC]``.

    Capitals are the short form, the whole word the long form, nothing between them is accepted, and
    case does not matter (SCPI-99 volume 1, 6.2.1); nodes in brackets may be left out (6.2.2).
    """
    text, led = "", False
    for opening, word, _ in re.findall(r"(\[)?:?([A-Za-z]+)(\])?", written):
        short = "".join(letter for letter in word if letter.isupper())
        node = f"(?:{short}|{word.upper()})" if short != word.upper() else short
        if led:
            text += f"(?::{node})?" if opening else f":{node}"
        else:
            text += f"(?:{node}:)?" if opening else node
            led = not opening
    return re.compile(text, re.IGNORECASE)


def split(text: str, at: str) -> list[str]:
    """Split at a separator outside quotes and round brackets.

    Raises
    ------
    ScpiError
        -151 for a string that does not end (IEEE 488.2, 7.7.5).
    """
    parts, current, quote, depth = [], "", "", 0
    for letter in text:
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter in "()":
            depth += 1 if letter == "(" else -1
        elif letter == at and depth == 0:
            parts.append(current)
            current = ""
            continue
        current += letter
    if quote:
        raise ScpiError(-151, text)
    return [*parts, current]


def plain(message: str) -> str:
    """Return a message of printable ASCII, tabs among it; -101 for any other (IEEE 488.2, 7.1.1)."""
    if not message.isascii() or any(ord(letter) < 32 and letter not in "\t\r" for letter in message):
        raise ScpiError(-101)
    return message


def units(message: str) -> Iterator[tuple[str, bool, list[str]]]:
    """Yield header, whether it asks, and parameters of each unit of a program message.

    A header without a leading colon goes on from where the one before it ended, its last node left out;
    common commands do not move that place (SCPI-99 volume 1, 6.2.4).
    """
    path = ""
    for unit in split(message, ";"):
        text = unit.strip()
        if not text:
            continue
        match = _HEADER.match(text)
        if match is None:
            raise ScpiError(-102, text)
        header, rest = match[1], text[match.end() :]
        if rest and not rest[0].isspace():
            raise ScpiError(-102, text)
        if not header.startswith("*"):
            header = header.removeprefix(":") if header.startswith(":") or not path else f"{path}:{header}"
            path = header.rpartition(":")[0]
        parameters = [part.strip() for part in split(rest.strip(), ",")] if rest.strip() else []
        yield header, match[2] == "?", parameters


def number(text: str, unit: str = "", **words: float) -> float:
    """Read a decimal parameter: NRf with an optional suffix, or one of the words given (``MAXimum=…``).

    Raises
    ------
    ScpiError
        -104 for what is no number, -131 for a wrong suffix.
    """
    for name, value in words.items():
        if compile_header(name).fullmatch(text):
            return value
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise ScpiError(-104, text)
    suffix = match[2].upper()
    value = float(match[1].replace(" ", ""))
    if not suffix:
        return value
    # MOHM is the mega-ohm of IEEE 488.2, 7.7.3; elsewhere M is milli.
    if unit == "OHM" and suffix == "MOHM":
        return value * 1e6
    prefix = suffix.removesuffix(unit) if unit and suffix.endswith(unit) else None
    if prefix is None or prefix not in _MULTIPLIERS:
        raise ScpiError(-131, text)
    return value * _MULTIPLIERS[prefix]


def boolean(text: str) -> bool:
    """Read ON, OFF, or a number that rounds to nought or not (SCPI-99 volume 1, 7.3)."""
    if text.upper() in {"ON", "OFF"}:
        return text.upper() == "ON"
    return round(number(text)) != 0


def string(text: str) -> str:
    """Read a quoted string; its quote inside is doubled (IEEE 488.2, 7.7.5)."""
    if len(text) < 2 or text[0] not in "\"'" or text[-1] != text[0]:
        raise ScpiError(-151, text)
    return text[1:-1].replace(text[0] * 2, text[0])


def channels(text: str) -> list[int]:
    """Read a channel list such as ``(@1,3:5)`` (SCPI-99 volume 1, 8.3.2)."""
    match = re.fullmatch(r"\(@([\d:,\s]*)\)", text)
    found: list[int] = []
    for part in (match[1] if match else "").split(","):
        first, between, last = (each.strip() for each in part.partition(":"))
        if not first.isdigit() or (between and not last.isdigit()):
            raise ScpiError(-171, text)
        end = int(last) if between else int(first)
        if not 0 < int(first) <= end <= 1000:
            raise ScpiError(-222, text)
        found += range(int(first), end + 1)
    return found


def nr3(value: float, resolution: float) -> str:
    """Write a number in exponent form, its last digit of the weight of `resolution` (IEEE 488.2, 8.7.4)."""
    last = math.floor(math.log10(resolution) + 1e-9)
    digits = str(round(abs(value) / 10.0**last)).rjust(2, "0")
    sign = "-" if value < 0 else "+"
    return f"{sign}{digits[0]}.{digits[1:]}E{last + len(digits) - 1:+03d}"


def block(payload: bytes) -> bytes:
    """Return a definite-length arbitrary block: ``#``, digits of the length, length, bytes (8.7.9)."""
    length = str(len(payload))
    return f"#{len(length)}{length}".encode("ascii") + payload


@dataclass(slots=True)
class Status:
    """Error queue and event status of an instrument (IEEE 488.2 chapter 11; SCPI-99 volume 2, 21.8)."""

    queue: deque[tuple[int, str]] = field(default_factory=deque)
    event: int = 0x80
    """Event status register; power-on is set when the instrument is made (11.5.1.1.2)."""
    event_enable: int = 0
    service_enable: int = 0

    def error(self, code: int, detail: str = "") -> None:
        """Put an error at the end of the queue; a full queue says so in its last entry."""
        self.event |= _event_bit(code)
        if len(self.queue) >= QUEUE:
            self.queue[-1] = (-350, ERRORS[-350])
            return
        self.queue.append((code, f"{ERRORS[code]};{detail[:200]}" if detail else ERRORS[code]))

    def next_error(self) -> str:
        """Return the oldest error as ``code,"text"`` and take it out of the queue."""
        code, text = self.queue.popleft() if self.queue else (0, ERRORS[0])
        return f'{code},"{text.replace(chr(34), chr(34) * 2)}"'

    def clear(self) -> None:
        """Do ``*CLS``: the queue and the event register, not the enable registers (10.3)."""
        self.queue.clear()
        self.event = 0

    def byte(self) -> int:
        """Return the status byte: error queue not empty, event summary, master summary (11.2)."""
        value = (4 if self.queue else 0) | (32 if self.event & self.event_enable else 0)
        return value | (64 if value & self.service_enable else 0)


def _event_bit(code: int) -> int:
    """Return the bit of the event status register that an error sets (SCPI-99 volume 2, 21.8.9 on)."""
    if -200 < code <= -100:
        return 32
    if -300 < code <= -200:
        return 16
    if -400 < code <= -300:
        return 8
    return 4 if -500 < code <= -400 else 0


class Instrument:
    """One instrument that obeys program messages; subclasses add headers to what every one must know."""

    def __init__(self, identity: str) -> None:
        self.identity = identity
        self.status = Status()
        self._commands: list[Command] = []
        self.add(self._common())

    def add(self, handlers: Mapping[str, Handler]) -> None:
        """Make headers known: those that end in ``?`` ask."""
        for written, handler in handlers.items():
            query = written.endswith("?")
            header = written.removesuffix("?")
            pattern = (
                re.compile(re.escape(header), re.IGNORECASE) if header[0] == "*" else compile_header(header)
            )
            self._commands.append(Command(pattern, handler, query))

    def obey(self, message: str) -> bytes | None:
        """Obey one program message; return the reply without its terminator, None where nothing was asked.

        The answers of several queries are joined by semicolons (IEEE 488.2, 8.4.1). What is wrong goes into
        the error queue; behind a command error (-1xx) the rest of the message is not obeyed, behind any
        other it is (11.5.1.1.4, from memory; instruments differ).
        """
        replies: list[bytes] = []
        try:
            for header, asks, parameters in units(plain(message)):
                answer = self._answer(header, asks, parameters)
                if answer is not None:
                    replies.append(answer.encode("ascii") if isinstance(answer, str) else answer)
        except ScpiError as error:
            self.status.error(error.code, error.detail)
        return b";".join(replies) if replies else None

    def _answer(self, header: str, asks: bool, parameters: list[str]) -> str | bytes | None:
        try:
            return self._find(header, asks)(parameters)
        except ScpiError as error:
            if error.code > -200:
                raise
            self.status.error(error.code, error.detail)
            return None

    def reset(self) -> None:
        """Do ``*RST``: subclasses return to a known state; queue and registers stay (10.32)."""

    def _find(self, header: str, asks: bool) -> Handler:
        for command in self._commands:
            if command.query is asks and command.pattern.fullmatch(header):
                return command.handler
        raise ScpiError(-113, header + ("?" if asks else ""))

    def _common(self) -> dict[str, Handler]:
        status = self.status

        def do(action: Callable[[], object]) -> Handler:
            def run(parameters: list[str]) -> None:
                none(parameters)
                action()

            return run

        def ask(answer: Callable[[], str]) -> Handler:
            def run(parameters: list[str]) -> str:
                none(parameters)
                return answer()

            return run

        def event_status() -> str:
            value, status.event = status.event, 0
            return str(value)

        def complete() -> None:
            status.event |= 1

        def enable(name: str) -> Handler:
            def run(parameters: list[str]) -> None:
                value = round(number(one(parameters)))
                if not 0 <= value <= 255:
                    raise ScpiError(-222, str(value))
                setattr(status, name, value)

            return run

        return {
            "*IDN?": ask(lambda: self.identity),
            "*RST": do(self.reset),
            "*CLS": do(status.clear),
            "*OPC": do(complete),
            "*OPC?": ask(lambda: "1"),
            "*WAI": do(lambda: None),
            "*TST?": ask(lambda: "0"),
            "*ESR?": ask(event_status),
            "*ESE": enable("event_enable"),
            "*ESE?": ask(lambda: str(status.event_enable)),
            "*SRE": enable("service_enable"),
            "*SRE?": ask(lambda: str(status.service_enable)),
            "*STB?": ask(lambda: str(status.byte())),
            "SYSTem:ERRor[:NEXT]?": ask(status.next_error),
            "SYSTem:ERRor:COUNt?": ask(lambda: str(len(status.queue))),
            "SYSTem:VERSion?": ask(lambda: "1999.0"),
        }


def none(parameters: Sequence[str]) -> None:
    """Refuse parameters where there may be none (-108)."""
    if parameters:
        raise ScpiError(-108, ",".join(parameters))


def one(parameters: Sequence[str]) -> str:
    """Return the only parameter (-109 without one, -108 with more)."""
    if not parameters or not parameters[0]:
        raise ScpiError(-109)
    none(parameters[1:])
    return parameters[0]
