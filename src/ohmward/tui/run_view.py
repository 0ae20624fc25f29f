"""What the run screen shows: a function of the run's state, where the person looks, and what is typed."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from datetime import datetime

from textual import events, on
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Static

from ohmward.analysis.soak_outlook import Outlook
from ohmward.desk.attempts import next_attempt_words
from ohmward.desk.bar import bar_of, net_of
from ohmward.desk.card import band_in, card, caution_line, next_words, outcome, title
from ohmward.desk.clocks import clock_line
from ohmward.desk.deliberate import Deliberate
from ohmward.desk.in_use import InUse
from ohmward.desk.likely import asks_why
from ohmward.desk.place import operator_of, start_of
from ohmward.desk.points import has_points, picture, point_table
from ohmward.desk.readings import less_leads
from ohmward.desk.typed import figures, read_as, value_in
from ohmward.desk.who_tests import Who
from ohmward.desk.words import case_words, phase_sign
from ohmward.procedure.model import Item
from ohmward.run import LiveRun, guidance, progress
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import Key, Phase
from ohmward.taking.choosing import can_read, runs_by_itself
from ohmward.taking.timing import not_by_wall
from ohmward.text import one_line
from ohmward.tui.frame import WIDTHS
from ohmward.tui.points_pane import PointsPane
from ohmward.tui.run_keys import run_hints
from ohmward.tui.run_widgets import Entry, Facts, ItemCard, Scale, StageList, StageStrip, StatusBar
from ohmward.tui.showing import plain, put
from ohmward.tui.stage_caution import StageCaution
from ohmward.tui.weighing import Weighing

PAGES = 3
"""Instructions, table of points, plot: one at a time where there is no room for all."""


class RunView(Weighing):
    """The showing half of the run screen: it records nothing."""

    who: Who

    def __init__(
        self, live: LiveRun, *, now: Callable[[], datetime], meter_bench: bool, at_hand: bool
    ) -> None:
        super().__init__()
        self.live = live
        self._now = now
        self._meter_bench, self._meters_at_hand = meter_bench, at_hand
        first = start_of(live.state)
        self.at: Key | None = first.key if first is not None else None
        self.last = ""
        """What was recorded just before, shown until the next entry."""
        self.outlooks: Mapping[str, Outlook] = {}
        """Where each temperature of a running soak is going, by sensor."""
        self._page = 0
        self._points_due = False
        self._in_use = InUse()
        self._deliberate = Deliberate(time.monotonic)

    def compose_body(self) -> ComposeResult:
        """Lay out what is between banner and hints."""
        yield StatusBar()
        with Horizontal(id="body"):
            yield StageList()
            with Vertical(id="main"):
                yield StageStrip()
                yield StageCaution()
                yield Static("", id="title", markup=False)
                with Horizontal(id="middle"):
                    yield ItemCard()
                    yield PointsPane(id="points")
                yield Facts()
                yield Scale()
                yield Entry()
                yield Static("", id="likely", markup=False)
                yield Static("", id="next", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.set_interval(1.0, self._tick)
        self.turn_to(0)
        self.show_state()

    @property
    def item(self) -> Item | None:
        """The item shown."""
        return self.live.state.by_key.get(self.at) if self.at is not None else None

    @property
    def entry(self) -> Entry:
        """Where values are typed."""
        return self.query_one(Entry)

    @property
    def typed(self) -> str:
        """What is typed and not yet taken."""
        return self.entry.input.value if self.entry.input.display else ""

    def fill_in(self, text: str) -> None:
        """Put a value into the entry that a meter gave."""
        same = self.entry.input.value == text
        self.entry.input.value, self.entry.input.filled = text, True
        self.entry.input.action_end()
        if same:  # nothing has changed, so nothing else shows it
            self.show_typed()

    def type_at(self, key: Key, text: str) -> None:
        """Show another item with a value typed there and not yet taken."""
        self.last = ""
        self.go(key)
        self.entry.input.value = text
        self.entry.input.action_end()

    def meter_chosen(self, item: Item) -> str:
        """Return the meter that the person said is in use for readings of this kind; empty before that."""
        return self._in_use.chosen(item)

    def meter_of(self, item: Item) -> str:
        """Return the meter an item is read with: the one said last, the one at its place, the one in use."""
        return self._in_use.of(self.live.state, item)

    def use_meter(self, name: str) -> None:
        """Take `name` as the meter of readings of this kind."""
        self._in_use.use(self.item, name)
        self._show_card()

    def go(self, key: Key) -> None:
        """Show another item; of another step, its instructions first."""
        before, self.at = self.item, key
        here = self.item
        if self._page and (before is None or here is None or before.spec.id != here.spec.id):
            self.turn_to(0)
        self.show_state()

    def show_state(self) -> None:
        """Show where the run stands, after anything that may have changed it."""
        state, here = self.live.state, self.item.stage if self.item is not None else ""
        self._deliberate.shown(self.item)
        self.hold_off()
        self.show_rehearsal(state.simulated)
        self.want_expectation(state)
        stages = progress(state)
        self.query_one(StageList).show(stages, here)
        self.query_one(StageStrip).show(stages, here, self.item.spec.group if self.item is not None else "")
        self.query_one(StageCaution).show(caution_line(state, self.item))
        self._tick()
        self._show_entry()
        self._show_card()
        self.show_outcome()
        self.show_next()

    def show_expectation(self) -> None:
        """Show the expectation now computed, leaving alone what is typed."""
        self._show_card()
        self.show_next()

    def too_small_words(self) -> str:
        """Say what the supply is, however small the terminal."""
        off = " Ctrl+O switches off." if self.live.state.phase in MAINS_ON else ""
        kind = "\nREHEARSAL" if self.live.state.simulated else ""
        return f"{super().too_small_words()}\n{phase_sign(self.live.state)}.{off}{kind}"

    def show_typed(self) -> None:
        """Read back what is being typed."""
        item, text = self.item, self.typed
        self.hold_off()
        if item is None or item.read is None:
            return
        if text.strip():
            words, good = read_as(text, item, band_in(self.expectation, item), self.live.state)
            self.entry.feedback(words, good=good)
            self.entry.figures(text if self.entry.input.filled else figures(text, item.read.unit))
            typed, meter = value_in(text, item.read.unit), self.meter_of(item)
            self._show_scale(less_leads(self.live.state, item, typed, meter))
            value = good or words.startswith("=")
            again = next_attempt_words(self.live.state, item)
            taken = f"Not yet taken: Enter takes it{f' as {again}' if again else ''}."
            self.entry.verdict(None, taken if value else "")
            self.query_one("#likely").display = False
        else:
            self.entry.feedback("", good=True)
            self.show_outcome()
        self.show_next()

    @on(ItemCard.Marked)
    def _card_marked(self) -> None:
        """Show the key that scrolls the card, where there is more of it."""
        self.show_next()

    def show_outcome(self) -> None:
        """Show what is recorded for the item."""
        item = self.item
        shown = outcome(self.live.state, item) if item is not None else None
        self.entry.figures(shown.figures if shown is not None else "")
        self._show_scale(net_of(self.live.state, item) if item is not None else None)
        self.entry.verdict(shown, self.last)
        self.show_likely()

    def show_likely(self) -> None:
        """Show what the reading that stands most likely means, where it failed or surprised."""
        state, item, words = self.live.state, self.item, ""
        if asks_why(state, item) and not self.running_words():
            words = self.likely(state, self.live.journal.path.parent)
        put(self.query_one("#likely", Static), plain(one_line(words)))
        self.query_one("#likely").display = bool(words)

    def _show_scale(self, value: float | None) -> None:
        item = self.item
        read = item is not None and item.read is not None
        band = band_in(self.expectation, item) if item is not None and read else None
        self.query_one(Scale).show(bar_of(item.limit, band, value) if item is not None and read else None)

    def show_next(self) -> None:
        """Show what comes next and the keys that matter."""
        state = self.live.state
        following = guidance(state)
        said = [self.alarm, self.running_words() or next_words(state, following, self.item)]
        words = "\n".join(line for line in said if line)
        put(self.query_one("#next", Static), plain(words))
        self.query_one("#next").display = bool(words)
        meter = self._meter_bench or (self._meters_at_hand and can_read(state, self.item))
        by_itself = self._meters_at_hand and (bool(self.running_words()) or runs_by_itself(state, self.item))
        instructions = self.query_one(ItemCard)
        hints = run_hints(
            state, self.item, following, typing=bool(self.typed), meter=meter, by_itself=by_itself,
            going=bool(self.running_words()), more=instructions.more,
            scrolled=instructions.scrolled,
        )  # fmt: skip
        self.show_hints(hints)

    @property
    def mode(self) -> str:
        """How readings are taken, where not by keys; empty where they are."""
        return ""

    @property
    def alarm(self) -> str:
        """What has to be seen before anything else; empty when nothing has."""
        return ""

    def running_words(self) -> str:
        """What runs by itself, in a line; empty when nothing does."""
        return ""

    def on_purpose(self, item: Item) -> bool:
        """Return whether an answering key just pressed answers; where it does not, that is said."""
        words = self._deliberate.pressed(item)
        if words:
            self.entry.feedback(words, good=False)
        return not words

    def say(self, words: str, *, good: bool = True) -> None:
        """Say something in passing, below the entry."""
        self.entry.feedback(words, good=good)

    def focus_entry(self) -> None:
        """Give the keys to the entry, or to the screen where there is nothing to type."""
        self.set_focus(self.entry.input if self.entry.input.display else None)

    def turn_to(self, page: int) -> None:
        """Show one of the pages, where there is room for one only."""
        self._page = page % PAGES
        for number in range(PAGES):
            self.set_class(number == self._page, f"page-{number}")
        self.show_points()

    def on_resize(self, _: events.Resize) -> None:
        """Fit to the new size: there may be room now for what was out of sight."""
        self.show_points_next()

    @property
    def page(self) -> int:
        """The page shown."""
        return self._page

    def _tick(self) -> None:
        state, opened = self.live.state, self.live.state.opened
        records = self.live.journal.records
        clock = clock_line(state, records, self.item, self._now(), apart=not_by_wall(self.live))
        self.query_one(StatusBar).show(
            phase_sign(state),
            opened.tag if opened is not None else "",
            operator_of(records),
            case_words(state),
            " · ".join(part for part in (self.mode, clock) if part),
        )

    def _show_entry(self) -> None:
        item = self.item
        if item is None:
            self.entry.ask_nothing("This procedure asks for nothing here.")
        elif self.live.state.phase is Phase.CLOSED:
            self.entry.ask_nothing("The run is closed: nothing can be entered.")
        elif item.is_waveform:
            self.entry.ask_nothing("Waveform: y takes it, or attaches a file.")
        elif item.read is None:
            self.entry.ask_answer()
        else:
            self.entry.ask_value(item.read.unit)
        self.entry.input.value, self.entry.input.filled = "", False
        self.entry.feedback("", good=True)
        self.focus_entry()

    def _show_card(self) -> None:
        item = self.item
        put(self.query_one("#title", Static), plain(title(item) if item is not None else ""))
        if item is None:
            return
        shown = card(
            self.live.state,
            item,
            self.expectation,
            pending=self.computing,
            meter=self.meter_of(item),
            problem=self.expectation_problem,
        )
        self.query_one(ItemCard).show(shown, item.key)
        self.query_one(Facts).show(shown)
        self.set_class(has_points(item), "has-points")
        self.show_points_next()

    def show_points_next(self) -> None:
        """Show the points once what a key changed is painted: a table and a plot take longer to draw."""
        if not self._points_due:
            self._points_due = True
            self.call_after_refresh(self.show_points)

    def show_points(self) -> None:
        """Show the points that belong to the item, and their picture, where they are in sight."""
        self._points_due, item = False, self.item
        points = item is not None and has_points(item)
        self.set_class(points, "has-points")
        if item is not None and points and self._points_in_sight:
            state, pane = self.live.state, self.query_one(PointsPane)
            drawn = picture(state, item, self.expectation, self.outlooks)
            pane.show(point_table(state, item, self.expectation), drawn)

    @property
    def _points_in_sight(self) -> bool:
        return self._page > 0 or self.app.size.width >= WIDTHS[-1][0]
