"""What a run amounts to: summary, readings with limit, expected value and verdict, checks, overrides."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual import on, work
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.widgets import DataTable, Static, TabbedContent, TabPane

from ohmward.run import RunState, assess_state
from ohmward.text import one_line
from ohmward.tui.frame import Frame, plain
from ohmward.tui.keys import ASSESSMENT, bindings
from ohmward.tui.run_widgets import signed

if TYPE_CHECKING:
    from ohmward.analysis.assessment import Assessment

_STYLES = {"✓": "green", "✗": "bold red", "!": "yellow", "?": "yellow", "↻": "yellow"}


class AssessmentScreen(Frame):
    """The assessment of one run; it is read-only."""

    KEYS = ASSESSMENT
    HEADING = "an assessment"
    BINDINGS: ClassVar = bindings(ASSESSMENT)

    @dataclass
    class Assessed(Message):
        """The assessment, from the worker; `problem` is why there is none."""

        result: Assessment | None
        problem: str

    def __init__(self, state: RunState, folder: Path, trouble: Callable[[BaseException], str]) -> None:
        super().__init__()
        self._state, self._folder, self._trouble = state, folder, trouble
        self._words: dict[str, list[str]] = {}

    def compose_body(self) -> ComposeResult:
        """Lay out what is between banner and hints."""
        yield Static("Being assessed …", id="assessment-heading", classes="heading", markup=False)
        with TabbedContent(id="assessment-tabs"):
            with TabPane("1 Summary", id="tab-1"), VerticalScroll(id="summary-scroll"):
                yield Static("", id="summary", markup=False)
            with TabPane("2 Readings", id="tab-2"):
                yield DataTable(id="readings", cursor_type="row")
            with TabPane("3 Checks", id="tab-3"):
                yield DataTable(id="checks", cursor_type="row")
            with TabPane("4 Rails", id="tab-4"):
                yield DataTable(id="rails", cursor_type="row")
            with TabPane("5 Overrides, gaps, history", id="tab-5"):
                yield DataTable(id="overrides", cursor_type="row")
        yield Static("", id="assessment-detail", classes="detail", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.show_rehearsal(self._state.simulated)
        self._assess()
        self.action_tab(1)

    @work(thread=True, name="assessment", group="assessment", exit_on_error=False)
    def _assess(self) -> None:
        try:
            result, problem = assess_state(self._state, self._folder), ""
        except Exception as error:  # noqa: BLE001 said in words; the run itself is untouched
            result, problem = None, self._trouble(error)
        self.post_message(self.Assessed(result, problem))

    @on(Assessed)
    def _show(self, event: Assessed) -> None:
        from ohmward.desk import assessment_rows as rows

        result = event.result
        heading = self.query_one("#assessment-heading", Static)
        if result is None:
            heading.update(plain(f"Cannot be assessed. {event.problem}"))
            return
        heading.update(Content.assemble(f"{one_line(result.run)}  ", signed(rows.run_verdict(result))))
        lines = [f"• {one_line(line)}" for line in result.summary] or ["Nothing to say yet."]
        self.query_one("#summary", Static).update(plain("\n".join(lines)))
        self._words = {
            "readings": [rows.reading_words(row) for row in result.readings],
            "checks": [rows.check_words(row) for row in result.checks],
            "rails": [rows.rail_words(*rail) for rail in result.rails.items()],
            "overrides": [" · ".join(row[1:]) for row in rows.override_cells(result)],
        }
        self._fill("readings", rows.READING_HEADINGS, [rows.reading_cells(row) for row in result.readings])
        self._fill("checks", rows.CHECK_HEADINGS, [rows.check_cells(row) for row in result.checks])
        self._fill("rails", rows.RAIL_HEADINGS, [rows.rail_cells(*rail) for rail in result.rails.items()])
        self._fill("overrides", rows.OVERRIDE_HEADINGS, rows.override_cells(result))
        self._moved()

    @on(DataTable.RowHighlighted)
    @on(TabbedContent.TabActivated)
    def _moved(self) -> None:
        """Say the row under the cursor in full."""
        words = ""
        for table in self.query(f"#{self.query_one(TabbedContent).active} DataTable").results(DataTable):
            listed = self._words.get(table.id or "", [])
            words = listed[table.cursor_row] if 0 <= table.cursor_row < len(listed) else ""
        detail = self.query_one("#assessment-detail", Static)
        detail.display = bool(words)
        detail.update(plain(words))

    def action_tab(self, number: int) -> None:
        """Show one of the tables."""
        self.query_one(TabbedContent).active = f"tab-{number}"
        for shown in self.query(f"#tab-{number} DataTable, #tab-{number} VerticalScroll"):
            self.set_focus(shown)

    def action_back(self) -> None:
        """Go back."""
        self.dismiss(None)

    def _fill(self, name: str, headings: Sequence[str], cells: Sequence[Sequence[str]]) -> None:
        table = self.query_one(f"#{name}", DataTable)
        table.clear(columns=True)
        table.add_columns(*(Text(heading) for heading in headings))
        for row in cells:
            table.add_row(*(Text(one_line(cell), style=_STYLES.get(row[0], "")) for cell in row))
