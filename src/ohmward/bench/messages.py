"""What a session hands out: answers, failed attempts, notices, and the request it was asked."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, InvalidStateError
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, Generic, Literal, TypeVar

import msgspec

from ohmward.bench.attempt import Attempt
from ohmward.bench.conversation import Conversation
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


@dataclass(kw_only=True)
class Job:
    """A request in the queue of a session."""

    what: str
    do: Callable[[Conversation], Any]
    future: Future[Any]
    repeatable: bool
    attempts: int
    limit_s: float
    began: float = 0.0
    since: float = 0.0
    """When its latest reading was had, or it began: the wall clock counts from there."""
    failed: list[Attempt] = field(default_factory=list)
    in_a_row: int = 0
    """How many attempts have failed since its latest reading."""
    told: int = 0
    """How many failed attempts went with the readings had so far."""

    def fail(self, meter: str, why: str) -> None:
        """Answer that it failed."""
        with suppress(InvalidStateError):  # the wall clock was quicker
            self.future.set_exception(MeterFailed(meter, why, tuple(self.failed)))

    def answer(self, result: object) -> None:
        """Answer it."""
        with suppress(InvalidStateError):  # the wall clock was quicker: it has been answered as failed
            self.future.set_result(result)
