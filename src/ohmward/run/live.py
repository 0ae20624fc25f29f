"""A run in hand: every front end records through it, and it records through the gates.

It keeps nothing that the journal does not: `state` is the fold of the journal's records.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import Self

import msgspec

from ohmward.bench.attempt import Attempt
from ohmward.bench.meters import is_simulated
from ohmward.bench.settled import Settled
from ohmward.errors import Refused
from ohmward.logbook import Journal
from ohmward.logbook.events import (
    Acknowledged,
    Amended,
    Answered,
    Begun,
    CaseOpened,
    CaseShut,
    Energised,
    Event,
    Noted,
    Overridden,
    Parts,
    Reading,
    Repaired,
    Resumed,
    Skipped,
    SwitchedOff,
    TestVoltage,
)
from ohmward.procedure.model import Item
from ohmward.quantity import Value
from ohmward.run.addressed import meter_called, recorded, to_read
from ohmward.run.aims import aim_note
from ohmward.run.answering import against, answered
from ohmward.run.entering import parse_for
from ohmward.run.expected import band_of
from ohmward.run.fed import feeding
from ohmward.run.gates import admit
from ohmward.run.insulation import test_voltage, voltage_note
from ohmward.run.judging import AskAgain, judgement, of_meter, read_doubt, sure_of, typed_doubt
from ohmward.run.reasons import require_sense
from ohmward.run.repairing import require_said
from ohmward.run.state import RunState, apply, state
from ohmward.run.test_current import current_note, current_told
from ohmward.run.timers import Elapsed, early_question, held_item, waited_out
from ohmward.run.together import left_out_with

MOST_ATTEMPTS = 20
"""Failed attempts written one by one; of more than that only the count is."""

Watcher = Callable[[RunState], None]


class LiveRun:
    """A journal and the state folded from it; may be recorded through from any thread."""

    def __init__(self, journal: Journal) -> None:
        self.journal = journal
        self.state: RunState = state(journal.records)
        self.timing: Elapsed | None = None
        """The clock of whoever sits at the bench (`taking.timing`); nothing is timed without one."""
        self._turn = threading.RLock()
        self._watchers: list[Watcher] = []

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
        with self._turn:
            require_sense(self.state, event)
            admit(self.state, event)
            self.state = after = apply(self.state, self.journal.append(event))
        for watcher in tuple(self._watchers):
            watcher(after)
        return after

    def watch(self, watcher: Watcher) -> Callable[[], None]:
        """Have `watcher` called with the state after each record; return what ends that.

        It is called on the thread that recorded: it has to return at once.
        """
        self._watchers.append(watcher)
        return lambda: self._watchers.remove(watcher)

    def resume(self, operator: str, tool: str, *, fed: str = "") -> RunState:
        """Record that a new session goes on with the run; `fed` names the file that it is fed from."""
        return self.do(Resumed(operator=operator, tool=tool, fed=fed))

    def answer(self, step: str, subject: str, answer: str, note: str = "") -> RunState:
        """Answer a check: ``pass``, ``fail`` or ``not applicable``.

        Raises
        ------
        Refused
            When a gate says no, or `answering.answered` wants words.
        """
        item = self.state.by_key.get((step, subject))
        held = None if item is None else held_item(self.state, item)
        after_s, held_s = self._after(item), self._after(held)
        return self.do(answered(self.state, (step, subject), answer, note, after_s, held_s=held_s))

    def begin(self, step: str, subject: str = "") -> RunState:
        """Say that what has to be held is begun: its time runs from here."""
        return self.do(Begun(step=step, subject=subject))

    def read(
        self, step: str, subject: str, text: str, *, meter: str = "", note: str = "", confirmed: bool = False,
        test_a: float | None = None,
    ) -> RunState:  # fmt: skip
        """Take a typed reading: parse, ask when implausible, judge, record.

        `test_a` is the test current that the person told [A], where no list says it of the meter.

        Raises
        ------
        QuantityError
            When the text is not a value of the step's unit.
        AskAgain
            When it is outside the plausible range and not `confirmed`.
        Refused
            When a gate says no, or the lead null is missing.
        """
        return self.do(
            self.judged_reading(
                step, subject, text, meter=meter, note=note, confirmed=confirmed, test_a=test_a
            )
        )

    def judged_reading(
        self, step: str, subject: str, text: str, *, meter: str = "", note: str = "", confirmed: bool = False,
        timed: bool = True, test_a: float | None = None,
    ) -> Reading:  # fmt: skip
        """Return the reading event that `read` would record, judged, without recording it.

        `timed` asks, and says, how long it was waited for.
        """
        item, read = to_read(self.state, step, subject)
        value = parse_for(read, text)
        after_s = self._after(item) if timed else None
        doubt = typed_doubt(self.state, item, value, meter)
        band = band_of(self.state, item)
        sure = sure_of(read, value, confirmed=confirmed, band=band, doubt=doubt, limit=item.limit)
        self._ask_if_early(item, after_s, confirmed=confirmed or not timed)
        test_a = current_told(self.state, item, meter) if test_a is None else test_a
        judged = judgement(self.state, item, value, meter_called(self.state, meter), test_a=test_a)
        said = (note, aim_note(self.state, item, value), voltage_note(self.state, item), current_note(test_a))
        return Reading(
            step=step, subject=subject, value=value, meter=meter, confirmed=sure, judged=judged,
            note="; ".join(words for words in said if words),
            test_v=test_voltage(self.state, item), after_s=after_s, test_a=test_a,
        )  # fmt: skip

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
        immediate: Value | None = None,
        drawn: Value | None = None,
        unattended: bool = False,
        after_s: float | None = None,
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
        immediate, drawn : Value, optional
            At a load point: what it read at once, and the current that the load itself read.
        unattended : bool
            Nobody is asked: what is not plausible is recorded with a note that says so.
        after_s : float, optional
            How long it was held by who read it [s]; else by the timer of the run.

        Raises
        ------
        AskAgain
            When it is outside the plausible range and neither `confirmed` nor `unattended`.
        Refused
            When a gate says no, the run does not know the meter, the unit is another, or a reading
            of the simulated bench would come into a run that is not a rehearsal.
        """
        reading = self.measured_reading(
            step, subject, settled, meter=meter, identity=identity, function=function, note=note,
            confirmed=confirmed, immediate=immediate, drawn=drawn, unattended=unattended, after_s=after_s,
        )  # fmt: skip
        with self._turn:
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
        immediate: Value | None = None,
        drawn: Value | None = None,
        unattended: bool = False,
        after_s: float | None = None,
    ) -> Reading:
        """Return the reading event that `measure` would record, judged, without recording it."""
        item, read = to_read(self.state, step, subject)
        entry = meter_called(self.state, meter)
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
        doubt = ""
        try:
            asked = read_doubt(self.state, item, value, meter)
            sure = sure_of(read, value, confirmed=confirmed, doubt=asked, limit=item.limit)
        except AskAgain as question:
            if not unattended:
                raise of_meter(question, item, value, meter) from None
            sure, doubt = False, f"not plausible, and nobody was asked: {question.question}"
        after_s = self._after(item) if after_s is None else after_s
        if not unattended:
            self._ask_if_early(item, after_s, confirmed=confirmed)
        judged = judgement(
            self.state, item, value, entry, function=function,
            standard_deviation=settled.standard_deviation, count=settled.count,
        )  # fmt: skip
        unsettled = "" if settled.settled else f"not settled: still moving after {settled.took_s:.1f} s"
        aim = "" if doubt else aim_note(self.state, item, value)
        said = (note, settled.note, unsettled, doubt, aim, voltage_note(self.state, item))
        return Reading(
            step=step, subject=subject, value=value, meter=meter, confirmed=sure, judged=judged,
            note="; ".join(words for words in said if words), replies=settled.replies,
            count=settled.count, standard_deviation=settled.standard_deviation, immediate=immediate,
            drawn=drawn, test_v=test_voltage(self.state, item), after_s=after_s,
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
        """Leave a step out, with the reason the report prints, and what is left out together with it."""
        left = Skipped(step=step, subject=subject, reason=reason or "optional, not done")
        for event in left_out_with(self.do(left), left):
            self.do(event)
        return self.state

    def override(self, step: str, subject: str, reason: str) -> RunState:
        """Accept a failed step of severity 'fault' in writing."""
        return self.do(Overridden(step=step, subject=subject, reason=reason))

    def amend_reading(self, seq: int, text: str, reason: str, *, confirmed: bool = False) -> RunState:
        """Put another value in the place of a reading that was typed wrong."""
        _, old = recorded(self.state, seq)
        if not isinstance(old, Reading):
            raise Refused("amend", [f"record {seq} is not a reading"], "Amend its answer instead")
        new = self.judged_reading(
            old.step, old.subject, text, meter=old.meter, note=old.note, confirmed=confirmed, timed=False,
            test_a=old.test_a,
        )  # fmt: skip
        new = msgspec.structs.replace(  # as it was taken
            new, note=old.note, test_v=old.test_v, after_s=old.after_s, test_a=old.test_a
        )
        return self.do(Amended(seq=seq, reason=reason, reading=new))

    def amend_answer(self, seq: int, answer: str, reason: str, note: str = "") -> RunState:
        """Put another answer in the place of one given by mistake."""
        _, old = recorded(self.state, seq)
        if not isinstance(old, Answered):
            raise Refused("amend", [f"record {seq} is not an answer"], "Amend its reading instead")
        new = Answered(step=old.step, subject=old.subject, answer=answer, note=note or old.note)  # type: ignore[arg-type]
        said = against(self.state, (old.step, old.subject), answer)
        new = msgspec.structs.replace(new, after_s=old.after_s, against=said)
        return self.do(Amended(seq=seq, reason=reason, answer=new))

    def withdraw(self, seq: int, reason: str) -> RunState:
        """Take an entry or a waveform back altogether; it stays in the journal, and its file beside it."""
        return self.do(Amended(seq=seq, reason=reason))

    def acknowledge(self, stage: str) -> RunState:
        """Acknowledge the cautions of a stage."""
        return self.do(Acknowledged(stage=stage))

    def choose_test_voltage(self, volts: float, reason: str = "") -> RunState:
        """Test insulation at another voltage [V] of those that the limit set allows, from now on."""
        return self.do(TestVoltage(volts=volts, reason=reason))

    def open_case(self, reason: str = "") -> RunState:
        """Say that the case is opened."""
        return self.do(CaseOpened(reason=reason))

    def shut_case(self) -> RunState:
        """Say that the case is shut."""
        return self.do(CaseShut())

    def repaired(self, what: str) -> RunState:
        """Say what was mended or changed; Refused where the words do not say it."""
        require_said(what)
        return self.do(Repaired(what=what))

    def energise(self, knowing: Sequence[str] = ()) -> RunState:
        """Say that mains is applied; `knowing` is what the person goes on in spite of: it is noted once."""
        with self._turn:
            admit(self.state, Energised())
            noted = {each.text for _, each in self.state.notes}
            for text in (f"Mains applied knowing this: {words}" for words in knowing):
                if text not in noted:
                    self.note(text)
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
        from ohmward.run.assess import assess_state, closing

        result = assess_state(self.state, self.journal.path.parent)
        return self.do(closing(result, len(self.journal.records)))

    def _after(self, item: Item | None) -> float | None:
        after_s = None if self.timing is None or item is None else self.timing(self.state, item)
        # a file tells what was done before: how fast it is fed says nothing, that the time is over does
        return waited_out(self.state, item, after_s) if item is not None and feeding(self.state) else after_s

    def _ask_if_early(self, item: Item, after_s: float | None, *, confirmed: bool) -> None:
        asked = self.timing is not None and not confirmed and not feeding(self.state)
        if asked and (early := early_question(self.state, item, after_s)):
            raise AskAgain(early)
