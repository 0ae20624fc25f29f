"""A run in hand: every front end records through it, and it records through the gates.

It keeps nothing that the journal does not: `state` is the fold of the journal's records.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Self

from ohmward.bench.attempt import Attempt
from ohmward.bench.meters import Meter, function_of, is_simulated
from ohmward.bench.settled import Settled
from ohmward.errors import OhmwardError, Refused
from ohmward.logbook import Journal
from ohmward.logbook.events import (
    Acknowledged,
    Amended,
    Answered,
    CaseOpened,
    CaseShut,
    Closed,
    Energised,
    Event,
    Judged,
    Noted,
    Overridden,
    Parts,
    Reading,
    Repaired,
    Resumed,
    Skipped,
    SwitchedOff,
)
from ohmward.procedure.model import Item, Read
from ohmward.quantity import Value, implausible, parse
from ohmward.run.expected import band_of
from ohmward.run.gates import admit, describe
from ohmward.run.state import RunState, Standing, apply, state

MOST_ATTEMPTS = 20
"""Failed attempts written one by one; of more than that only the count is."""


class AskAgain(OhmwardError):
    """An entry outside the plausible range: to be confirmed before it is taken.

    Attributes
    ----------
    question : str
        What to ask the person; on yes, the same call again with ``confirmed=True``.
    """

    def __init__(self, question: str) -> None:
        self.question = question
        super().__init__(question)


class LiveRun:
    """A journal and the state folded from it."""

    def __init__(self, journal: Journal) -> None:
        self.journal = journal
        self.state: RunState = state(journal.records)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close_file()

    def close_file(self) -> None:
        """Let go of the journal file (the run stays open for another session)."""
        self.journal.close()

    def do(self, event: Event) -> RunState:
        """Record `event` if the gates admit it; it is on disk when this returns.

        Raises
        ------
        Refused
            When a gate says no; nothing is recorded.
        """
        admit(self.state, event)
        self.state = apply(self.state, self.journal.append(event))
        return self.state

    def resume(self, operator: str, tool: str) -> RunState:
        """Record that a new session goes on with the run."""
        return self.do(Resumed(operator=operator, tool=tool))

    def answer(self, step: str, subject: str, answer: str, note: str = "") -> RunState:
        """Answer a check: ``pass``, ``fail`` or ``not applicable``."""
        if answer not in {"pass", "fail", "not applicable"}:
            raise Refused("answer", [f"'{answer}' is not an answer"], "Give pass, fail or not applicable")
        return self.do(Answered(step=step, subject=subject, answer=answer, note=note))  # type: ignore[arg-type]

    def read(
        self, step: str, subject: str, text: str, *, meter: str = "", note: str = "", confirmed: bool = False
    ) -> RunState:
        """Take a typed reading: parse, ask when implausible, judge, record.

        Raises
        ------
        QuantityError
            When the text is not a value of the step's unit.
        AskAgain
            When it is outside the plausible range and not `confirmed`.
        Refused
            When a gate says no, or the lead null is missing.
        """
        return self.do(self.judged_reading(step, subject, text, meter=meter, note=note, confirmed=confirmed))

    def judged_reading(
        self, step: str, subject: str, text: str, *, meter: str = "", note: str = "", confirmed: bool = False
    ) -> Reading:
        """Return the reading event that `read` would record, judged, without recording it."""
        item, read = self._to_read(step, subject)
        value = parse(text, read.unit)
        sure = _sure(read, value, confirmed=confirmed)
        judged = judgement(self.state, item, value, self._meter(meter))
        return Reading(
            step=step, subject=subject, value=value, meter=meter, note=note, confirmed=sure, judged=judged
        )

    def measure(
        self,
        step: str,
        subject: str,
        settled: Settled,
        *,
        meter: str,
        identity: str,
        function: str = "",
        note: str = "",
        confirmed: bool = False,
    ) -> RunState:
        """Take a reading that a meter gave: judge it with its spread, record it with its raw replies.

        Attempts that failed before it become notes, so that the journal shows them.

        Parameters
        ----------
        step, subject : str
        settled : Settled
        meter : str
            Name of its entry among the run's meters.
        identity : str
            What the instrument called itself.
        function : str
            One of `bench.meters.FUNCTIONS`; the one usual for the quantity when empty.
        note : str
        confirmed : bool
            Outside the plausible range, and the person said that it is so.

        Raises
        ------
        AskAgain
            When it is outside the plausible range and not `confirmed`.
        Refused
            When a gate says no, the run does not know the meter, the unit is another, or a reading
            of the simulated bench would come into a run that is not a rehearsal.
        """
        reading = self.measured_reading(
            step, subject, settled, meter=meter, identity=identity, function=function, note=note,
            confirmed=confirmed,
        )  # fmt: skip
        admit(self.state, reading)
        self.attempts_failed(step, subject, meter, settled.failed)
        return self.do(reading)

    def measured_reading(
        self,
        step: str,
        subject: str,
        settled: Settled,
        *,
        meter: str,
        identity: str,
        function: str = "",
        note: str = "",
        confirmed: bool = False,
    ) -> Reading:
        """Return the reading event that `measure` would record, judged, without recording it."""
        item, read = self._to_read(step, subject)
        entry = self._meter(meter)
        if entry is None:
            raise Refused("meter", ["a measured reading without a meter"], "Name the meter")
        if not self.state.simulated and (is_simulated(identity) or is_simulated(entry.idn)):
            raise Refused(
                "simulated",
                [f"'{meter}' is a meter of the simulated bench, and this run is not a rehearsal"],
                "Read it with a real meter; to rehearse, start a run with --rehearsal",
            )
        value = settled.value
        if value.unit != read.unit:
            raise Refused(
                "unit",
                [f"'{meter}' reads in {value.unit or 'no unit'}, and the step asks for {read.unit}"],
                "Take a meter, or a function of it, that reads this quantity",
            )
        sure = _sure(read, value, confirmed=confirmed)
        judged = judgement(
            self.state, item, value, entry, function=function,
            standard_deviation=settled.standard_deviation, count=settled.count,
        )  # fmt: skip
        unsettled = "" if settled.settled else f"not settled: still moving after {settled.took_s:.1f} s"
        return Reading(
            step=step, subject=subject, value=value, meter=meter, confirmed=sure, judged=judged,
            note="; ".join(words for words in (note, unsettled) if words), replies=settled.replies,
            count=settled.count, standard_deviation=settled.standard_deviation,
        )  # fmt: skip

    def attempts_failed(self, step: str, subject: str, meter: str, attempts: Sequence[Attempt]) -> RunState:
        """Note attempts to read a meter that failed, one record each."""
        for each in attempts[:MOST_ATTEMPTS]:
            came = f"; what came: {each.reply}" if each.reply else ""
            self.note(f"meter {meter}: attempt failed: {each.what}: {each.why}{came}", step, subject)
        more = len(attempts) - MOST_ATTEMPTS
        if more > 0:
            self.note(f"meter {meter}: {more} more attempts failed", step, subject)
        return self.state

    def skip(self, step: str, subject: str, reason: str) -> RunState:
        """Leave a step out, with the reason the report prints."""
        return self.do(Skipped(step=step, subject=subject, reason=reason or "optional, not done"))

    def override(self, step: str, subject: str, reason: str) -> RunState:
        """Accept a failed step of severity 'fault' in writing."""
        return self.do(Overridden(step=step, subject=subject, reason=reason))

    def amend_reading(self, seq: int, text: str, reason: str, *, confirmed: bool = False) -> RunState:
        """Put another value in the place of a reading that was typed wrong."""
        _, old = self._recorded(seq)
        if not isinstance(old, Reading):
            raise Refused("amend", [f"record {seq} is not a reading"], "Amend its answer instead")
        new = self.judged_reading(
            old.step, old.subject, text, meter=old.meter, note=old.note, confirmed=confirmed
        )
        return self.do(Amended(seq=seq, reason=reason, reading=new))

    def amend_answer(self, seq: int, answer: str, reason: str, note: str = "") -> RunState:
        """Put another answer in the place of one given by mistake."""
        _, old = self._recorded(seq)
        if not isinstance(old, Answered):
            raise Refused("amend", [f"record {seq} is not an answer"], "Amend its reading instead")
        new = Answered(step=old.step, subject=old.subject, answer=answer, note=note or old.note)  # type: ignore[arg-type]
        return self.do(Amended(seq=seq, reason=reason, answer=new))

    def withdraw(self, seq: int, reason: str) -> RunState:
        """Take an entry back altogether; it stays in the journal."""
        self._recorded(seq)
        return self.do(Amended(seq=seq, reason=reason))

    def acknowledge(self, stage: str) -> RunState:
        """Acknowledge the cautions of a stage."""
        return self.do(Acknowledged(stage=stage))

    def open_case(self, reason: str = "") -> RunState:
        """Say that the case is opened."""
        return self.do(CaseOpened(reason=reason))

    def shut_case(self) -> RunState:
        """Say that the case is shut."""
        return self.do(CaseShut())

    def repaired(self, what: str) -> RunState:
        """Say what was mended or changed."""
        return self.do(Repaired(what=what))

    def energise(self) -> RunState:
        """Say that mains is applied."""
        return self.do(Energised())

    def switch_off(self, reason: str = "") -> RunState:
        """Say that the supply is switched off and unplugged."""
        return self.do(SwitchedOff(reason=reason))

    def name_parts(self, names: Sequence[str]) -> RunState:
        """Name the accessible metal parts."""
        return self.do(Parts(names=tuple(name.strip() for name in names)))

    def note(self, text: str, step: str = "", subject: str = "") -> RunState:
        """Leave a note."""
        return self.do(Noted(text=text, step=step, subject=subject))

    def close_run(self) -> RunState:
        """End the run: its summary becomes the last record."""
        from ohmward.run.assess import assess_state

        result = assess_state(self.state)
        return self.do(
            Closed(verdict=result.verdict, summary=tuple(result.summary), records=len(self.journal.records))
        )

    def _to_read(self, step: str, subject: str) -> tuple[Item, Read]:
        item = self._item(step, subject)
        if item.read is None:
            raise Refused("kind", [f"{describe(item)} is a check"], "Answer pass, fail or not applicable")
        return item, item.read

    def _item(self, step: str, subject: str) -> Item:
        probe = Skipped(step=step, subject=subject, reason="-")
        item = self.state.by_key.get((step, subject))
        if item is None:
            admit(self.state, probe)  # raises with the words for a wrong step or subject
            raise Refused("step", [f"this run has no step '{step}'"], "See the steps of the procedure")
        return item

    def _meter(self, name: str) -> Meter | None:
        if not name:
            return None
        for meter in self.state.meters:
            if meter.name == name:
                return meter
        known = ", ".join(meter.name for meter in self.state.meters) or "none listed"
        raise Refused("meter", [f"no meter is called '{name}'"], f"This run knows: {known}")

    def _recorded(self, seq: int) -> tuple[tuple[str, str], Answered | Reading | Skipped]:
        if seq not in self.state.history:
            raise Refused("amend", [f"record {seq} is not an answer or a reading"], "Name one that is")
        return self.state.history[seq]


def _sure(read: Read, value: Value, *, confirmed: bool) -> bool:
    """Return whether a person had to confirm a value; ask where it is not plausible and they have not."""
    question = implausible(value, read.plausible_low, read.plausible_high, _thing(read.quantity))
    if question is not None and not confirmed:
        raise AskAgain(question)
    return question is not None


def _thing(quantity: str) -> str:
    """Return a quantity's name in words: 'output_ripple_pp_v' is 'output ripple'."""
    parts = [
        part for part in quantity.split("_") if part not in {"v", "a", "ohm", "c", "pct", "w", "hz", "pp"}
    ]
    return " ".join(parts)


def judgement(
    state: RunState,
    item: Item,
    value: Value,
    meter: Meter | None,
    *,
    function: str = "",
    standard_deviation: float | None = None,
    count: int = 1,
) -> Judged:
    """Judge a value of `item` against its limit and its expectation.

    Parameters
    ----------
    state, item, value, meter
    function : str
        Function that it was read with; the one usual for the quantity when empty.
    standard_deviation, count : float, int
        Spread and number of the readings that `value` is the mean of.

    Raises
    ------
    Refused
        When the lead null that the step subtracts has not been read.
    """
    from ohmward.analysis.judgement import judge

    read = item.read
    assert read is not None
    null: Value | None = None
    null_meter: Meter | None = None
    if read.subtract:
        entry = state.entries.get((read.subtract, ""))
        null_item = state.by_key.get((read.subtract, ""))
        counts = null_item is not None and state.standing(null_item) is Standing.PASSED
        if entry is None or not isinstance(entry.event, Reading) or not counts:
            raise Refused(
                "no-null",
                ["the lead null has not been read, or does not hold"],
                f"Join the test leads and record step '{read.subtract}' first; it is then subtracted",
            )
        null = entry.event.value
        null_meter = next((m for m in state.meters if m.name == entry.event.meter), None)
    return judge(
        value,
        limit=item.limit,
        stop=item.stop,
        band=band_of(state, item),
        null=null,
        meter=meter,
        null_meter=null_meter,
        function=function or function_of(read.quantity, read.unit),
        standard_deviation=standard_deviation,
        count=count,
    )
