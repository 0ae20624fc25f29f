"""What comes of a step: an answer, a reading, a waveform, why there is none, and what was amended."""

from __future__ import annotations

from typing import Literal

from ohmward.logbook.events.body import Body
from ohmward.quantity import Value

Verdict = Literal[
    "pass",
    "conditional pass",
    "conditional fail",
    "fail",
    "not stated: pass",
    "not stated: fail",
    "undecided",
    "not applicable",
    "not done",
]
"""ILAC-G8 words; 'not stated' is simple acceptance without a known uncertainty; 'undecided' is a
bound or overload that the limit cannot be judged against."""


class Judged(Body, frozen=True, kw_only=True):
    """The judgement shown to the person when the reading was taken; SI units of the reading."""

    verdict: Verdict
    net: float | None = None
    """The number judged: the reading less the lead null where there is one; None for an overload."""
    limit_low: float | None = None
    limit_high: float | None = None
    basis: str = ""
    uncertainty: float | None = None
    """Expanded uncertainty U of `net`; None where not stated."""
    coverage: float | None = None
    probability: float | None = None
    """Conformance probability (JCGM 106)."""
    expected_value: float | None = None
    expected_low: float | None = None
    expected_high: float | None = None
    as_expected: bool | None = None
    past_stop: bool = False
    note: str = ""
    """In words: why, and what it means."""


class Answered(Body, frozen=True, kw_only=True):
    """A check, answered by the person."""

    step: str
    subject: str = ""
    answer: Literal["pass", "fail", "not applicable"]
    note: str = ""
    after_s: float | None = None
    """Where it is waited for: how long that had lasted by the clock; None where it was not timed."""
    against: str = ""
    """What the readings say against a pass that was given all the same; empty where they say nothing."""


class Reading(Body, frozen=True, kw_only=True):
    """A value, typed or read from a meter, with the judgement shown."""

    step: str
    subject: str = ""
    value: Value
    meter: str = ""
    note: str = ""
    confirmed: bool = False
    """Outside the plausible range, and the person said that it is so."""
    judged: Judged
    replies: tuple[str, ...] = ()
    """Raw replies of the meter, when it was not typed."""
    count: int = 1
    standard_deviation: float | None = None
    immediate: Value | None = None
    """At a load point: what it read as soon as the load was on, before the dwell."""
    drawn: Value | None = None
    """At a load point: the current that the load itself read with it [A]."""
    test_v: float | None = None
    """Insulation: the voltage that it was tested at [V]."""
    test_a: float | None = None
    """Resistance: the current that it was measured with, as told where no list says it of the meter [A]."""
    after_s: float | None = None
    """Where it is waited for or held: how long that had lasted by the clock; None where not timed."""


class Captured(Body, frozen=True, kw_only=True):
    """A waveform, stored as CSV beside the journal."""

    step: str
    subject: str = ""
    file: str
    """Name of the file beside the journal."""
    sha256: str
    """SHA-256 (hex) of its bytes."""
    samples: int
    interval_s: float
    unit: str
    source: str
    """Meter and connection, or the file and column it came from."""
    meter: str = ""
    identity: str = ""
    point: str = ""
    """What the probe was on: 'reservoir' or 'output'."""


class Begun(Body, frozen=True, kw_only=True):
    """What has to last for its time was begun: a test voltage put on, to be held."""

    step: str
    subject: str = ""


class Skipped(Body, frozen=True, kw_only=True):
    """A step that is not done, and why."""

    step: str
    subject: str = ""
    reason: str
    left_out_with: str = ""
    """Step that it was left out together with; empty where it was left out for itself."""


class Overridden(Body, frozen=True, kw_only=True):
    """A failure of severity 'fault' gone on with in writing: it settles a check; a reading stays failed."""

    step: str
    subject: str = ""
    reason: str


class Amended(Body, frozen=True, kw_only=True):
    """An earlier record (by `seq`) was a mistake: why, and what stands in its place."""

    seq: int
    reason: str
    answer: Answered | None = None
    reading: Reading | None = None
    """Both None: the record is withdrawn."""


class Noted(Body, frozen=True, kw_only=True):
    """A remark, on a step or on the whole run."""

    text: str
    step: str = ""
    subject: str = ""
