"""What a run amounts to: verdict, readings, causes, rails, soak, waveforms; report and label from here.

It shows and asks; what anything means was decided by the core.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar

from textual import events, on, work
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.message import Message
from textual.widgets import DataTable, Input, Static, TabbedContent, TabPane

from ohmward.desk.assessment_filter import Filter, places
from ohmward.desk.budget_rows import budget_told
from ohmward.desk.printing import LABELS, REPORTS, Choice, printed
from ohmward.run import RunState, assessed
from ohmward.text import one_line
from ohmward.tui.assessment_panes import MarkedTable, PicturePane, Words
from ohmward.tui.assessment_view import Shown
from ohmward.tui.desk import Talker
from ohmward.tui.keys import ASSESSMENT, Key, bindings
from ohmward.tui.run_widgets import signed
from ohmward.tui.showing import plain, styled

TABS = ("Summary", "Readings", "Checks", "Causes", "Rails", "Soak", "Waves", "Limits", "Gaps")
FILTERED = frozenset({2, 8})
"""Tabs that list readings, and that the filter narrows."""
BEING_MADE = "A document is being made already."
_GIVES: dict[int, dict[str, Any]] = {2: {"least": 28}, 8: {"least": 12, "soft": (1,)}}
"""Which columns of a tab's table give way, and how far, where it is not as elsewhere."""
PICTURED = frozenset({5, 6, 7})


class AssessmentScreen(Talker):
    """The assessment of one run; it changes nothing in it."""

    KEYS = ASSESSMENT
    CSS_PATH: ClassVar = styled("tables")
    HEADING = "an assessment"
    BINDINGS: ClassVar = bindings(ASSESSMENT)

    @dataclass
    class Assessed(Message):
        """The assessment, from the worker; `problem` is why there is none."""

        shown: Shown | None
        problem: str

    @dataclass
    class Progress(Message):
        """How far a document is; empty when it is over."""

        words: str

    def __init__(self, state: RunState, journal: Path, trouble: Callable[[BaseException], str]) -> None:
        super().__init__()
        self.trouble = trouble
        self._state, self._journal = state, journal
        self._shown: Shown | None = None
        self._filter = Filter()
        self._doing = ""

    def compose_body(self) -> ComposeResult:
        """Lay out what is between banner and hints."""
        yield Static("Being assessed …", id="assessment-heading", classes="heading", markup=False)
        with TabbedContent(id="assessment-tabs"):
            for number, name in enumerate(TABS, 1):
                with TabPane(f"{number} {name}", id=f"tab-{number}"):
                    if number in {1, 4}:
                        yield Words(id=f"words-{number}")
                    elif number in PICTURED:
                        with Vertical(classes="pictured"):
                            yield MarkedTable(id=f"rows-{number}")
                            yield PicturePane(id=f"picture-{number}")
                    else:
                        yield MarkedTable(id=f"rows-{number}", **_GIVES.get(number, {}))
        yield Static("", id="assessment-filter", markup=False)
        yield Input(placeholder="words to look for; Enter keeps them, Esc ends", id="search", compact=True)
        yield Static("", id="assessment-detail", classes="detail", markup=False)
        yield Static("", id="assessment-doing", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.show_rehearsal(self._state.simulated)
        for hidden in ("#search", "#assessment-doing", "#assessment-filter", "#assessment-detail"):
            self.query_one(hidden).display = False
        self._assess()
        self.action_tab(1)

    @property
    def tab(self) -> int:
        """Number of the tab shown."""
        return int((self.query_one(TabbedContent).active or "tab-1").removeprefix("tab-"))

    @work(thread=True, name="assessment", group="assessment", exit_on_error=False)
    def _assess(self) -> None:
        try:
            result, facts = assessed(self._state, self._journal.parent)
            shown, problem = Shown(state=self._state, result=result, facts=facts), ""
        except Exception as error:  # noqa: BLE001 said in words; the run itself is untouched
            shown, problem = None, self.trouble(error)
        self.post_message(self.Assessed(shown, problem))

    @on(Assessed)
    def _take(self, event: Assessed) -> None:
        self._shown = event.shown
        if event.shown is None and not self.gone:
            words = plain(f"Cannot be assessed. {event.problem}")
            self.query_one("#assessment-heading", Static).update(words)
        self._show()

    def themed(self) -> None:
        """Show everything in the colours of another look."""
        self._show()

    def _show(self) -> None:
        shown = self._shown
        if shown is None or self.gone:
            return
        heading = Content.assemble(f"{one_line(shown.result.run)}  ", signed(shown.verdict))
        self.query_one("#assessment-heading", Static).update(heading)
        self.query_one("#words-1", Words).show(shown.summary(airy=self.has_class("-tall")))
        self.query_one("#words-4", Words).show(shown.causes())
        for number in (3, 5, 6, 7, 9):
            self.query_one(f"#rows-{number}", MarkedTable).mark(*shown.rows(number))
        self._list()

    def _list(self) -> None:
        """List the readings that the filter lets through."""
        if self._shown is None:
            return
        self._shown.narrow(self._filter)
        self.query_one("#rows-2", MarkedTable).mark(*self._shown.rows(2))
        self.query_one("#rows-8", MarkedTable).mark(*self._shown.bars(self.app.size.width))
        self.query_one("#assessment-filter", Static).update(plain(self._shown.filter_words))
        self._moved()

    def on_resize(self, _: events.Resize) -> None:
        """Use the room that there is now."""
        self.call_after_refresh(self._show)

    @on(DataTable.RowHighlighted)
    @on(TabbedContent.TabActivated)
    def _moved(self) -> None:
        """Say the row under the cursor in full, and draw its picture."""
        detail, tab = self.query_one("#assessment-detail", Static), self.tab
        self.query_one("#assessment-filter").display = tab in FILTERED
        self.set_class(tab in PICTURED, "has-picture")
        if self._shown is None:
            return
        lines = self._shown.detail(tab, self._row(tab), self.size.width)
        covered = tab in PICTURED and self.has_class("picture-first") and self.has_class("-low")
        detail.display = bool(lines) and not covered
        detail.update(Content("\n").join(plain(line) for line in lines))
        if tab in PICTURED:
            self.query_one(f"#picture-{tab}", PicturePane).show(*self._shown.picture(tab, self._row(tab)))

    def _row(self, tab: int) -> int:
        """Return the number of the row under the cursor; -1 where there is none."""
        return next((table.here for table in self.query(f"#rows-{tab}").results(MarkedTable)), -1)

    @property
    def _reading(self) -> tuple[str, str] | None:
        """Address of the reading under the cursor; None where there is none."""
        return self._shown.key(self.tab, self._row(self.tab)) if self._shown is not None else None

    # What a person does

    def action_tab(self, number: int) -> None:
        """Show one of the tabs."""
        self.query_one(TabbedContent).active = f"tab-{number}"
        for shown in self.query(f"#rows-{number}, #words-{number}"):
            self.set_focus(shown)

    def action_filter(self) -> None:
        """List the next kind of readings: all, failed, unexpected, not done, gone on with."""
        self._narrow(replace(self._filter, kind=self._filter.next_kind()))

    @work(name="only", group="talk", exclusive=True)
    async def action_only(self) -> None:
        """Ask for a stage or a rail, and list its readings alone."""
        there = places(self._state)
        at = next((n for n, (_, place) in enumerate(there) if place == self._filter.place), 0)
        chosen = await self.choose("Readings of which stage or rail?", [name for name, _ in there], at=at)
        if chosen is not None:
            self._narrow(replace(self._filter, place=there[chosen][1]))

    def action_search(self) -> None:
        """Type words that narrow the readings."""
        self._to_readings()
        search = self.query_one("#search", Input)
        search.display = True
        search.focus()

    @on(Input.Changed, "#search")
    def _typed(self, event: Input.Changed) -> None:
        self._filter = replace(self._filter, words=event.value)
        self._list()

    @on(Input.Submitted, "#search")
    def _sought(self) -> None:
        self.query_one("#search").display = False
        self.action_tab(self.tab)

    @on(DataTable.RowSelected)
    def _picked(self) -> None:
        self.action_in_full()

    @work(name="in-full", group="talk", exclusive=True)
    async def action_in_full(self) -> None:
        """Say all of the row under the cursor, where the lines below the table have no room for it."""
        lines = self._shown.in_full(self.tab, self._row(self.tab)) if self._shown is not None else []
        if lines:
            await self.tell(lines[0], lines[1:])
        else:
            self.remark(self.why_not(_key("in_full")))

    @work(name="budget", group="talk", exclusive=True)
    async def action_budget(self) -> None:
        """Say where the uncertainty of the reading under the cursor comes from."""
        key = self._reading
        if key is None:
            await self.tell("Where the uncertainty comes from", [self.why_not(_key("budget"))])
        else:
            await self.tell(*budget_told(self._state, *key))

    def action_picture(self) -> None:
        """Turn between table and picture, where there is room for one only."""
        if self.tab in PICTURED:
            self.toggle_class("picture-first")
        else:
            self.action_tab(5)
            self.add_class("picture-first")
        self._moved()

    def action_report(self) -> None:
        """Print the report to a file."""
        self._begin_printing(REPORTS)

    def action_label(self) -> None:
        """Print the label for the case to a file."""
        self._begin_printing(LABELS)

    def action_back(self) -> None:
        """End the search; with none going on, go back."""
        search = self.query_one("#search", Input)
        if search.display:
            search.value, search.display = "", False
            self.action_tab(self.tab)
        elif self._doing:
            self.progress(f"{self._doing.partition(' – ')[0]} – one moment: a document is being made")
        else:
            self.dismiss(None)

    def why_not(self, key: Key) -> str:
        """Return why a key does nothing now; empty where it does something."""
        if self._shown is None and key.action not in {"back", "help"} and "." not in key.action:
            return "The run is still being assessed, or cannot be assessed."
        if key.action in {"report", "label"} and self._doing:
            return BEING_MADE
        if key.action == "budget" and self._reading is None:
            return "Put the cursor on a reading first: 2 lists them."
        if key.action == "in_full" and self._row(self.tab) < 0:
            return "Nothing to open on this page: ↑ and ↓ scroll it, 2 lists the readings."
        return ""

    # Printing

    def _begin_printing(self, choices: Sequence[Choice]) -> None:
        if self._doing:
            self.remark(BEING_MADE)
        else:
            self._print(choices)

    @work(name="printing", group="printing", exclusive=True)
    async def _print(self, choices: Sequence[Choice]) -> None:
        await printed(self, self._journal, self._run, choices)

    @property
    def _run(self) -> str:
        return self._state.opened.run if self._state.opened is not None else self._journal.stem

    def progress(self, words: str) -> None:
        """Say how far a document is; from any thread."""
        self.post_message(self.Progress(words))

    @on(Progress)
    def _said(self, event: Progress) -> None:
        self._doing = event.words
        line = self.query_one("#assessment-doing", Static)
        line.display = bool(event.words)
        line.update(plain(f"Printing: {event.words}" if event.words else ""))

    def _narrow(self, wanted: Filter) -> None:
        if self._shown is None:
            self.remark(self.why_not(_key("filter")))
        self._filter = wanted
        self._to_readings()
        self._list()

    def _to_readings(self) -> None:
        if self.tab not in FILTERED:
            self.action_tab(2)


def _key(action: str) -> Key:
    return next(key for key in ASSESSMENT if key.action == action)
