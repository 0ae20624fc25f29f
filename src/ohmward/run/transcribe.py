"""Old results on paper into the logbook: each date a closed run that says that it was copied.

Nothing of it was seen at a bench: readings are judged with their uncertainty not stated, the run can
never be live (`Phase.PAPER`), and it counts for the date on the paper, not for the day of typing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from pathlib import Path

from ohmward.errors import InputError, Mistake, OhmwardError, Refused
from ohmward.logbook import Clock, Logbook, SystemClock, read
from ohmward.logbook.clock import aware_now
from ohmward.logbook.events import (
    Answered,
    Closed,
    Event,
    Noted,
    Opened,
    Parts,
    Reading,
    Record,
    Repaired,
    Transcribed,
)
from ohmward.logbook.incoming import write_closed
from ohmward.logbook.lines import ZEROS
from ohmward.procedure import expand, loads, loads_limits, source_text, source_text_limits
from ohmward.procedure.model import Item
from ohmward.quantity import QuantityError, implausible, parse
from ohmward.run.expected import band_of
from ohmward.run.gates import admit, describe
from ohmward.run.judging import same_leads
from ohmward.run.state import RunState, Standing, apply, state
from ohmward.run.transcribe_rows import NOT_RESULTS, PaperRow, mistake, parse_paper, template
from ohmward.supply import loads as load_sheet
from ohmward.textfile import read_text

_ANSWERS = frozenset({"pass", "fail", "not applicable"})
_TEMPLATE = "Take the names of steps from 'ohmward import SHEET --template'"
NO_NULL = "no lead null of these leads on paper: judged as read"


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperRun:
    """What one date of a paper became."""

    day: date
    readings: int
    checks: int
    verdict: str
    path: Path | None
    """Of its journal; None where nothing was written yet."""
    already: bool = False
    """It was in the logbook before, the same in every result."""
    beside: tuple[str, ...] = ()
    """Other runs of that supply and date that were copied from paper: perhaps an earlier typing of it."""


def paper_template(sheet: Path, procedure: str, limits: str = "") -> str:
    """Return the CSV file to be filled in for a supply; raises as `transcribe` does for its sheet."""
    supply = load_sheet(read_text(sheet), str(sheet))
    name = limits or supply.limit_set
    asked = loads(source_text(procedure), procedure)
    items = expand(asked, supply, loads_limits(source_text_limits(name), name), supply.parts)
    return template(items)


def transcribe(
    logbook: Path,
    sheet: Path,
    paper: Path,
    *,
    by: str,
    source: str,
    tool: str,
    procedure: str = "retest",
    limits: str = "",
    day: date | None = None,
    simulated: bool = False,
    try_only: bool = False,
    clock: Clock | None = None,
) -> tuple[PaperRun, ...]:
    """Copy a file of old results into the logbook, a closed run for each date.

    Parameters
    ----------
    logbook, sheet, paper : Path
        Where to, of which supply, and the CSV file (see `transcribe_rows`).
    by : str
        Who typed it.
    source : str
        What it was copied from, in words.
    tool : str
    procedure, limits : str
        What the results are compared with.
    day : date, optional
        The date of the whole file, where it has no column of dates.
    simulated : bool
        The results are made up, for an example.
    try_only : bool
        Check everything and write nothing.
    clock : Clock, optional

    Returns
    -------
    tuple of PaperRun
        The oldest first. A date that is here already, the same in every result, is not written again.

    Raises
    ------
    InputError
        With every mistake of sheet or paper at once; nothing was written.
    Unreachable
        When a file cannot be read or written. What was written before stands; the same again goes on.
    """
    clock = clock or SystemClock()
    opened = _opened(sheet, by=by, source=source, tool=tool, procedure=procedure, limits=limits)
    opened = _simulated(opened) if simulated else opened
    rows, unread = parse_paper(read_text(paper), str(paper), today=aware_now(clock).date(), day=day)
    papers, mistakes = [], list(unread)
    for each, group in groupby(sorted(rows, key=lambda row: row.day), key=lambda row: row.day):
        made = _Paper(opened, each, tuple(group), str(paper))
        mistakes += made.mistakes
        papers.append(made)
    if mistakes:
        raise InputError(sorted(mistakes, key=_line_of))
    name = loads(opened.procedure, procedure).name
    return tuple(_written(logbook, made, name, clock, try_only=try_only) for made in papers)


def _line_of(mistake: Mistake) -> int:
    line = mistake.where.rpartition(": line ")[2]
    return int(line) if line.isdigit() else 0


def _opened(sheet: Path, *, by: str, source: str, tool: str, procedure: str, limits: str) -> Opened:
    if not by.strip() or not source.strip():
        raise InputError(
            [
                Mistake(
                    where="command line",
                    field="--operator" if not by.strip() else "--source",
                    value="",
                    why="a copied run says who typed it and from what",
                    mend="Give your name, and what the results were copied from",
                )
            ]
        )
    text = read_text(sheet)
    supply = load_sheet(text, str(sheet))
    procedure_text = source_text(procedure)
    loads(procedure_text, procedure)
    limits_text = source_text_limits(limits or supply.limit_set)
    loads_limits(limits_text, limits or supply.limit_set)
    return Opened(
        run="",
        tag=supply.tag,
        operator="",
        simulated=False,
        tool=tool,
        sheet=text,
        procedure=procedure_text,
        limits=limits_text,
        transcribed=Transcribed(date="1970-01-01", by=by, source=source),  # each date its own, below
    )


def _simulated(opened: Opened) -> Opened:
    import msgspec

    return msgspec.structs.replace(opened, simulated=True)


class _Paper:
    """The results of one date, on their way to be a run; `mistakes` says what is wrong with them."""

    def __init__(self, opened: Opened, day: date, rows: Sequence[PaperRow], where: str) -> None:
        import msgspec

        assert opened.transcribed is not None
        copied = msgspec.structs.replace(opened.transcribed, date=day.isoformat())
        people = list(dict.fromkeys(row.operator for row in rows if row.operator))
        measured = ", ".join(people) or "not on the paper"
        self.day, self.where = day, where
        self.opened = msgspec.structs.replace(opened, transcribed=copied, operator=measured)
        self.events: list[Event] = [self.opened]
        self.mistakes: list[Mistake] = []
        self._seen: dict[tuple[str, str], int] = {}
        self._state = state([self._record(self.opened)])
        for row in self._in_order(rows):
            self._take(row)

    @property
    def state(self) -> RunState:
        """Where the run stands with every result that could be taken."""
        return self._state

    def _in_order(self, rows: Sequence[PaperRow]) -> Iterator[PaperRow]:
        """Yield the parts first, then mains and room, which what is expected is computed at."""
        for wanted in (0, 1, 2):
            yield from (row for row in rows if self._rank(row) == wanted)

    def _rank(self, row: PaperRow) -> int:
        if row.step == "parts":
            return 0
        item = self._state.by_key.get(row.key)
        return 1 if item is not None and item.read is not None and item.read.condition else 2

    def _take(self, row: PaperRow) -> None:
        try:
            event = self._event(row)
            if event is not None:
                admit(self._state, event)
                self._state = apply(self._state, self._record(event))
                self.events.append(event)
                self._seen.setdefault(row.key, row.line)
        except Refused as refusal:
            column = {"step": "step", "subject": "subject", "mend": "note", "reason": "note"}.get(
                refusal.gate, "value"
            )
            mend = _TEMPLATE if refusal.gate == "step" else refusal.mend
            self.mistakes.append(mistake(self.where, row, column, "; ".join(refusal.reasons), mend))
        except QuantityError as error:
            self.mistakes += [
                mistake(self.where, row, "value", each.why, each.mend) for each in error.mistakes
            ]

    def _event(self, row: PaperRow) -> Event | None:
        if row.step in NOT_RESULTS:
            return _not_result(row)
        if not row.value:
            return Noted(text=row.note, step=row.step, subject=row.subject) if row.note else None
        first = self._seen.get(row.key)
        if first is not None and not row.note:
            raise Refused(
                "twice",
                [f"the same step of the same date as line {first}"],
                "Take one of the two out; or say in its note why it was done again",
            )
        item = self._item(row)
        if row.value.lower() in _ANSWERS:
            return Answered(step=row.step, subject=row.subject, answer=row.value.lower(), note=row.note)  # type: ignore[arg-type]
        return self._reading(row, item)

    def _item(self, row: PaperRow) -> Item:
        item = self._state.by_key.get(row.key)
        if item is None:  # the gate has the words for a wrong step or subject
            admit(self._state, Answered(step=row.step, subject=row.subject, answer="pass"))
            raise Refused("step", [f"no step '{row.step}'"], "See the template")
        return item

    def _reading(self, row: PaperRow, item: Item) -> Reading:
        from ohmward.analysis.judgement import judge

        if item.read is None:
            raise Refused("kind", [f"{describe(item)} is a check"], "Write pass, fail or not applicable")
        value = parse(row.value.removesuffix("!").strip(), item.read.unit)
        question = implausible(value, item.read.plausible_low, item.read.plausible_high)
        if question is not None and not row.value.endswith("!"):
            raise Refused("implausible", [question.rstrip(".")], "If it is meant, end the value with '!'")
        null = self._null(item, row.meter)
        note = "; ".join(
            words for words in (row.note, NO_NULL if item.read.subtract and not null else "") if words
        )
        judged = judge(
            value,
            limit=item.limit,
            stop=item.stop,
            band=band_of(self._state, item),
            null=null.value if null else None,
        )
        return Reading(
            step=row.step,
            subject=row.subject,
            value=value,
            meter=row.meter,
            note=note,
            confirmed=question is not None,
            judged=judged,
        )

    def _null(self, item: Item, meter: str) -> Reading | None:
        """Return the lead null to subtract, where the paper has one that holds."""
        assert item.read is not None
        key = (item.read.subtract, "")
        entry = self._state.entries.get(key) if item.read.subtract else None
        if entry is None or not isinstance(entry.event, Reading):
            return None
        if not same_leads(entry.event, meter):
            return None
        return entry.event if self._state.standing(self._state.by_key[key]) is Standing.PASSED else None

    def _record(self, event: Event) -> Record:
        """Return a record for the fold alone; the journal's own are made when it is written."""
        at = f"{self.day.isoformat()}T00:00:00+00:00"
        return Record(
            seq=len(self.events) if event is not self.opened else 0, at=at, elapsed_s=0.0, event=event,
            prev=ZEROS, digest=ZEROS,
        )  # fmt: skip


def _not_result(row: PaperRow) -> Event:
    if row.step == "parts":
        return Parts(names=tuple(name.strip() for name in row.value.split(";")))
    text = row.note or row.value
    if not text:
        raise Refused("reason", [f"a row '{row.step}' without words"], "Write them as its note")
    if row.step == "repaired":
        return Repaired(what=text)
    step, _, about = row.subject.partition(" / ")
    return Noted(text=text, step=step.strip(), subject=about.strip())


def _written(logbook: Path, made: _Paper, procedure: str, clock: Clock, *, try_only: bool) -> PaperRun:
    from ohmward.run.assess import assess_state, closing

    found = assess_state(made.state)
    closed = closing(found, 0)
    path, beside = _here_already(logbook, made)
    already = path is not None
    if path is None and not try_only:
        path = write_closed(
            logbook,
            tag=made.opened.tag,
            procedure=procedure,
            day=made.day,
            events=[*made.events, closed],
            clock=clock,
        )
    return PaperRun(
        day=made.day,
        readings=sum(isinstance(event, Reading) for event in made.events),
        checks=sum(isinstance(event, Answered) for event in made.events),
        verdict=found.verdict,
        path=path,
        already=already,
        beside=beside,
    )


def _here_already(logbook: Path, made: _Paper) -> tuple[Path | None, tuple[str, ...]]:
    """Return the run that holds the same results of the same date already; and the names of others of it."""
    results, beside = made.events[1:], []
    for entry in Logbook(logbook).runs():
        same = entry.transcribed and entry.tag == made.opened.tag and entry.counts_for == made.day.isoformat()
        if not same:
            continue
        try:
            records = read(entry.path)
        except OhmwardError:
            continue  # a damaged one is not the same; `verify` names it
        if [record.event for record in records[1:] if not isinstance(record.event, Closed)] == results:
            return entry.path, ()
        beside.append(entry.name)
    return None, tuple(beside)
