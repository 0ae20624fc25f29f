"""One supply: its design sheet as a table, what the sheet itself gives away, and what to expect."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

from rich.text import Text
from textual import on, work
from textual.app import ComposeResult
from textual.message import Message
from textual.widgets import DataTable, Static, TabbedContent, TabPane

from ohmward.desk.words import SEVERITIES
from ohmward.physics.expectation import Expectation
from ohmward.supply import describe, findings
from ohmward.supply.model import Supply
from ohmward.text import one_line
from ohmward.tui import expected_rows
from ohmward.tui.desk import Talker
from ohmward.tui.frame import plain
from ohmward.tui.keys import SUPPLY, bindings

ROOM_C = 25.0


class SupplyScreen(Talker):
    """What a supply is and what it ought to do."""

    KEYS = SUPPLY
    HEADING = "a supply"
    BINDINGS: ClassVar = bindings(SUPPLY)

    @dataclass
    class NewRun(Message):
        """A run is to be started on this sheet."""

        path: Path

    @dataclass
    class Computed(Message):
        """What to expect, from the worker; `problem` is why there is nothing."""

        expectation: Expectation | None
        problem: str

    def __init__(
        self, path: Path, supply: Supply, *, rehearsal: bool, trouble: Callable[[BaseException], str]
    ) -> None:
        super().__init__()
        self._path, self._supply, self._rehearsal, self._trouble = path, supply, rehearsal, trouble
        self._heading = f"{supply.tag}: {supply.title}"

    def compose_body(self) -> ComposeResult:
        """Lay out what is between banner and hints."""
        yield Static(plain(one_line(self._heading)), classes="heading")
        with TabbedContent(id="supply-tabs"):
            with TabPane("1 Design sheet", id="tab-1"):
                yield DataTable(id="sheet", cursor_type="row")
            with TabPane("2 Findings", id="tab-2"):
                yield DataTable(id="findings", cursor_type="row")
            with TabPane("3 What to expect", id="tab-3"):
                yield Static("Being computed …", id="expect-words", markup=False)
                yield DataTable(id="expect", cursor_type="row")
        yield Static("", id="supply-detail", classes="detail", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.show_rehearsal(self._rehearsal)
        fields = [row for row in describe(self._supply) if row[0] != self._heading]
        self._fill("#sheet", ("field", "value"), fields)
        found = findings(self._supply)
        listed = [(str(SEVERITIES[f.severity]).split(":")[0], f.field, f.text, f.basis) for f in found]
        none = [("✓ nothing", "", "the sheet gives no cause for concern", "")]
        self._fill("#findings", ("severity", "field", "finding", "basis"), listed or none)
        self._expect()
        self.action_tab(1)

    @work(thread=True, name="expectation", group="expectation", exit_on_error=False)
    def _expect(self) -> None:
        try:
            from ohmward.physics import expect

            result, problem = expect(self._supply, ambient_c=ROOM_C), ""
        except Exception as error:  # noqa: BLE001 said in words; the sheet can still be read
            result, problem = None, self._trouble(error)
        self.post_message(self.Computed(result, problem))

    @on(Computed)
    def _show_expected(self, event: Computed) -> None:
        expected, words = event.expectation, event.problem
        if expected is not None:
            lines = [f"At {expected.mains_v:g} V mains and {expected.ambient_c:g} °C room temperature."]
            lines += [f"Cannot be computed: {one_line(text)}" for text in expected.problems]
            lines += [f"Assumed: {one_line(text)}" for text in expected.assumptions]
            words = "\n".join(lines)
            self._fill("#expect", expected_rows.HEADINGS, expected_rows.rows(expected))
        self.query_one("#expect-words", Static).update(plain(words))

    @on(DataTable.RowHighlighted)
    @on(TabbedContent.TabActivated)
    def _moved(self) -> None:
        """Show the row under the cursor in full, where the column was too narrow for it."""
        table = self._table
        row = table.get_row_at(table.cursor_row) if table.row_count else []
        words = " · ".join(str(cell) for cell in row if str(cell))
        self.query_one("#supply-detail", Static).update(plain(words))

    @property
    def _table(self) -> DataTable[Text]:
        pane = self.query_one(TabbedContent).active or "tab-1"
        return self.query_one(f"#{pane} DataTable", DataTable)

    def action_tab(self, number: int) -> None:
        """Show one of the three tables."""
        self.query_one(TabbedContent).active = f"tab-{number}"
        self._table.focus()

    def action_new_run(self) -> None:
        """Start a run on this supply."""
        self.post_message(self.NewRun(self._path))

    def action_back(self) -> None:
        """Go back to the bench."""
        self.dismiss(None)

    def _fill(self, selector: str, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        table = self.query_one(selector, DataTable)
        table.clear(columns=True)
        table.add_columns(*(Text(heading) for heading in headings))
        for row in rows:
            table.add_row(*(Text(one_line(cell)) for cell in row))
