"""The run screen: one entry after another, every one recorded through the gates.

It keeps no state that the journal does not, but for where the person is looking and what is typed.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import ClassVar

from textual import on
from textual.message import Message
from textual.widgets import Input
from textual.worker import Worker

from ohmward.desk import mains, moves
from ohmward.desk.asking import Act
from ohmward.desk.card import recorded_words
from ohmward.desk.gate import enterable
from ohmward.desk.help_rows import Part, step_help
from ohmward.desk.not_now import why_not
from ohmward.desk.place import first_of, next_after, stepped, to_do
from ohmward.desk.points import has_points
from ohmward.desk.recording import recorded
from ohmward.desk.rehearsal import Rehearsal
from ohmward.desk.taking_typed import take_typed
from ohmward.desk.typed import reason
from ohmward.desk.who_tests import Who
from ohmward.desk.words import LEFT_LIVE
from ohmward.errors import Refused
from ohmward.procedure.model import Item
from ohmward.quantity import QuantityError, parse
from ohmward.run import LiveRun, guidance
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import RunState
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.choosing import can_read, runs_by_itself
from ohmward.tui.by_itself import ByItself
from ohmward.tui.keys import RUN, Key, bindings
from ohmward.tui.run_meters import Conversation
from ohmward.tui.run_widgets import ItemCard, StageList
from ohmward.tui.showing import styled


class RunScreen(ByItself):
    """A run in hand; it is the `Desk` of the moves."""

    KEYS = RUN
    CSS_PATH: ClassVar = styled("run")
    HEADING = "a run"
    HOLDS = "run"
    BINDINGS: ClassVar = bindings(RUN)

    @dataclass
    class AssessmentWanted(Message):
        """The person asks what the run amounts to."""

        run_state: RunState
        journal: Path

    def __init__(
        self,
        live: LiveRun,
        *,
        rehearsal: Rehearsal | None,
        meters: MetersAtHand | None = None,
        now: Callable[[], datetime],
        trouble: Callable[[BaseException], str],
        reopen: Callable[[], None],
        resumed: bool = False,
        remarks: Sequence[str] = (),
        who: Who,
    ) -> None:
        self.who = who
        self.trouble, self.reopen, self._remarks = trouble, reopen, tuple(remarks)
        self._unsure = resumed and live.state.phase in MAINS_ON
        self._going: Worker[object] | None = None
        super().__init__(live, rehearsal=rehearsal, meters=meters, now=now)

    def on_mount(self) -> None:
        """Say first what has to be known before anything is done."""
        if self.unsure or self._remarks or self.cut_soaks():
            self.begin(self._greet, "greet")

    @property
    def unsure(self) -> bool:
        """Whether the records say that mains is on, and nobody here has said yet that it is so."""
        return self._unsure and self.live.state.phase in MAINS_ON

    async def _greet(self) -> None:
        if self.unsure:
            self._unsure = not await mains.still_on(self)
        if self._remarks and not self.unsure:
            remarks, self._remarks = self._remarks, ()
            await self.tell("Before you go on", remarks)
        if not self.unsure:
            await self.say_what_was_cut()

    # What is said of it

    def about(self) -> Sequence[Part]:
        """Return what the step in hand is about."""
        return step_help(self.live.state, self.item)

    def why_not(self, key: Key) -> str:
        """Return why a key would do nothing now, in the words of the gates."""
        state, item = self.live.state, self.item
        hands = self._at_hand is not None
        meter = self._rehearsal is not None or (hands and can_read(state, item))
        by_itself = hands and runs_by_itself(state, item)
        return why_not(state, item, key.action, meter=meter, by_itself=by_itself)

    # What a person does

    @on(Input.Changed, "#value")
    def _typing(self) -> None:
        self.show_typed()

    @on(Input.Submitted, "#value")
    def _submitted(self, event: Input.Submitted) -> None:
        """Take what stood there at Enter; what was taken meanwhile, or let go of, is not taken again."""
        if not self.unreadable and self.typed.startswith(event.value):
            self._go_on_with(event.value)

    @on(StageList.Chosen)
    def _stage_chosen(self, event: StageList.Chosen) -> None:
        self._go_to(first_of(self.live.state, event.stage))

    def action_go_on(self) -> None:
        """Take what is typed; with nothing typed, do what comes next."""
        self._go_on_with(self.typed)

    def _go_on_with(self, text: str) -> None:
        item = self.item
        if item is not None and text.strip():
            self.begin(partial(self._take, item, text), "reading")
        else:
            self.begin(self._follow, "next")

    def action_answer(self, given: str) -> None:
        """Answer the check shown; a danger only on purpose."""
        if self.item is not None and self.on_purpose(self.item):
            self.answer(self.item, given)

    def answer(self, item: Item, given: str) -> None:
        """Answer a check."""
        self.begin(partial(self._answer, item, given), "answer")

    def action_move(self, name: str) -> None:
        """Start one of the moves."""
        if name == "off":
            self.stop_at_once()
        self.last = ""  # said of the entry it was recorded at, and a move may go elsewhere
        self.begin(partial(moves.MOVES[name], self), name)

    def action_step(self, by: int) -> None:
        """Go back or forward."""
        self._go_to(stepped(self.live.state, self.at, by))

    def action_next_open(self) -> None:
        """Go to the next entry still to do; where something else comes first, it is said below."""
        self._go_to(next_after(self.live.state, self.at) or guidance(self.live.state).item)

    def action_scroll_card(self, by: int) -> None:
        """Scroll the instructions."""
        shown = self.query_one(ItemCard)
        shown.scroll_page_down(animate=False) if by > 0 else shown.scroll_page_up(animate=False)

    def action_turn_page(self) -> None:
        """Turn between instructions, points and plot."""
        if self.item is not None and has_points(self.item):
            self.turn_to(self.page + 1)
        else:
            self.say("no table or plot belongs to this entry", good=False)

    def action_clear(self) -> None:
        """Empty the entry, and bring the focus back to it."""
        self.entry.input.value, self.entry.input.filled = "", False
        self.focus_entry()

    def action_assessment(self) -> None:
        """Show what the run amounts to."""
        self.post_message(self.AssessmentWanted(self.live.state, self.live.journal.path))

    def action_bench(self) -> None:
        """Go back to the bench; a live supply is spoken of first."""
        self.begin(partial(self._leave, lambda: self.dismiss(None)), "bench")

    def leave_program(self) -> None:
        """Leave the program; a live supply is spoken of first."""
        self.begin(partial(self._leave, self.app.exit), "leave")

    # Recording

    async def record(
        self, act: Act, *, refused: Callable[[Refused], Awaitable[bool | None]] | None = None
    ) -> bool:
        """Record through the gates and show the result; whatever goes wrong is said in words."""
        done = await recorded(self, act, refused)
        if done:
            self.last = ""
            self.show_state()
            self.watch_on()
        return done

    def begin(self, conversation: Conversation, name: str) -> None:
        """Start a conversation; one at a time, but for switching off, which waits for nothing."""
        going = self._going is not None and self._going.is_running
        if self.unsure and name not in {"off", "leave", "bench", "greet"} and not going:
            conversation, name = self._greet, "greet"
        if going and name not in {"off", "leave"}:
            words = self.working_words if self.computing else "one moment: the entry before is being taken"
            self.entry.feedback(words, good=False)
        else:
            self._going = self.run_worker(conversation, name=name, group="move", exclusive=True)

    async def _take(self, item: Item, text: str) -> None:
        assert item.read is not None  # only a reading has something typed
        measured, given = self.measured_for(item, text), self.entry.input.filled
        try:
            if measured is None:
                parse(text, item.read.unit)
        except QuantityError as error:
            self.entry.feedback("not taken: " + reason(error), good=False)
            return
        if self.computing and item.read.expect:  # nothing else waits for what is being computed
            self.entry.feedback(self.working_words, good=True)
            await self.expectation_known()
        if measured is not None:
            await self.take_measured(item, measured)
            return
        await take_typed(self, item, text, self.meter_of(item), given=given)

    async def _answer(self, item: Item, given: str) -> None:
        if not await moves.answer(self, item, given):
            return
        self.last = recorded_words(self.live.state, item)
        following = next_after(self.live.state, item.key)
        if given != "fail" and following is not None:
            self.go(following.key)

    async def _follow(self) -> None:
        following = guidance(self.live.state)
        other = next_after(self.live.state, self.at)
        here = self.item
        if following.move == "closed":
            self.action_assessment()
        elif following.move != "item":
            await moves.follow(self)
        elif here is not None and to_do(self.live.state, here) and not enterable(self.live.state, here):
            self._go_to(following.item)  # what comes before it
        elif other is None or other == here or to_do(self.live.state, here):
            self.entry.feedback(_nothing_given(here), good=False)
        else:
            self._go_to(other)

    async def _leave(self, go: Callable[[], object]) -> None:
        if self.going is not None:
            lines = [self.running_words(), "Leaving this screen stops it, and takes the loads off."]
            if not await self.confirm("Something runs by itself", lines, "Stop it and leave", "Stay"):
                return
            if not await self.stopped():
                await self.tell("It does not end", ["A LOAD MAY STILL BE ON: switch it off by hand."])
                return
        live = self.live.state.phase in MAINS_ON
        if not live or await self.confirm("Mains is on", [LEFT_LIVE], "Leave it on", "Stay"):
            go()

    def _go_to(self, item: Item | None) -> None:
        if item is not None:
            self.last = ""
            self.go(item.key)


def _nothing_given(item: Item | None) -> str:
    if item is None or item.read is not None:
        return "nothing is typed yet"
    return "y takes the waveform, k leaves it out" if item.is_waveform else "answer with p, f or n"
