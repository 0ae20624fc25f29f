"""Where a run stands: a pure fold of its records.

Only what records say may live in `RunState`; whatever can be derived (standing of an item, what
blocks the next move) is a function of it. `advance` refuses an illegal event through the same gates
as every front end and then changes nothing but `violations`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from enum import StrEnum

from ohmward.bench.meters import Meter
from ohmward.bench.meters import loads as load_meters
from ohmward.errors import Refused
from ohmward.logbook.events import (
    Acknowledged,
    Amended,
    Answered,
    Begun,
    Captured,
    CaseOpened,
    CaseShut,
    Closed,
    Energised,
    Noted,
    Opened,
    Overridden,
    Parts,
    Reading,
    Record,
    Recovered,
    Repaired,
    Resumed,
    SeriesBegun,
    SeriesEnded,
    SeriesGap,
    SeriesRows,
    Skipped,
    SwitchedOff,
    TestVoltage,
)
from ohmward.procedure import LimitSet, loads, loads_limits
from ohmward.procedure.model import Item, Procedure, Stage
from ohmward.run.layout import is_dead_test, laid_out
from ohmward.run.series import Series, after_series
from ohmward.run.taken import Stamp, Taken, without_capture
from ohmward.run.together import reopened
from ohmward.supply import loads as load_sheet
from ohmward.supply.model import Supply

Key = tuple[str, str]


class Phase(StrEnum):
    """What the supply is electrically, as far as the records say."""

    DEAD = "dead"
    LIVE = "live"
    HALTED = "halted"
    """Live, and a danger or a stop limit was met: the only way on is to switch off."""
    OFF = "off"
    """Switched off and unplugged, residual voltage not yet shown to be safe."""
    CLOSED = "closed"
    PAPER = "on paper"
    """Copied from paper: no supply is in hand, and no move leads to an energised one."""


class Standing(StrEnum):
    """How an item stands now."""

    NOT_DONE = "not done"
    PASSED = "passed"
    FAILED = "failed"
    OVERRIDDEN = "overridden"
    SKIPPED = "skipped"
    NOT_APPLICABLE = "not applicable"
    STALE = "stale"


SETTLED = frozenset({Standing.PASSED, Standing.OVERRIDDEN, Standing.SKIPPED, Standing.NOT_APPLICABLE})
_GOOD_VERDICTS = frozenset({"pass", "conditional pass", "not stated: pass", "not applicable"})

# Which events a phase admits at all; the gates say when. `advance` adds two derived moves:
# LIVE -> HALTED when a danger is open, OFF -> DEAD when the residual voltage has been proved.
# Samples on their way when a run halts, or mains goes off, are still recorded.
_ALWAYS: frozenset[type] = frozenset(
    {Amended, Noted, Resumed, Recovered, SeriesRows, SeriesGap, SeriesEnded, Captured}
)
_SAMPLED = (SeriesRows, SeriesGap, Captured)  # they come fast, and change nothing of what is asked for
TRANSITIONS: dict[Phase, frozenset[type]] = {
    Phase.DEAD: _ALWAYS
    | {Parts, Acknowledged, CaseOpened, CaseShut, Repaired, Energised, Answered, Reading, Skipped}
    | {Begun, Overridden, TestVoltage, Closed},
    Phase.LIVE: _ALWAYS
    | {Acknowledged, SwitchedOff, Begun, Answered, Reading, Skipped, Overridden, SeriesBegun},
    Phase.HALTED: _ALWAYS | {SwitchedOff},
    Phase.OFF: _ALWAYS | {Begun, Answered, Reading},
    Phase.CLOSED: frozenset({Recovered}),
    # What a paper can say; nothing that happens at a bench, so that no such run ever goes live.
    Phase.PAPER: frozenset({Amended, Noted, Resumed, Recovered, Parts, Repaired, Answered, Reading, Closed})
    | {TestVoltage},
}


@dataclass(frozen=True, slots=True)
class Entry:
    """The current answer, reading or skip of an item, and the record it came from."""

    seq: int
    at: str
    event: Answered | Reading | Skipped
    amended: str = ""
    """Reason of the amendment that put it here; empty when it stands as first recorded."""
    amended_seq: int = -1
    override: Overridden | None = None


@dataclass(frozen=True, kw_only=True)
class RunState:
    """A run as its records tell it. Sequence numbers are -1 where the event has not happened."""

    opened: Opened | None = None
    supply: Supply | None = None
    procedure: Procedure | None = None
    limits: LimitSet | None = None
    meters: tuple[Meter, ...] = ()
    items: tuple[Item, ...] = ()
    """What is asked for: of the further times of a soak, those that are wanted as it stands."""
    by_key: dict[Key, Item] = field(default_factory=dict)
    """Every item that can be recorded."""
    parts: tuple[str, ...] = ()
    test_voltage: TestVoltage | None = None
    """What insulation is tested at in place of the limit set's voltage; None where it is that."""
    phase: Phase = Phase.DEAD
    case_open: bool = True
    opened_seq: int = -1
    repaired_seq: int = -1
    energised_seq: int = -1
    acknowledged: dict[str, int] = field(default_factory=dict)
    entries: dict[Key, Entry] = field(default_factory=dict)
    history: dict[int, tuple[Key, Answered | Reading | Skipped]] = field(default_factory=dict)
    """Every entry ever recorded, by sequence number; nothing leaves it."""
    notes: tuple[tuple[str, Noted], ...] = ()
    repairs: tuple[tuple[str, Repaired], ...] = ()
    superseded: tuple[tuple[str, Answered | Reading | Skipped, str], ...] = ()
    """Entries that a later one or an amendment took the place of: when, what, and why it went."""
    series: dict[str, Series] = field(default_factory=dict)
    """By step: what was sampled through its soak, the latest where it was done again."""
    captures: dict[Key, tuple[Taken, ...]] = field(default_factory=dict)
    """By (step, subject), the latest last: of steps that ask for a waveform, and of others as evidence."""
    mains: dict[str, Stamp] = field(default_factory=dict)
    """The latest ``energised`` and ``switched-off``."""
    begun: dict[Key, Stamp] = field(default_factory=dict)
    """The latest beginning of what has to be held."""
    withdrawn: tuple[tuple[str, Captured, str], ...] = ()
    """Waveforms taken back: when, which, and why; their files stay."""
    closed: Closed | None = None
    sessions: tuple[tuple[int, str], ...] = ()
    """Each time it was gone on with: the record, and the file that it was fed from; empty for none."""
    last_seq: int = -1
    violations: tuple[tuple[int, str], ...] = ()
    """Records that no gate would have let through: a journal written by something else."""

    def standing(self, item: Item) -> Standing:
        """Return how `item` stands now.

        One that asks for a waveform has passed when it is recorded: what it shows is not judged here.
        """
        entry = self.entries.get(item.key)
        waveform = self.waveform_of(item)
        if waveform is not None and (entry is None or entry.seq < waveform.seq):
            return Standing.STALE if waveform.seq < self.stale_before(item) else Standing.PASSED
        if entry is None:
            return Standing.NOT_DONE
        event = entry.event
        failed = not isinstance(event, Skipped) and not _counts(event)
        if entry.seq < self.stale_before(item) or (failed and entry.seq < self.repaired_seq):
            return Standing.STALE
        if isinstance(event, Skipped):
            return Standing.SKIPPED
        if failed:
            return Standing.OVERRIDDEN if entry.override else Standing.FAILED
        set_aside = isinstance(event, Answered) and event.answer == "not applicable"
        return Standing.NOT_APPLICABLE if set_aside else Standing.PASSED

    def waveform_of(self, item: Item) -> Taken | None:
        """Return the latest waveform of an item that asks for one; None where none is recorded."""
        taken = self.captures.get(item.key, ()) if item.is_waveform else ()
        return taken[-1] if taken else None

    def stale_before(self, item: Item) -> int:
        """Return the sequence number before which a result of `item` no longer counts."""
        rule = item.spec.stale
        null = self.entries.get((item.read.subtract, "")) if item.read and item.read.subtract else None
        since_null = max(null.seq, null.amended_seq) if null else -1
        if rule == "energising":
            return max(self.energised_seq, since_null)
        if is_dead_test(item) and rule in {"never", "repair"}:
            rule = "opening"  # gate 3 holds whatever a procedure file says
        since = {
            "never": -1,
            "repair": self.repaired_seq,
            "opening": max(self.opened_seq, self.repaired_seq),
        }[rule]
        return max(since, since_null)

    def settled(self, item: Item) -> bool:
        """Return whether `item` no longer stands in the way of a later step."""
        standing = self.standing(item)
        return standing in SETTLED or (standing is Standing.FAILED and item.spec.severity == "improvement")

    def acknowledged_now(self, stage: str) -> bool:
        """Return whether the cautions of `stage` were acknowledged since the case was last open."""
        return self.acknowledged.get(stage, -1) > max(self.opened_seq, self.repaired_seq)

    def stage(self, name: str) -> Stage:
        """Return the stage called `name`; KeyError when the procedure has none."""
        for stage in self.procedure.stages if self.procedure else ():
            if stage.name == name:
                return stage
        raise KeyError(name)

    def item(self, step: str, subject: str = "") -> Item:
        """Return the item at an address; KeyError when the run has none."""
        return self.by_key[step, subject]

    def condition(self, name: str) -> float | None:
        """Return the latest reading of a condition of the moment (``mains_v`` or ``ambient_c``)."""
        latest: Entry | None = None
        for key, entry in self.entries.items():
            read = self.by_key[key].read
            counts = read is not None and read.condition == name and isinstance(entry.event, Reading)
            if counts and (latest is None or entry.seq > latest.seq):
                latest = entry
        if latest is None or not isinstance(latest.event, Reading) or latest.event.value.number is None:
            return None
        return latest.event.value.si

    @property
    def simulated(self) -> bool:
        """Whether this is a rehearsal."""
        return self.opened is not None and self.opened.simulated


def _counts(event: Answered | Reading) -> bool:
    if isinstance(event, Answered):
        return event.answer != "fail"
    return event.judged.verdict in _GOOD_VERDICTS and not event.judged.past_stop


def state(records: Iterable[Record]) -> RunState:
    """Fold `records` from the first on."""
    result = RunState()
    for record in records:
        result = advance(result, record)
    return result


def advance(before: RunState, record: Record) -> RunState:
    """Return the state after one more record; an event that no gate admits is named and ignored."""
    from ohmward.run.gates import admit

    try:
        admit(before, record.event)
    except Refused as refusal:
        violations = (*before.violations, (record.seq, str(refusal)))
        return replace(before, last_seq=record.seq, violations=violations)
    return apply(before, record)


def apply(before: RunState, record: Record) -> RunState:
    """Return the state after a record already admitted by the gates."""
    after = replace(_reopened(_changed(before, record)), last_seq=record.seq)
    return _derived(after if isinstance(record.event, _SAMPLED) else _asked(after))


def _changed(s: RunState, record: Record) -> RunState:  # noqa: PLR0911, PLR0912 one branch an event kind
    event, seq = record.event, record.seq
    match event:
        case Opened():
            return _begun(s, event)
        case Parts():
            return _with_items(replace(s, parts=event.names))
        case Acknowledged():
            return replace(s, acknowledged={**s.acknowledged, event.stage: seq})
        case TestVoltage():
            return replace(s, test_voltage=event)
        case CaseOpened():
            return replace(s, case_open=True, opened_seq=seq)
        case CaseShut():
            return replace(s, case_open=False)
        case Repaired():
            return replace(s, repaired_seq=seq, repairs=(*s.repairs, (record.at, event)))
        case Energised():
            mains = {**s.mains, "energised": Stamp(seq, record.at)}
            return replace(s, phase=Phase.LIVE, energised_seq=seq, mains=mains)
        case SwitchedOff():
            return replace(s, phase=Phase.OFF, mains={**s.mains, "switched-off": Stamp(seq, record.at)})
        case Begun():
            return replace(s, begun={**s.begun, (event.step, event.subject): Stamp(seq, record.at)})
        case Answered() | Reading() | Skipped():
            key = (event.step, event.subject)
            return replace(
                s,
                entries={**s.entries, key: Entry(seq, record.at, event)},
                history={**s.history, seq: (key, event)},
                superseded=_superseded(s, key, "taken again"),
            )
        case Overridden():
            key = (event.step, event.subject)
            return replace(s, entries={**s.entries, key: replace(s.entries[key], override=event)})
        case Amended():
            return _amended(s, event, record)
        case Noted():
            return replace(s, notes=(*s.notes, (record.at, event)))
        case SeriesBegun() | SeriesRows() | SeriesGap() | SeriesEnded():
            return replace(s, series=after_series(s.series, record))
        case Captured():
            key = (event.step, event.subject)
            taken = (*s.captures.get(key, ()), Taken(seq, record.at, event))
            return replace(s, captures={**s.captures, key: taken})
        case Closed():
            return replace(s, phase=Phase.CLOSED, closed=event)
        case Resumed():
            return replace(s, sessions=(*s.sessions, (seq, event.fed)))
        case Recovered():
            return s


def _begun(s: RunState, event: Opened) -> RunState:
    supply = load_sheet(event.sheet, f"{event.run}: design sheet")
    begun = replace(
        s,
        opened=event,
        phase=Phase.DEAD if event.transcribed is None else Phase.PAPER,
        supply=supply,
        procedure=loads(event.procedure, f"{event.run}: procedure"),
        limits=loads_limits(event.limits, f"{event.run}: limit set"),
        meters=load_meters(event.meters, f"{event.run}: meters") if event.meters else (),
        parts=supply.parts,
    )
    return _with_items(begun)


def _with_items(s: RunState) -> RunState:
    assert s.procedure is not None and s.supply is not None and s.limits is not None  # noqa: PT018
    items = laid_out(s.procedure, s.supply, s.limits, s.parts)
    return replace(s, items=items, by_key={item.key: item for item in items})


def _amended(s: RunState, event: Amended, record: Record) -> RunState:
    if event.seq not in s.history:
        captures, taken = without_capture(s.captures, event.seq)
        gone = tuple((each.at, each.event, event.reason) for each in taken)
        return replace(s, captures=captures, withdrawn=(*s.withdrawn, *gone))
    key, _ = s.history[event.seq]
    entry = s.entries.get(key)
    if entry is None or entry.seq != event.seq:
        return s  # an older take: the amendment stays in the journal, the present entry stands
    entries = dict(s.entries)
    instead = event.answer or event.reading
    if instead is None:
        del entries[key]
    else:
        entries[key] = Entry(entry.seq, record.at, instead, amended=event.reason, amended_seq=record.seq)
    return replace(s, entries=entries, superseded=_superseded(s, key, f"amended, reason: “{event.reason}”"))


def _superseded(s: RunState, key: Key, why: str) -> tuple[tuple[str, Answered | Reading | Skipped, str], ...]:
    old = s.entries.get(key)
    return s.superseded if old is None else (*s.superseded, (old.at, old.event, why))


def _reopened(s: RunState) -> RunState:
    """Return a state in which what went with a step is due again where that is left out no more."""
    for key in reopened(s.entries):
        left = {other: entry for other, entry in s.entries.items() if other != key}
        s = replace(s, entries=left, superseded=_superseded(s, key, "due after all"))
    return s


def _asked(s: RunState) -> RunState:
    from ohmward.run.rising import asked_for

    return replace(s, items=asked_for(s))


def _derived(s: RunState) -> RunState:
    from ohmward.run.gates import halt_reasons, made_safe

    if s.phase is Phase.LIVE and halt_reasons(s):
        return replace(s, phase=Phase.HALTED)
    if s.phase is Phase.OFF and made_safe(s):
        return replace(s, phase=Phase.DEAD)
    if s.phase is Phase.DEAD and s.energised_seq >= 0 and not made_safe(s):
        return replace(s, phase=Phase.OFF)  # a residual voltage amended after all
    return s
