"""From a run's journal to what its supply's history keeps of it."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path

from ohmward.analysis.history_facts import LEFT_OUT, PastReading, PastRun
from ohmward.analysis.history_glance import Due, Glance
from ohmward.analysis.points import CURRENT_QUANTITIES
from ohmward.errors import OhmwardError
from ohmward.logbook import Logbook, disk, files, names
from ohmward.logbook.dates import date_of
from ohmward.logbook.events import Answered, Closed, Opened, Reading, Record
from ohmward.logbook.lines import ZEROS, BadLineError, decode, line_hash
from ohmward.procedure.model import ROOM, Item
from ohmward.run.bulk import bulk_state
from ohmward.run.state import Entry, RunState, Standing
from ohmward.text import one_line
from ohmward.textfile import read_text

RIPPLE_FREQUENCY = "ripple-frequency"
"""Step of the shipped procedures that asks whether both half-cycles are there."""
_OF_THE_DAY = LEFT_OUT | CURRENT_QUANTITIES


def past_run(path: Path) -> PastRun:
    """Return what the history keeps of a journal; of one that does not read, what is wrong with it."""
    name = f"{path.parent.name}/{path.name.removesuffix(names.JOURNAL)}"
    try:
        return past_of(name, _records(path))
    except (OhmwardError, ValueError) as error:
        day = (names.parts(path.name) or ("1970-01-01", 0, ""))[0]
        return PastRun(
            run=name, tag=path.parent.name, at=f"{day}T12:00:00+00:00", problem=one_line(str(error))
        )


def _records(path: Path) -> tuple[Record, ...]:
    """Return the records of a journal, raising as `files.read` does.

    Every line has to hold by its own digest and to follow the one before, and all of them the seal; where
    one does not, the whole reading says what is wrong.
    """
    try:
        seal = files.read_seal(path)
        lines = disk.read_file(path).split(b"\n")
        torn = lines.pop()
        records = tuple(map(decode, lines))
    except BadLineError:
        return files.read(path)
    follows = all(
        record.prev == line_hash(line) and record.seq == number
        for number, (line, record) in enumerate(zip(lines, records[1:], strict=False), start=1)
    )
    first, last = (records[0], records[-1]) if records else (None, None)
    follows = follows and first is not None and (first.seq, first.prev) == (0, ZEROS)
    sealed = (
        last is not None and seal is not None and (seal.records, seal.last) == (last.seq + 1, last.digest)
    )
    unsealed = last is not None and seal is None and not isinstance(last.event, Closed)
    if follows and (unsealed or (sealed and not torn)):
        return records
    return files.read(path)


def past_of(name: str, records: tuple[Record, ...]) -> PastRun:
    """Return what the history keeps of a run with these records.

    Raises
    ------
    InputError
        When sheet, procedure or limit set do not read.
    ValueError
        When there is no first record.
    """
    state = bulk_state(records)
    return past_of_state(state, name=name, began_at=records[0].at, last=records[-1].digest)


def past_of_state(state: RunState, *, name: str = "", began_at: str = "", last: str = "") -> PastRun:
    """Return what the history keeps of a run as far as it has come."""
    opened = state.opened
    if opened is None or state.supply is None:
        raise ValueError("a run without its first record")
    return PastRun(
        run=name or opened.run,
        tag=opened.tag,
        at=_counts_for(opened, began_at or _earliest(state)),
        procedure=state.procedure.name if state.procedure else "",
        simulated=opened.simulated,
        transcribed=opened.transcribed is not None,
        closed=state.closed is not None,
        verdict=state.closed.verdict if state.closed else "",
        likely_fault=state.closed.likely_fault if state.closed else "",
        energised=state.energised_seq >= 0,
        operator=opened.operator,
        sheet=opened.sheet,
        parts=state.parts,
        repairs=tuple((at, event.what) for at, event in state.repairs),
        half_missing=tuple(_half_missing(state)),
        readings=tuple(_readings(state)),
        last=last,
        records=state.last_seq + 1,
    )


def _half_missing(state: RunState) -> Iterator[str]:
    for item in state.items:
        entry = state.entries.get(item.key) if item.spec.id == RIPPLE_FREQUENCY else None
        if entry is not None and isinstance(entry.event, Answered) and entry.event.answer == "fail":
            yield item.rail


def _earliest(state: RunState) -> str:
    return min((entry.at for entry in state.entries.values()), default="1970-01-01T00:00:00+00:00")


def _counts_for(opened: Opened, at: str) -> str:
    if opened.transcribed is None:
        return at
    # noon, so that the day stays the same wherever it is read
    return f"{date_of(opened, at).isoformat()}T12:00:00+00:00"


def _readings(state: RunState) -> Iterator[PastReading]:
    """Yield the readings that count, each with the mains and the room as they were last read before it."""
    meters = {meter.name: meter for meter in state.meters}
    nulls = {item.read.subtract for item in state.items if item.read is not None and item.read.subtract}
    conditions = _conditions(state)
    standing = _standing(state)
    rooms, soaked = {}, []
    for item, entry in standing:
        if item.subject.startswith(ROOM) and isinstance(entry.event, Reading):
            rooms[item.step, item.elapsed_s] = entry.event.judged.net
            soaked.append((entry.seq, entry.event.judged.net))
    drawn = _drawn(standing)
    for item, entry in standing:
        event, read = entry.event, item.read
        if read is None or not isinstance(event, Reading):
            continue
        of_the_day = read.condition or read.quantity in _OF_THE_DAY or item.subject.startswith(ROOM)
        if of_the_day or item.step in nulls or item.role:
            continue
        meter = meters.get(event.meter)
        own, common = _uncertainty(event)
        mains, mains_u = _latest(conditions["mains_v"], entry, (item.spec.id, item.subject))
        yield PastReading(
            step=item.step,
            subject=item.subject,
            title=item.title,
            quantity=read.quantity,
            unit=read.unit,
            severity=item.spec.severity,
            kind=event.value.kind,
            net=event.judged.net,
            own=own,
            common=common,
            limit_low=event.judged.limit_low,
            limit_high=event.judged.limit_high,
            verdict=event.judged.verdict,
            meter=event.meter,
            serial=meter.serial if meter else "",
            calibrated=meter.calibrated.isoformat() if meter and meter.calibrated else "",
            rail=item.rail,
            load_a=_load(item, event, drawn),
            together=item.together,
            elapsed_s=item.elapsed_s,
            mains_v=mains,
            mains_u=mains_u,
            ambient_c=_latest(conditions["ambient_c"], entry)[0],
            room_c=_room_before(soaked, entry)
            if item.elapsed_s is None
            else rooms.get((item.step, item.elapsed_s)),
            at=entry.at,
            note=event.note,
        )


def _room_before(soaked: list[tuple[int, float | None]], entry: Entry) -> float | None:
    """Return the room at the end of a soak that something was read hot behind; None where there was none."""
    return max((each for each in soaked if each[0] < entry.seq), default=(0, None))[1]


_Standing = list[tuple[Item, Entry]]


def _standing(state: RunState) -> _Standing:
    """Return the readings that still count, in the order of the procedure."""
    return [
        (item, entry)
        for item in state.items
        if item.read is not None
        and (entry := state.entries.get(item.key)) is not None
        and state.standing(item) is not Standing.STALE
    ]


_Condition = tuple[int, tuple[str, str], float, float]
"""Sequence number, (step id, subject), value and standard uncertainty."""


def _conditions(state: RunState) -> dict[str, list[_Condition]]:
    """Return every reading of mains and room, in the order in which they were taken."""
    found: dict[str, list[_Condition]] = {"mains_v": [], "ambient_c": []}
    for item in state.items:
        read, entry = item.read, state.entries.get(item.key)
        if read is None or not read.condition or entry is None:
            continue
        event = entry.event
        if isinstance(event, Reading) and event.judged.net is not None:
            own, common = _uncertainty(event)
            place = (item.spec.id, item.subject)
            found[read.condition].append((entry.seq, place, event.judged.net, math.hypot(own, common or 0.0)))
    return {name: sorted(each) for name, each in found.items()}


def _latest(
    conditions: list[_Condition], entry: Entry, place: tuple[str, str] = ("", "")
) -> tuple[float | None, float]:
    """Return a condition as read at the same load point, else last before a reading, else first after it."""
    for _, there, value, u in conditions:
        if place[1] and there == place:
            return value, u
    before = [each for each in conditions if each[0] <= entry.seq]
    chosen = before[-1] if before else conditions[0] if conditions else None
    return (None, 0.0) if chosen is None else (chosen[2], chosen[3])


def _uncertainty(event: Reading) -> tuple[float, float | None]:
    """Return the standard uncertainty of a reading alone, and what its meter's accuracy adds."""
    from ohmward.analysis.rails import split

    own, common = split(event)
    return own, None if event.judged.uncertainty is None else common


def _drawn(standing: _Standing) -> dict[tuple[str, str], float]:
    """Return the currents read at load points, by step id and subject."""
    return {
        (item.spec.id, item.subject): abs(entry.event.judged.net)
        for item, entry in standing
        if item.read is not None
        and item.read.quantity in CURRENT_QUANTITIES
        and isinstance(entry.event, Reading)
        and entry.event.judged.net is not None
    }


def _load(item: Item, event: Reading, drawn: dict[tuple[str, str], float]) -> float | None:
    if item.load_a is None:
        return None
    if event.drawn is not None and event.drawn.number is not None:
        return abs(event.drawn.si)
    return drawn.get((item.spec.id, item.subject), abs(item.load_a))


def untested(logbook: Path, glances: Sequence[Glance], today: date) -> tuple[Due, ...]:
    """Return, as due today, the supplies that have a design sheet in the logbook and no run yet."""
    known = {each.tag for each in glances}
    found = []
    for path in Logbook(logbook).sheets():
        if path.stem in known:
            continue
        tag = _tag_of(path)
        if tag not in known:
            found.append(
                Due(
                    tag=tag,
                    on=today.isoformat(),
                    overdue_days=0,
                    procedure="commissioning",
                    reason="never tested",
                    words="it has a design sheet and no run",
                )
            )
    return tuple(found)


def _tag_of(path: Path) -> str:
    """Return the tag that a sheet gives; the file's own name where it does not read."""
    try:
        return str(tomllib.loads(read_text(path)).get("tag", "")) or path.stem
    except (OhmwardError, tomllib.TOMLDecodeError):
        return path.stem
