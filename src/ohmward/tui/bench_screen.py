"""The bench: the supplies whose design sheets are in the logbook, and the runs made on them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

from rich.text import Text
from textual import on
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.message import Message
from textual.widgets import DataTable, Static

from ohmward.desk.words import day_words
from ohmward.errors import OhmwardError
from ohmward.logbook import Logbook, RunEntry
from ohmward.supply import load
from ohmward.text import one_line
from ohmward.tui.desk import Talker
from ohmward.tui.frame import plain
from ohmward.tui.keys import BENCH, bindings


@dataclass(frozen=True, kw_only=True)
class SheetRow:
    """A design sheet of the bench; `problem` in words when it cannot be read."""

    path: Path
    tag: str
    title: str
    problem: str = ""


class BenchScreen(Talker):
    """What there is to work on."""

    KEYS = BENCH
    HEADING = "the bench"
    BINDINGS: ClassVar = bindings(BENCH)

    @dataclass
    class Wanted(Message):
        """Something is to be opened: ``supply``, ``new-run``, ``run`` or ``assessment``."""

        what: str
        path: Path

    def __init__(self, folder: Path, *, rehearsal: bool) -> None:
        super().__init__()
        self._folder, self._rehearsal = folder, rehearsal
        self._sheets: list[SheetRow] = []
        self._runs: list[RunEntry] = []

    def compose_body(self) -> ComposeResult:
        """Lay out what is between banner and hints."""
        with Vertical(id="body"):
            yield Static(plain(f"Bench: {one_line(str(self._folder))}"), id="bench-folder", markup=False)
            yield Static("Supplies", classes="heading")
            yield DataTable(id="sheets", cursor_type="row")
            yield Static("Runs, the latest first", classes="heading")
            yield DataTable(id="runs", cursor_type="row")
            yield Static("", id="bench-detail", classes="detail", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.show_rehearsal(self._rehearsal)
        self._table("#sheets").add_columns("tag", "title")
        self._table("#runs").add_columns("date", "tag", "procedure", "state")
        self.action_reread()
        self._focus_rows()

    def on_screen_resume(self) -> None:
        """Read the folder again on coming back to it."""
        if self.is_mounted:
            self.action_reread()
            self._focus_rows()

    def _focus_rows(self) -> None:
        """Begin at the table that has something in it; where both have, stay."""
        sheets, runs = self._table("#sheets"), self._table("#runs")
        if self.focused is None or not self._table(f"#{self.focused.id}").row_count:
            (runs if self._runs and not self._sheets else sheets).focus()

    def action_reread(self) -> None:
        """Read the folder again, keeping the cursors where they are."""
        problem = ""
        try:
            logbook = Logbook(self._folder)
            self._sheets = [_sheet_row(path) for path in logbook.sheets()]
            self._runs = list(logbook.runs())
        except OhmwardError as error:
            problem = str(error)
        _fill(
            self._table("#sheets"),
            [(row.tag, (row.problem and f"✗ {row.problem}") or row.title) for row in self._sheets],
        )
        _fill(
            self._table("#runs"), [(run.date, run.tag, run.procedure, run_words(run)) for run in self._runs]
        )
        self._show_detail(problem)

    @on(DataTable.RowHighlighted)
    def _moved(self) -> None:
        self._show_detail("")

    @on(DataTable.RowSelected)
    def _picked(self) -> None:
        self.action_pick()

    def action_pick(self) -> None:
        """Open what is under the cursor."""
        sheet, run = self._sheet(), self._run()
        if self._at_runs:
            if run is not None:
                self._open_run(run)
        elif sheet is not None:
            self._open_sheet(sheet, "supply")

    def action_new_run(self) -> None:
        """Start a run on the supply under the cursor."""
        sheet = self._sheet()
        if sheet is not None:
            self._open_sheet(sheet, "new-run")

    def action_assessment(self) -> None:
        """Show what the run under the cursor amounts to."""
        run = self._run()
        if run is not None:
            self.post_message(self.Wanted("assessment", run.path))

    def _open_sheet(self, sheet: SheetRow, what: str) -> None:
        if sheet.problem:
            self.run_worker(
                self.tell(f"Design sheet {sheet.path.name}", sheet.problem.splitlines()), group="talk"
            )
        else:
            self.post_message(self.Wanted(what, sheet.path))

    def _open_run(self, run: RunEntry) -> None:
        if run.problem and not run.records:
            advice = f"Nothing was changed. 'ohmward verify {run.path}' names the line."
            self.run_worker(self.tell(f"Run {run.name}", [run.problem, advice]), group="talk")
        else:
            self.post_message(self.Wanted("assessment" if run.closed else "run", run.path))

    def _show_detail(self, problem: str) -> None:
        sheet, run = self._sheet(), self._run()
        if problem:
            words = problem
        elif self._at_runs and run is not None:
            words = run_detail(run)
        elif sheet is not None:
            words = (
                sheet.problem
                or f"{sheet.path.name}: Enter shows what it is and what to expect; n starts a run."
            )
        else:
            words = (
                f"No design sheet yet. Write one with 'ohmward new', put it into "
                f"{self._folder / 'supplies'}, "
                "and F5 reads again. '?' lists the keys."
            )
        self.query_one("#bench-detail", Static).update(plain(words))

    @property
    def _at_runs(self) -> bool:
        return self.focused is not None and self.focused.id == "runs"

    def _table(self, selector: str) -> DataTable[Text]:
        return self.query_one(selector, DataTable)

    def _sheet(self) -> SheetRow | None:
        row = self._table("#sheets").cursor_row
        return self._sheets[row] if 0 <= row < len(self._sheets) else None

    def _run(self) -> RunEntry | None:
        row = self._table("#runs").cursor_row
        return self._runs[row] if 0 <= row < len(self._runs) else None


def run_words(run: RunEntry) -> str:
    """Return the state of a run in a few words."""
    if run.problem:
        return f"✗ {run.problem}"
    words = f"closed: {run.verdict}" if run.closed else f"in hand, {run.records} records"
    return f"REHEARSAL  {words}" if run.simulated else words


def run_detail(run: RunEntry) -> str:
    """Return what is known of a run from its first and last line."""
    parts = [
        run.name,
        run.operator,
        f"last entry {day_words(run.last_at)}" if run.last_at else "",
        run_words(run),
    ]
    torn = "its last line was cut off; opening it sets the rest aside" if run.torn else ""
    return " · ".join(one_line(part) for part in (*parts, torn) if part)


def _sheet_row(path: Path) -> SheetRow:
    try:
        supply = load(path)
    except OhmwardError as error:
        return SheetRow(path=path, tag=one_line(path.stem), title="", problem=str(error))
    return SheetRow(path=path, tag=one_line(supply.tag), title=one_line(supply.title))


def _fill(table: DataTable[Text], rows: list[tuple[str, ...]]) -> None:
    at = table.cursor_row
    table.clear()
    for row in rows:
        table.add_row(*(Text(one_line(cell)) for cell in row))
    if rows:
        table.move_cursor(row=min(max(at, 0), len(rows) - 1))
