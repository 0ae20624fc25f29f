"""The years of one supply: quantities with their trend, a plot, its runs, and two runs beside each other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import ClassVar

from textual import on, work
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.message import Message
from textual.widgets import DataTable, Static, TabbedContent, TabPane

from ohmward.analysis.history_facts import PastRun
from ohmward.analysis.history_results import Series
from ohmward.desk import history_rows as rows
from ohmward.desk.history_look import Compared, HistoryLook, compare, journal_of, look_back
from ohmward.errors import OhmwardError
from ohmward.text import one_line
from ohmward.tui.desk import Talker
from ohmward.tui.filled_table import FilledTable
from ohmward.tui.history_plot import HistoryPlot
from ohmward.tui.keys import HISTORY, bindings
from ohmward.tui.showing import plain, styled

_MATTER = {
    1: ("pick", "tab(2)", "tab(3)", "tab(4)", "back", "rehearsals", "reread"),
    2: ("next_quantity(-1)", "next_quantity(1)", "tab(1)", "tab(3)", "tab(4)", "back", "reread"),
    3: ("pick", "compare", "baseline", "rehearsals", "back", "tab(1)", "tab(2)", "tab(4)", "reread"),
    4: ("tab(3)", "tab(1)", "tab(2)", "back", "reread"),
}
"""The keys that matter on each page, the most important first."""
_NOTHING_TO_OPEN = {
    2: "← and → show the other quantities; 3 lists the runs.",
    4: "The line below the table says it in full; 3 lists the runs.",
}
"""What Enter says on a page where there is nothing to open."""
_BY_ACTION = {key.action: key for key in HISTORY}


class HistoryScreen(Talker):
    """The history of one supply; it is read-only."""

    KEYS = HISTORY
    CSS_PATH: ClassVar = styled("tables", "history")
    HEADING = "a history"
    BINDINGS: ClassVar = bindings(HISTORY)

    @dataclass
    class RunWanted(Message):
        """What a run amounts to is to be shown."""

        path: Path

    @dataclass
    class Looked(Message):
        """What was looked up; `problem` is why there is nothing."""

        look: HistoryLook | None
        problem: str = ""

    @dataclass
    class Beside(Message):
        """Two runs beside each other; `problem` is why they are not."""

        both: Compared | None
        problem: str = ""

    def __init__(
        self, folder: Path, tag: str, *, today: Callable[[], date], trouble: Callable[[BaseException], str]
    ) -> None:
        super().__init__()
        self._folder, self._tag, self._today, self._trouble = folder, tag, today, trouble
        self._look: HistoryLook | None = None
        self._quantities: list[Series] = []
        self._rehearsals = False
        self._baseline = self._marked = ""

    def compose_body(self) -> ComposeResult:
        """Lay out what is between banner and hints."""
        yield Static("Being looked up …", id="history-heading", classes="heading", markup=False)
        yield Static("", id="history-summary", markup=False)
        with TabbedContent(id="history-tabs"):
            with TabPane("1 Quantities", id="tab-1"), Horizontal():
                yield FilledTable(rows.QUANTITY_HEADINGS, id="quantities", least=24)
                yield HistoryPlot(id="plot-beside")
            with TabPane("2 Plot", id="tab-2"):
                yield HistoryPlot(id="plot-alone")
            with TabPane("3 Runs", id="tab-3"):
                yield FilledTable(rows.RUN_HEADINGS, id="past-runs")
            with TabPane("4 Compared", id="tab-4"):
                yield Static("", id="compared-words", markup=False)
                yield FilledTable(rows.COMPARED_HEADINGS, id="compared")
        yield Static("", id="history-detail", classes="detail", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.action_reread()
        self.action_tab(1)

    # looking up

    def action_reread(self) -> None:
        """Look its runs up again."""
        self._look_back(self._rehearsals, self._baseline)

    @work(thread=True, name="history", group="history", exclusive=True, exit_on_error=False)
    def _look_back(self, rehearsals: bool, baseline: str) -> None:
        try:
            look = look_back(self._folder, self._tag, self._today(), rehearsals=rehearsals, baseline=baseline)
            found = self.Looked(look)
        except (OhmwardError, ValueError) as error:
            found = self.Looked(None, str(error))
        except Exception as error:  # noqa: BLE001 said in words; nothing is written here
            found = self.Looked(None, self._trouble(error))
        self.post_message(found)

    @on(Looked)
    def _take_look(self, event: Looked) -> None:
        look = event.look
        if look is None:
            self.query_one("#history-heading", Static).update(plain(f"No history of {one_line(self._tag)}"))
            self.query_one("#history-summary", Static).update(plain(event.problem))
            return
        self._look, self._quantities = look, rows.quantities(look.found)
        self.show_rehearsal(look.found.simulated)
        self.query_one("#history-heading", Static).update(plain(rows.heading(look)))
        named = [" ".join(each.key) for each in self._quantities]
        self._table("quantities").show(
            named,
            [rows.quantity_cells(each) for each in self._quantities],
            [rows.quantity_style(each) for each in self._quantities],
        )
        self._show_runs()
        base = look.run(look.found.baseline)
        if base is not None and look.runs[-1] is not base:
            self._put_beside(look.runs[-1], base)
        else:
            self._say_beside("There is nothing to compare yet: it takes two runs that read the same.")
        self._moved()

    def _show_runs(self) -> None:
        look = self._look
        if look is None:
            return
        listed = look.runs[::-1]
        self._table("past-runs").show(
            [run.run for run in listed], [rows.run_cells(look, run, self._marked) for run in listed]
        )
        lines = rows.summary_lines(look, self._marked)
        self.query_one("#history-summary", Static).update(plain("\n".join(lines)))

    # moving about

    @on(DataTable.RowHighlighted)
    @on(TabbedContent.TabActivated)
    def _moved(self) -> None:
        """Show the quantity or the run under the cursor in full."""
        page, words = self._page, ""
        for number in range(1, 5):
            self.set_class(number == page, f"page-{number}")
        self.show_hints([_BY_ACTION[action] for action in _MATTER[page]])
        quantity, run = self._quantity, self._run
        if page in {1, 2} and quantity is not None:
            words = rows.quantity_words(quantity)
            picture = rows.picture_of(quantity)
            caption = "" if picture is None else rows.caption_of(quantity, picture)
            for pane in self.query(HistoryPlot):
                pane.show(picture, caption)
        elif page == 3 and run is not None:
            words = rows.run_words(run)
        elif page == 4:
            words = " · ".join(one_line(cell) for cell in self._table("compared").whole[1:] if cell)
        detail = self.query_one("#history-detail", Static)
        detail.display = bool(words)
        detail.update(plain(words))

    def action_tab(self, number: int) -> None:
        """Show one of the pages."""
        self.query_one(TabbedContent).active = f"tab-{number}"
        name = {1: "quantities", 3: "past-runs", 4: "compared"}.get(number)
        self.set_focus(None if name is None else self._table(name))

    def action_next_quantity(self, by: int) -> None:
        """Go to the quantity before or after."""
        table = self._table("quantities")
        if self._page == 2 and table.row_count:
            table.move_cursor(row=(table.here + by) % table.row_count)
            self._moved()

    @on(DataTable.RowSelected)
    def _picked(self) -> None:
        self.action_pick()

    def action_pick(self) -> None:
        """Open what is under the cursor: a quantity's plot, what a run amounts to."""
        run = self._run
        if self._page == 1:
            self.action_tab(2)
        elif self._page == 3 and run is not None:
            if run.problem:
                self._tell(f"Run {run.run}", [run.problem, "'ohmward verify' names the line."])
            else:
                self.post_message(self.RunWanted(journal_of(self._folder, run.run)))
        else:
            self.remark(_NOTHING_TO_OPEN.get(self._page, "There is no run under the cursor."))

    def action_back(self) -> None:
        """Go back."""
        self.dismiss(None)

    # comparing

    def action_rehearsals(self) -> None:
        """Turn between runs of the real supply and rehearsals."""
        look = self._look
        if look is None or not look.others:
            only = (
                "Every run of it is a rehearsal" if look and look.found.simulated else "There is no rehearsal"
            )
            self._tell("Rehearsals", [f"{only} of it: there is nothing to turn to."])
            return
        self._rehearsals, self._baseline, self._marked = not self._rehearsals, "", ""
        self.action_reread()

    def action_baseline(self) -> None:
        """Compare everything with the run under the cursor; with the usual one when it is that already."""
        run = self._run
        if self._page != 3 or run is None:
            self._tell("Baseline", ["3 shows the runs; t on one of them compares everything with it."])
        elif run.problem or not run.readings:
            self._tell("Baseline", [run.problem or "Nothing was read in this run: nothing compares with it."])
        else:
            self._baseline = "" if run.run == self._baseline else run.run
            self.action_reread()

    def action_compare(self) -> None:
        """Mark the run under the cursor; where one is marked, compare the two."""
        run, look = self._run, self._look
        if self._page != 3 or run is None or look is None:
            self._tell("Compare", ["3 shows the runs; c on one of them and c on another compares the two."])
        elif run.problem or not run.readings:
            self._tell("Compare", [run.problem or "Nothing was read in this run: nothing compares with it."])
        elif self._marked == run.run:
            self._mark("")
        elif (other := look.run(self._marked)) is not None:
            self._mark("")
            self._put_beside(run, other)
            self.action_tab(4)
        else:
            self._mark(run.run)

    def _mark(self, name: str) -> None:
        self._marked = name
        self._show_runs()

    @work(thread=True, name="compare", group="history", exit_on_error=False)
    def _put_beside(self, one: PastRun, other: PastRun) -> None:
        try:
            found = self.Beside(compare(one, other))
        except Exception as error:  # noqa: BLE001 said in words; nothing is written here
            found = self.Beside(None, self._trouble(error))
        self.post_message(found)

    @on(Beside)
    def _take_beside(self, event: Beside) -> None:
        both = event.both
        if both is None:
            self._say_beside(event.problem)
            return
        cells = rows.compared_cells(both)
        self._say_beside("\n".join(rows.compared_words(both)))
        self._table("compared").show(
            [f"{both.now.run} {both.then.run} {n}" for n in range(len(cells))],
            cells,
            ["warn" if row[0] == "!" else "" for row in cells],
        )

    def _say_beside(self, words: str) -> None:
        self.query_one("#compared-words", Static).update(plain(words))

    def _tell(self, heading: str, lines: list[str]) -> None:
        self.run_worker(self.tell(one_line(heading), lines), group="talk")

    @property
    def _page(self) -> int:
        return int((self.query_one(TabbedContent).active or "tab-1")[-1])

    def _table(self, name: str) -> FilledTable:
        return self.query_one(f"#{name}", FilledTable)

    @property
    def _quantity(self) -> Series | None:
        here = self._table("quantities").here
        return self._quantities[here] if 0 <= here < len(self._quantities) else None

    @property
    def _run(self) -> PastRun | None:
        runs, here = () if self._look is None else self._look.runs[::-1], self._table("past-runs").here
        return runs[here] if 0 <= here < len(runs) else None
