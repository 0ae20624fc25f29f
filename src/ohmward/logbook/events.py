"""What can be written in a journal: one struct a kind of record, validated when built.

The names and fields here are format 1 of the log and are read for ever: a field may be added with a
default, none may change its meaning. The journal stores `kind` beside the body.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

import msgspec

from ohmward.quantity import Value

FORMAT = 1

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


class _Body(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, gc=False):
    """Records hold no cycles, so the collector need not look through a million of them."""


class Judged(_Body, frozen=True, kw_only=True):
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


class Transcribed(_Body, frozen=True, kw_only=True):
    """The run was not recorded at the bench: it is older results, copied from paper."""

    date: str
    """ISO date on which the paper says that they were taken: the date the run counts for."""
    by: str
    """Who typed them."""
    source: str
    """What they were copied from, in words."""

    def __post_init__(self) -> None:
        if date.fromisoformat(self.date).isoformat() != self.date:
            raise ValueError(f"'{self.date}' is not a date such as 2019-05-03")


class Earlier(_Body, frozen=True, kw_only=True):
    """A reading of an earlier run, as that run has it; SI base units."""

    step: str
    subject: str = ""
    quantity: str
    unit: str
    kind: Literal["exact", "above", "below", "overload"] = "exact"
    net: float | None = None
    """Less its lead null; a bound's own number; None for an overload."""
    own: float = 0.0
    """Standard uncertainty of this reading alone: last digit and spread."""
    common: float | None = None
    """Standard uncertainty by the accuracy of its meter; None where not stated."""
    limit_low: float | None = None
    limit_high: float | None = None
    meter: str = ""
    serial: str = ""
    calibrated: str = ""
    """ISO date on which that meter was calibrated."""
    rail: str = ""
    load_a: float | None = None
    mains_v: float | None = None
    mains_u: float = 0.0
    ambient_c: float | None = None
    room_c: float | None = None
    elapsed_s: float | None = None
    at: str = ""
    note: str = ""


class Baseline(_Body, frozen=True, kw_only=True):
    """The earlier run that this one is compared with, carried along so that the log needs nothing else."""

    run: str
    at: str
    """When it counts for, ISO 8601 with offset."""
    procedure: str = ""
    last: str = ""
    """Digest of its last record: which journal it was, and that it is still that one."""
    sheet: str = ""
    """Its design sheet, TOML as written; empty where it is this run's own."""
    values: tuple[Earlier, ...] = ()


class Opened(_Body, frozen=True, kw_only=True):
    """First record: all that is needed to read the run without the tool."""

    format: int = FORMAT
    run: str
    tag: str
    operator: str
    simulated: bool
    tool: str
    sheet: str
    """Design sheet, TOML as written."""
    procedure: str
    """Procedure, TOML as written."""
    limits: str
    """Limit set, TOML as written."""
    meters: str = ""
    """Meters with accuracy and calibration dates, TOML as written."""
    purpose: str = ""
    """Who asked for this run and why."""
    transcribed: Transcribed | None = None
    """Set where the run was copied from paper: it proves nothing about how the supply is now."""
    baseline: Baseline | None = None
    """What is compared with; nothing is judged by it."""


class Resumed(_Body, frozen=True, kw_only=True):
    """A new session on the same run."""

    operator: str
    tool: str


class Recovered(_Body, frozen=True, kw_only=True):
    """A torn last line was set aside when the journal was opened again."""

    torn_bytes: int
    set_aside: str
    """Name of the file beside the journal that holds them."""
    sha256: str = ""
    """SHA-256 (hex) of that file."""


class Parts(_Body, frozen=True, kw_only=True):
    """The accessible metal parts, as the person names them."""

    names: tuple[str, ...]


class Acknowledged(_Body, frozen=True, kw_only=True):
    """The cautions of a stage were read and accepted."""

    stage: str


class TestVoltage(_Body, frozen=True, kw_only=True):
    """Insulation is tested at another of the voltages that the limit set allows, from here on."""

    __test__ = False  # no test of pytest's
    volts: float
    reason: str
    """Why not at the limit set's own; may be empty where it is that again."""


class CaseOpened(_Body, frozen=True, kw_only=True):
    """The case is opened: what was proved with it shut is to be proved again."""

    reason: str = ""


class CaseShut(_Body, frozen=True, kw_only=True):
    """The case is shut."""


class Repaired(_Body, frozen=True, kw_only=True):
    """Something was mended or changed."""

    what: str


class Energised(_Body, frozen=True, kw_only=True):
    """Mains applied."""


class SwitchedOff(_Body, frozen=True, kw_only=True):
    """Switched off and unplugged; the residual voltage is still to be measured."""

    reason: str = ""


class Answered(_Body, frozen=True, kw_only=True):
    """A check, answered by the person."""

    step: str
    subject: str = ""
    answer: Literal["pass", "fail", "not applicable"]
    note: str = ""
    after_s: float | None = None
    """Where it is waited for: how long that had lasted by the clock; None where it was not timed."""


class Reading(_Body, frozen=True, kw_only=True):
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
    after_s: float | None = None
    """Where it is waited for or held: how long that had lasted by the clock; None where not timed."""


class Begun(_Body, frozen=True, kw_only=True):
    """What has to last for its time was begun: a test voltage put on, to be held."""

    step: str
    subject: str = ""


class Skipped(_Body, frozen=True, kw_only=True):
    """A step that is not done, and why."""

    step: str
    subject: str = ""
    reason: str


class Overridden(_Body, frozen=True, kw_only=True):
    """A failed check or reading of severity 'fault', accepted in writing."""

    step: str
    subject: str = ""
    reason: str


class Amended(_Body, frozen=True, kw_only=True):
    """An earlier record (by `seq`) was a mistake: why, and what stands in its place."""

    seq: int
    reason: str
    answer: Answered | None = None
    reading: Reading | None = None
    """Both None: the record is withdrawn."""


class Noted(_Body, frozen=True, kw_only=True):
    """A remark, on a step or on the whole run."""

    text: str
    step: str = ""
    subject: str = ""


class SeriesChannel(_Body, frozen=True, kw_only=True):
    """One thing that a series samples."""

    name: str
    """The sensor or place, as in the procedure: 'heat sink +15', 'room air'."""
    meter: str
    function: str
    unit: str
    identity: str = ""
    """What the instrument called itself."""


class SeriesRow(_Body, frozen=True, kw_only=True):
    """One sample of every channel, in the order of the series' channels."""

    at_s: float
    """From the start of the series."""
    values: tuple[float | None, ...]
    """SI units of the channel; None where it gave no number."""
    replies: tuple[str, ...] = ()
    """The raw replies; empty where a channel gave none."""


class SeriesBegun(_Body, frozen=True, kw_only=True):
    """Sampling of a soak began, or went on after an interruption."""

    step: str
    channels: tuple[SeriesChannel, ...]
    interval_s: float
    duration_s: float
    loads: tuple[str, ...] = ()
    """What was set on which rail, in words; empty where a person set the loads."""
    stops: tuple[str, ...] = ()
    """Stop limits, in words."""
    resumed: bool = False
    """It goes on with the series begun before, on the same clock."""


class SeriesRows(_Body, frozen=True, kw_only=True):
    """Samples of the series of a step, written in batches."""

    step: str
    rows: tuple[SeriesRow, ...]


class SeriesGap(_Body, frozen=True, kw_only=True):
    """No samples of a channel (of all, where none is named) from one moment to another."""

    step: str
    channel: str = ""
    from_s: float
    to_s: float
    why: str
    interrupted: bool = False
    """Nobody was there to sample: the loads were off in it."""


class SeriesEnded(_Body, frozen=True, kw_only=True):
    """The series of a step is over."""

    step: str
    at_s: float
    complete: bool
    why: str
    missed: int = 0
    """Samples that were due and not taken, over all channels."""
    load_off: bool = True
    """False: a load under control could not be seen to be off."""


class Captured(_Body, frozen=True, kw_only=True):
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


class Closed(_Body, frozen=True, kw_only=True):
    """Last record: the summary as shown, for a reader without the tool."""

    verdict: str
    summary: tuple[str, ...] = ()
    records: int
    """Count of records before this one."""


Event = (
    Opened
    | Resumed
    | Recovered
    | Parts
    | Acknowledged
    | TestVoltage
    | CaseOpened
    | CaseShut
    | Repaired
    | Energised
    | SwitchedOff
    | Begun
    | Answered
    | Reading
    | Skipped
    | Overridden
    | Amended
    | Noted
    | SeriesBegun
    | SeriesRows
    | SeriesGap
    | SeriesEnded
    | Captured
    | Closed
)

KINDS: dict[str, type[_Body]] = {
    "opened": Opened,
    "resumed": Resumed,
    "recovered": Recovered,
    "parts": Parts,
    "acknowledged": Acknowledged,
    "test-voltage": TestVoltage,
    "case-opened": CaseOpened,
    "case-shut": CaseShut,
    "repaired": Repaired,
    "energised": Energised,
    "switched-off": SwitchedOff,
    "begun": Begun,
    "answered": Answered,
    "reading": Reading,
    "skipped": Skipped,
    "overridden": Overridden,
    "amended": Amended,
    "noted": Noted,
    "series-begun": SeriesBegun,
    "series-rows": SeriesRows,
    "series-gap": SeriesGap,
    "series-ended": SeriesEnded,
    "captured": Captured,
    "closed": Closed,
}


class Record(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One line of a journal."""

    seq: int
    """From 0, without gaps."""
    at: str
    """ISO 8601 with the local offset in which the person worked."""
    elapsed_s: float
    """Monotonic clock since this session began [s]; against `at` it shows a changed clock."""
    event: Event
    prev: str
    """SHA-256 (hex) of the line before; 64 zeros in the first."""
    digest: str
    """SHA-256 (hex) of this line up to its own digest field."""
