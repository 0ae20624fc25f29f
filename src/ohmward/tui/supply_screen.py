"""One supply: its design sheet, what the sheet gives away, what to expect, its chains drawn, its runs."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

from textual import events, on, work
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.message import Message
from textual.widgets import DataTable, Static, TabbedContent, TabPane

from ohmward.desk import expected_rows
from ohmward.desk.expectations import finding_rows, of_sheet
from ohmward.desk.sheet_chain import WIDTH, drawings
from ohmward.desk.sheet_files import runs_on, sheet_at
from ohmward.desk.sheet_runs import HEADINGS, run_cells, run_words
from ohmward.desk.sheet_words import guess_words
from ohmward.errors import OhmwardError
from ohmward.logbook import RunEntry
from ohmward.physics.expectation import Expectation
from ohmward.supply import describe
from ohmward.supply.model import Supply
from ohmward.text import one_line
from ohmward.tui.desk import Talker
from ohmward.tui.keys import SUPPLY, bindings
from ohmward.tui.row_table import RowTable
from ohmward.tui.showing import plain, styled


class SupplyScreen(Talker):
    """What a supply is and what it ought to do."""

    KEYS = SUPPLY
    CSS_PATH: ClassVar = styled("tables", "sheet")
    HEADING = "a supply"
    BINDINGS: ClassVar = bindings(SUPPLY)

    @dataclass
    class NewRun(Message):
        """A run is to be started on this sheet."""

        path: Path

    @dataclass
    class Wanted(Message):
        """Something else is to be opened: ``edit`` or ``copy`` the sheet, a ``run``, an ``assessment``."""

        what: str
        path: Path

    @dataclass
    class Computed(Message):
        """What to expect of a sheet, from the worker; `problem` is why there is nothing."""

        supply: Supply
        expectation: Expectation | None
        problem: str

    def __init__(
        self, path: Path, supply: Supply, *, logbook: Path, rehearsal: bool,
        trouble: Callable[[BaseException], str],
    ) -> None:  # fmt: skip
        super().__init__()
        self._path, self._supply, self._rehearsal, self._trouble = path, supply, rehearsal, trouble
        self._logbook = logbook
        self._expected: Expectation | None = None
        self._runs: tuple[RunEntry, ...] = ()

    @property
    def _heading(self) -> str:
        return one_line(f"{self._supply.tag}: {self._supply.title}")

    def compose_body(self) -> ComposeResult:
        """Lay out what is between banner and hints."""
        yield Static(plain(self._heading), id="supply-heading", classes="heading", markup=False)
        with TabbedContent(id="supply-tabs"):
            with TabPane("1 Design sheet", id="tab-1"):
                yield RowTable(id="sheet")
            with TabPane("2 Findings", id="tab-2"):
                yield RowTable(id="findings")
            with TabPane("3 What to expect", id="tab-3"):
                yield Static("Being computed …", id="expect-words", markup=False)
                yield RowTable(id="expect")
            with TabPane("4 Drawing", id="tab-4"), VerticalScroll(id="supply-chain-scroll"):
                yield Static("", id="supply-chain", markup=False)
            with TabPane("5 Runs", id="tab-5"):
                yield RowTable(id="supply-runs")
        yield Static("", id="supply-detail", classes="detail", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.show_rehearsal(self._rehearsal)
        self._show_supply()
        self.action_tab(1)

    def on_screen_resume(self) -> None:
        """Read sheet and runs again on coming back: both may have changed meanwhile."""
        if self.is_mounted:
            self.run_worker(self._reread(), name="reread", group="look")

    async def _reread(self) -> None:
        try:
            supply = await asyncio.to_thread(sheet_at, self._path)
            runs = await asyncio.to_thread(runs_on, self._logbook, supply.tag)
        except OhmwardError as error:
            self.run_worker(self._gone(str(error).splitlines()), group="talk")
            return
        if supply != self._supply:
            self._supply, self._expected = supply, None
            self.query_one("#expect-words", Static).update("Being computed …")
            self.query_one("#expect", RowTable).clear()
            self._show_supply()
        self._runs = runs
        none = [("", "no run yet", "n starts one", "")]
        self.query_one("#supply-runs", RowTable).fill(HEADINGS, [run_cells(run) for run in runs] or none)
        self._moved()

    async def _gone(self, lines: list[str]) -> None:
        await self.tell("The design sheet cannot be read any more", lines)
        self.dismiss(None)

    def _show_supply(self) -> None:
        """Show what the sheet says, and have the rest computed."""
        self.query_one("#supply-heading", Static).update(plain(self._heading))
        fields = [row for row in describe(self._supply) if row[0] != self._heading]
        self.query_one("#sheet", RowTable).fill(("field", "value"), fields)
        self._show_findings()
        self._draw()
        self._expect(self._supply)

    def _show_findings(self) -> None:
        rows = finding_rows(self._supply, self._expected)
        self.query_one("#findings", RowTable).fill(("severity", "field", "finding", "basis"), rows)

    @work(thread=True, name="expectation", group="expectation", exit_on_error=False)
    def _expect(self, supply: Supply) -> None:
        try:
            result, problem = of_sheet(supply), ""
        except Exception as error:  # noqa: BLE001 said in words; the sheet can still be read
            result, problem = None, self._trouble(error)
        self.post_message(self.Computed(supply, result, problem))

    @on(Computed)
    def _show_expected(self, event: Computed) -> None:
        if event.supply != self._supply:
            return  # it has been changed meanwhile
        expected, words = event.expectation, event.problem
        self._expected = expected
        if expected is not None:
            self._show_findings()
            guesses = guess_words(expected)
            lines = [
                f"At {expected.mains_v:g} V mains and {expected.ambient_c:g} °C room temperature{guesses}.",
                expected.all_hot_words,
            ]
            noted = [
                (name, note) for name, rail in expected.rails.items() if rail.guessed for note in rail.notes
            ]
            lines += [f"{one_line(name)}: {one_line(note)}." for name, note in noted]
            lines += [f"Cannot be computed: {one_line(text)}" for text in expected.problems]
            lines += [f"Assumed: {one_line(text)}" for text in expected.assumptions]
            words = "\n".join(line for line in lines if line)
            rows = [row.cells for row in expected_rows.rows(expected)]
            self.query_one("#expect", RowTable).fill(expected_rows.HEADINGS, rows)
        self.query_one("#expect-words", Static).update(plain(words))
        self._draw()

    def on_resize(self, _: events.Resize) -> None:
        """Draw as wide as there is room."""
        self._draw()

    def _draw(self) -> None:
        width = max(self.app.size.width - 4, WIDTH)
        lines = drawings(self._supply, width, self._expected)
        self.query_one("#supply-chain", Static).update(plain("\n".join(lines)))

    @on(DataTable.RowHighlighted)
    @on(TabbedContent.TabActivated)
    def _moved(self) -> None:
        """Show the row under the cursor in full, where the column was too narrow for it."""
        table, words = self._table, ""
        if table is not None and table.id == "supply-runs" and self._run is not None:
            words = run_words(self._run)
        elif table is not None:
            words = " · ".join(one_line(cell) for cell in table.whole if cell)
        self.query_one("#supply-detail", Static).update(plain(words))

    @property
    def _pane(self) -> str:
        return self.query_one(TabbedContent).active or "tab-1"

    @property
    def _table(self) -> RowTable | None:
        return next(iter(self.query(f"#{self._pane} RowTable").results(RowTable)), None)

    @property
    def _run(self) -> RunEntry | None:
        row = self.query_one("#supply-runs", RowTable).here
        return self._runs[row] if 0 <= row < len(self._runs) else None

    def action_tab(self, number: int) -> None:
        """Show one of the five pages."""
        self.query_one(TabbedContent).active = f"tab-{number}"
        table = self._table
        shown = table if table is not None else self.query_one("#supply-chain-scroll")
        shown.focus()
        self.call_after_refresh(shown.focus)  # a page that has never been shown takes no focus before

    @on(DataTable.RowSelected)
    def _picked(self) -> None:
        self.action_pick()

    def action_pick(self) -> None:
        """Open the run under the cursor; on the sheet, change it."""
        if self._pane == "tab-1":
            self.action_edit()
        elif self._pane == "tab-5":
            self._open_run()
        else:
            self.remark("There is nothing to open on this page: 5 lists the runs, e changes the sheet.")

    def _open_run(self) -> None:
        run = self._run
        if run is not None and run.problem and not run.records:
            self.run_worker(self.tell(f"Run {run.name}", [run.problem]), group="talk")
        elif run is None:
            self.remark("No run was made on it yet: n starts one.")
        else:
            self.post_message(self.Wanted("assessment" if run.closed else "run", run.path))

    def action_new_run(self) -> None:
        """Start a run on this supply."""
        self.post_message(self.NewRun(self._path))

    def action_edit(self) -> None:
        """Change the sheet."""
        self.post_message(self.Wanted("edit", self._path))

    def action_copy(self) -> None:
        """Begin the sheet of another supply from this one."""
        self.post_message(self.Wanted("copy", self._path))

    def action_back(self) -> None:
        """Go back to the bench."""
        self.dismiss(None)
