"""A run in hand, line by line: what is typed is understood, done through the core, and answered in words.

It keeps no state that the journal does not, but for the entry in hand.
"""

from __future__ import annotations

import threading
from collections.abc import Awaitable, Callable, Sequence
from datetime import datetime
from pathlib import Path

from ohmward.bench.messages import Notice
from ohmward.desk import mains, moves
from ohmward.desk.asking import Act
from ohmward.desk.by_itself import say_what_was_cut
from ohmward.desk.card import Card, card, title
from ohmward.desk.clocks import clock_line
from ohmward.desk.gate import enterable
from ohmward.desk.likely import asks_why, likely_words
from ohmward.desk.notices import Alarms
from ohmward.desk.place import next_after, start_of, to_do
from ohmward.desk.rehearsal import Rehearsal
from ohmward.desk.taking_typed import take_typed
from ohmward.desk.typed import reason
from ohmward.desk.who_tests import Who
from ohmward.desk.words import LEFT_LIVE
from ohmward.errors import OhmwardError, Refused
from ohmward.logbook.events import Reading
from ohmward.plain import describe
from ohmward.plain.desk import PlainDesk, PutAside, held
from ohmward.plain.expecting import SAID_AFTER_S, Expecting, Known
from ohmward.plain.lines import Left, Lines
from ohmward.procedure.model import Item
from ohmward.quantity import QuantityError
from ohmward.run import LiveRun, guidance
from ohmward.run import state as fold
from ohmward.run.entering import parse_for
from ohmward.run.guidance import make_safe_words
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import Phase
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.timing import not_by_wall, time_by

GOES_ON = "'by itself' goes on with it, and the record shows the gap; or begin it anew from cold."
MOST_TROUBLES = 3
"""Unforeseen errors in one sitting after which going on makes no sense."""


class Session(PlainDesk):
    """A run in hand; the commands are in `ohmward.plain.doing`.

    Parameters
    ----------
    live : LiveRun
    lines : Lines
    name : str
        Of the run, as it is resumed by.
    meters : MetersAtHand, optional
    rehearsal : Rehearsal, optional
    now : callable
    trouble, reopen : callable
        As for `PlainDesk`.
    resumed : bool
        Nobody was there since the last record.
    remarks : sequence of str
        Said first.
    """

    def __init__(
        self, live: LiveRun, lines: Lines, *, name: str, meters: MetersAtHand | None,
        rehearsal: Rehearsal | None, now: Callable[[], datetime], trouble: Callable[[BaseException], str],
        reopen: Callable[[], None], resumed: bool, who: Who, remarks: Sequence[str],
    ) -> None:  # fmt: skip
        super().__init__(live, lines, trouble=trouble, reopen=reopen, who=who)
        self.name, self.meters = name, meters
        self.rehearsal = rehearsal if live.state.simulated else None
        self.over = False
        """The person leaves, or the run is closed."""
        self._now, self._remarks = now, tuple(remarks)
        self._unsure = resumed and live.state.phase in MAINS_ON
        self._expecting, self._alarms = Expecting(), Alarms()
        self._status = ""
        self._said_seq = live.state.last_seq
        first = start_of(live.state)
        self.at = first.key if first is not None else None
        time_by(live, meters)
        if meters is not None:
            meters.notify = self._heard

    # one turn after another

    def hold(self, obey: Callable[[Session, str], None]) -> bool:
        """Go on until the person leaves or the run is closed; return whether it ended in good order.

        `obey` does what a line says.
        """
        self._begin()
        self._expecting.want(self.live.state)
        aside, troubles = "", 0
        while not self.over:
            try:
                if aside:
                    aside, command = "", aside
                    obey(self, command)
                elif self._unsure:
                    self._unsure = self.live.state.phase in MAINS_ON and not held(mains.still_on(self))
                    if not self._unsure:
                        held(say_what_was_cut(self, GOES_ON))
                else:
                    self._turn(obey)
            except PutAside as put:
                aside = put.command
                self.queued = ""
            except (Left, KeyboardInterrupt):
                self._leave_at_once()
            except Exception as error:  # noqa: BLE001 no traceback is ever shown; what is on disk decides
                troubles += 1
                self.live.state = fold(self.live.journal.records)
                self.lines.say("", self.trouble(error), "What was recorded before is safe.")
                if troubles >= MOST_TROUBLES:
                    return False
        return True

    def _begin(self) -> None:
        state = self.live.state
        procedure = state.procedure.title if state.procedure is not None else ""
        self.lines.say(f"Run {self.name}: {procedure}. Type help for what can be typed.")
        if state.simulated:
            self.lines.say(describe.REHEARSAL)
        if self._remarks:
            self.lines.say("Before you go on:", *self._remarks)

    def _turn(self, obey: Callable[[Session, str], None]) -> None:
        state = self.live.state
        if self.item is None:
            first = start_of(state)
            self.at = first.key if first is not None else None
        if state.phase is Phase.CLOSED:
            self.over = True
            return
        fresh = self.show_card()
        if str(self._alarms):
            self.lines.say(f"ATTENTION: {self._alarms}")
        if not fresh and self.item is not None:
            self.lines.say(f"In hand: {title(self.item)}.")
        self.lines.say(describe.wanted_line(state, self.item))
        obey(self, self.lines.ask())

    def _leave_at_once(self) -> None:
        """The input has ended: nobody can be asked, so it is said."""
        self.over = True
        if self.live.state.phase in MAINS_ON:
            self.lines.say("", "MAINS IS ON by the records.", LEFT_LIVE, make_safe_words(self.live.state))

    # what is shown

    def show_card(self) -> bool:
        """Say the card of the item in hand, unless it was said last; return whether it was said now."""
        state, item = self.live.state, self.item
        status = self.status()
        if self.shown == self.at and (item is None or status == self._status):
            return False
        if status != self._status or state.phase is not Phase.DEAD:
            self._status = status
            self.lines.say("", status)
        else:
            self.lines.say("")
        if item is None or self.shown == self.at:
            return False
        before = state.by_key.get(self.shown) if self.shown is not None else None
        brief = before is not None and before.spec.id == item.spec.id
        self.shown = self.at
        self.lines.say(*describe.place_lines(state, item))
        self.lines.say(*describe.card_lines(self.card(item), brief=brief))
        self.lines.say(*describe.outcome_lines(state, item, "On record"))
        return True

    def status(self) -> str:
        """Return what the supply is now, in a line."""
        live = self.live
        clock = clock_line(live.state, live.journal.records, self.item, self._now(), apart=not_by_wall(live))
        return describe.status_line(live.state, clock)

    def card(self, item: Item) -> Card:
        """Return the card of an item, waiting for the expectation where it has one."""
        found, problem = self.known(item)
        return card(
            self.live.state, item, found, pending=False, meter=self.in_use.of(self.live.state, item),
            problem=problem,
        )  # fmt: skip

    def known(self, item: Item | None) -> Known:
        """Return the expectation for an item that has one, said when it takes a while."""
        if item is None or item.read is None or not item.read.expect:
            return None, ""
        asked = self._expecting.want(self.live.state)
        try:
            return asked.result(SAID_AFTER_S)
        except TimeoutError:
            self.lines.say("Working out what this ought to be.")
            return asked.result()

    # recording

    async def record(
        self, act: Act, *, refused: Callable[[Refused], Awaitable[bool | None]] | None = None
    ) -> bool:
        """Record through the gates, and say what is recorded."""
        item = self.item
        done = await super().record(act, refused=refused)
        state = self.live.state
        if done and state.last_seq > self._said_seq:
            entry = state.entries.get(item.key) if item is not None else None
            fresh = entry is not None and max(entry.seq, entry.amended_seq) > self._said_seq
            overridden = entry is not None and entry.override is not None and not fresh
            past = "Recorded: overridden."
            if entry is not None and isinstance(entry.event, Reading):
                past = "Recorded: it stays failed, and the run goes on."
            lines = describe.recorded_lines(state, item) if item is not None and fresh else []
            self.lines.say(*(lines or [past if overridden else "Recorded."]))
            if fresh and asks_why(state, item):
                words = likely_words(state, self.folder, "Type assessment: it says how to tell.")
                self.lines.say(*([words] if words else []))
        self._said_seq = state.last_seq
        return done

    def take(self, item: Item, text: str, *, given: bool = False) -> None:
        """Take a value typed for a reading; `given` by a meter for it."""
        assert item.read is not None  # only a reading has something typed
        try:
            parse_for(item.read, text)
        except QuantityError as error:
            self.lines.say(f"Not taken: {reason(error)}")
            return
        self.known(item)
        held(take_typed(self, item, text, self.in_use.of(self.live.state, item), given=given))

    def move(self, name: str) -> None:
        """Make one of the moves."""
        held(moves.MOVES[name](self))

    def answer(self, item: Item, given: str) -> None:
        """Answer a check."""
        held(moves.answer(self, item, given))

    def on(self) -> None:
        """Go on to what is to be done, when the entry in hand is not."""
        state = self.live.state
        if not to_do(state, self.item):
            following = next_after(state, self.at)
            if following is not None:
                self.go(following.key)

    def follow(self) -> None:
        """Do what comes next."""
        state = self.live.state
        if guidance(state).move != "item":
            held(moves.follow(self))
        elif to_do(state, self.item):
            first = guidance(state).item
            if self.item is not None and first is not None and not enterable(state, self.item):
                self.go(first.key)  # what comes before it
            else:
                self.lines.say("Nothing is typed yet.")

    def leave(self) -> None:
        """Leave; a live supply is spoken of first."""
        live = self.live.state.phase in MAINS_ON
        lines = [LEFT_LIVE, make_safe_words(self.live.state)]
        if not live or held(self.confirm("Mains is on", lines, "Leave it on", "Stay")):
            self.over = True

    # what meters say

    def _heard(self, notice: Notice) -> None:
        words = self._alarms.heard(notice)
        if words:  # said on the meter's own thread, which is not to wait for the disk
            threading.Thread(target=self._note, args=(words,), name="notice", daemon=True).start()

    def _note(self, words: str) -> None:
        self.lines.say("", f"ATTENTION: {words}")
        try:
            self.live.note(words)
        except OhmwardError as error:
            self.lines.say(f"That is not on record: {error}")

    @property
    def folder(self) -> Path:
        """Where the journal is."""
        return self.live.journal.path.parent
