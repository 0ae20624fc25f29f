"""Asking an instrument of `support.scpi` through a session, and telling right answers from wrong ones."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import dataclass, field

import msgspec

from ohmward.bench import profile
from ohmward.bench.messages import MeterFailed
from ohmward.bench.profile import Profile
from ohmward.bench.session import Session
from support.scpi import AtRandom, Instrument

TIMEOUT_S = 0.06
SLOW_S = 0.14
"""Past the timeout, so that the answer comes when the next question is asked."""


def quick(name: str, *, stamps: bool = True, timeout_s: float = TIMEOUT_S) -> Profile:
    found = profile.load(name)
    measures = tuple(
        msgspec.structs.replace(each, timeout_s=timeout_s, settling_s=0.0) for each in found.measures
    )
    return msgspec.structs.replace(found, timeout_s=timeout_s, measures=measures, stamps=stamps)


class OneFault:
    def __init__(self, fault: str) -> None:
        self._left = [fault]

    def __call__(self, _: str) -> str:
        return self._left.pop() if self._left else ""


@dataclass
class Tally:
    right: int = 0
    failed: int = 0
    attempts: int = 0
    wrong: list[str] = field(default_factory=list)
    faults: Counter[str] = field(default_factory=Counter)


def ask(session: Session, instrument: Instrument, faults: AtRandom, count: int, tally: Tally) -> None:
    """Ask for volts and amps until so many faults have struck; check each answer: what, when, for what."""
    wanted = {"dc volts": "CONF:VOLT:DC READ?", "dc amps": "CONF:CURR:DC READ?"}
    turn = 0
    while faults.counts.total() < count:
        turn += 1
        what = "dc amps" if turn % 3 == 0 else "dc volts"
        asked = time.monotonic()
        try:
            answer = session.measure(what).result(30)
        except MeterFailed as error:
            tally.failed += 1
            tally.attempts += len(error.attempts)
            continue
        tally.attempts += 1 + len(answer.failed)
        served = instrument.served.get(answer.result.raw)
        if served is None or served.at < asked or served.question != wanted[what]:
            tally.wrong.append(f"{what}: {answer.result.raw} {served}")
        else:
            tally.right += 1
