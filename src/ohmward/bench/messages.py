"""What a session hands out: answers, notices, and what failed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, Literal, TypeVar

import msgspec

from ohmward.bench.attempt import Attempt
from ohmward.bench.reply import ErrorEntry
from ohmward.errors import Unreachable
from ohmward.text import one_line

T = TypeVar("T")

NoticeKind = Literal[
    "connected", "attempt failed", "lost", "switched on", "switched off", "still on", "error queue", "left"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """What a session has to say, when it happens. Said on the owner thread: pass it on, and return."""

    meter: str
    kind: NoticeKind
    text: str
    attempt: Attempt | None = None


class Answer(msgspec.Struct, Generic[T], frozen=True, kw_only=True):
    """What was asked for, and what it took."""

    result: T
    meter: str
    identity: str
    generation: int
    """Which connection answered; a load that was reconnected in between has been switched off."""
    failed: tuple[Attempt, ...]
    took_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """What a check found."""

    identity: str
    backend: str
    stamped: bool
    errors: tuple[ErrorEntry, ...]
    round_trip_s: float


class MeterFailed(Unreachable):
    """A request that could not be answered; the person can always type instead.

    Attributes
    ----------
    meter : str
    attempts : tuple of Attempt
        What was tried.
    """

    def __init__(self, meter: str, why: str, attempts: tuple[Attempt, ...] = ()) -> None:
        self.meter = meter
        self.attempts = attempts
        super().__init__(f"{one_line(meter)}: {why}")
