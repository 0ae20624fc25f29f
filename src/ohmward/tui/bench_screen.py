"""The bench: supplies with their state, what there is to go on with, and a line to search both."""

from __future__ import annotations

import gc
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import on, work
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.message import Message
from textual.widgets import DataTable, Input, Static

from ohmward.desk.first_words import FIRST_STEPS, SUPPLY_HEADINGS, TO_DO_HEADINGS
from ohmward.errors import OhmwardError
from ohmward.text import one_line
from ohmward.tui.desk import Talker
from ohmward.tui.filled_table import FilledTable
from ohmward.tui.keys import BENCH, bindings
from ohmward.tui.showing import plain

if TYPE_CHECKING:
    from ohmward.desk.bench_rows import BenchLook, SupplyRow, ToDoRow

TOLD_EACH = 10
"""Progress is told after so many supplies read."""


class BenchScreen(Talker):
    """What there is to work on."""

    KEYS = BENCH
    HEADING = "the bench"
    BINDINGS: ClassVar = bindings(BENCH)

    @dataclass
    class Wanted(Message):
        """Something is to be opened."""

        what: str
        """``supply``, ``new-supply``, ``new-run``, ``run``, ``assessment``, ``history``, ``meters``; ``who``
        where nothing is opened, and who tests is asked."""
        path: Path
        tag: str = ""
        procedure: str = ""
        """Of a new run: what the supply is due for."""

    @dataclass
    class Looked(Message):
        """What was read of the logbook; `problem` is what went wrong, `progress` how far it is."""

        supplies: tuple[SupplyRow, ...] | None
        to_do: tuple[ToDoRow, ...] = ()
        problem: str = ""
        progress: str = ""
        over: bool = True

    def __init__(
        self,
        folder: Path,
        *,
        rehearsal: bool,
        now: Callable[[], datetime],
        trouble: Callable[[BaseException], str],
    ) -> None:
        super().__init__()
        self._folder, self._rehearsal, self._now, self._trouble = folder, rehearsal, now, trouble
        self._supplies: tuple[SupplyRow, ...] = ()
        self._to_do: tuple[ToDoRow, ...] = ()
        self._shown_supplies: tuple[SupplyRow, ...] = ()
        self._shown_to_do: tuple[ToDoRow, ...] = ()
        self._looking = self._again = self._looked = False
        self._problem = self._progress = ""

    def compose_body(self) -> ComposeResult:
        """Lay out what is between banner and hints."""
        with Vertical(id="body"):
            yield Static("", id="bench-folder", markup=False)
            search = Input(
                placeholder="words to look for: a tag, a title, a state", id="bench-search", compact=True
            )
            search.display = False
            yield search
            yield Static("Supplies", id="supplies-heading", classes="heading", markup=False)
            yield FilledTable(SUPPLY_HEADINGS, id="sheets", signed=1, least=10, soft=(3,))
            yield Static("In hand, due, and the latest runs", classes="heading", markup=False)
            yield FilledTable(TO_DO_HEADINGS, id="runs")
            yield Static(plain("\n\n".join(FIRST_STEPS)), id="bench-empty", markup=False)
            yield Static("", id="bench-detail", classes="detail", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.show_rehearsal(self._rehearsal)
        self._show_heading()

    def on_screen_resume(self) -> None:
        """Read the folder again on coming to it; at first, once the person sees where they are."""
        self.call_after_refresh(self.action_reread)

    # reading the logbook

    def action_reread(self) -> None:
        """Read the folder again; where it is being read already, once more after that."""
        if self._looking:
            self._again = True
            return
        self._looking = True
        self._look()

    @work(thread=True, name="look", group="look", exit_on_error=False)
    def _look(self) -> None:
        from ohmward.desk.bench_look import look_at
        from ohmward.desk.bench_rows import supply_rows, to_do_rows

        def told(first: BenchLook, done: int, of: int) -> None:
            words = f"reading the runs of {of} supplies: {done} done"
            if done <= 1:
                self.post_message(
                    self.Looked(supply_rows(first), to_do_rows(first), progress=words, over=False)
                )
            elif done % TOLD_EACH == 0:
                self.post_message(self.Looked(None, progress=words, over=False))

        try:
            look = look_at(self._folder, self._now().date(), told)
            found = self.Looked(supply_rows(look), to_do_rows(look), "; ".join(look.shortcomings))
        except OhmwardError as error:
            found = self.Looked(None, problem=str(error))
        except Exception as error:  # noqa: BLE001 said in words; what is shown stays
            found = self.Looked(None, problem=self._trouble(error))
        self.post_message(found)

    @on(Looked)
    def _take_look(self, event: Looked) -> None:
        self._progress, self._problem = event.progress, event.problem
        if event.supplies is not None:
            self._supplies, self._to_do = event.supplies, event.to_do
            self._narrow()
        if event.over:
            self._looking, first, self._looked = False, not self._looked, True
            self.set_class(not self._supplies and not self._to_do and not self._problem, "empty")
            if first:
                self._focus_rows()
                _keep_still()
            if self._again:
                self._again = False
                self.action_reread()
        self._show_heading()
        self._show_detail()

    def _focus_rows(self) -> None:
        """Begin at the supplies; where no sheet is among them, at what there is to go on with."""
        if isinstance(self.focused, Input):
            return
        sheets = any(row.sheet is not None for row in self._shown_supplies)
        (self._runs if self._shown_to_do and not sheets else self._sheets).focus()

    # narrowing

    def action_search(self) -> None:
        """Open the line that narrows both tables."""
        self._search.display = True
        self._search.focus()

    def action_clear_search(self) -> None:
        """Close that line, and show everything again."""
        if self._search.display:
            self._search.value = ""
            self._search.display = False
            self._narrow()
            self._sheets.focus()
            self._focus_rows()
        else:
            self.remark("Everything is shown. Ctrl+Q leaves ohmward.")

    @on(Input.Changed, "#bench-search")
    def _typed(self) -> None:
        self._narrow()
        self._show_detail()

    @on(Input.Submitted, "#bench-search")
    def _searched(self) -> None:
        there = self._shown_to_do and not self._shown_supplies
        (self._runs if there else self._sheets).focus()

    def _narrow(self) -> None:
        from ohmward.desk.bench_rows import matches

        words = self._search.value
        self._shown_supplies = tuple(row for row in self._supplies if matches(words, row.cells))
        self._shown_to_do = tuple(row for row in self._to_do if matches(words, row.cells))
        supplies, to_do = self._shown_supplies, self._shown_to_do
        self._sheets.show(
            [row.key for row in supplies],
            [row.cells for row in supplies],
            [row.state.style for row in supplies],
        )
        self._runs.show(
            [row.key for row in to_do], [row.cells for row in to_do], [row.sign.style for row in to_do]
        )
        self._show_heading()

    # what is said

    def _show_heading(self) -> None:
        words = self._progress or "being read …"
        if self._looked and not self._progress:
            from ohmward.desk.bench_rows import counted

            words = counted(self._supplies, self._to_do)
        self.query_one("#bench-folder", Static).update(plain(f"{words}   {one_line(str(self._folder))}"))
        found = len(self._shown_supplies)
        narrowed = f": {found} of {len(self._supplies)}" if found != len(self._supplies) else ""
        self.query_one("#supplies-heading", Static).update(plain(f"Supplies{narrowed}"))

    @on(DataTable.RowHighlighted)
    def _moved(self) -> None:
        self._show_detail()

    def on_descendant_focus(self) -> None:
        """Say what is under the cursor of the table that has the focus now."""
        self._show_detail()

    def _show_detail(self) -> None:
        supply, to_do = self._supply, self._doing
        if self._problem:
            words = self._problem
        elif self._at_runs and to_do is not None:
            from ohmward.desk.bench_rows import to_do_words

            words = to_do_words(to_do)
        elif supply is not None:
            words = supply.words
        elif self._search.value:
            words = "Nothing here has these words. Esc shows everything again."
        else:
            words = ""
        detail = self.query_one("#bench-detail", Static)
        detail.display = bool(words)
        detail.update(plain(words))

    # what is done

    @on(DataTable.RowSelected)
    def _picked(self) -> None:
        self.action_pick()

    def action_pick(self) -> None:
        """Open what is under the cursor."""
        if not self._at_runs:
            self._open_supply("supply")
        elif self._doing is not None:
            self._open_doing(self._doing)
        else:
            self.remark("Nothing is in hand or due here. Tab goes to the supplies.")

    def action_new_run(self) -> None:
        """Start a run on the supply under the cursor: of what it is due for."""
        self._open_supply("new-run")

    def action_new_supply(self) -> None:
        """Describe a new supply."""
        self.post_message(self.Wanted("new-supply", self._folder))

    def action_history(self) -> None:
        """Show the history of the supply under the cursor."""
        if self._tag:
            self.post_message(self.Wanted("history", self._folder, self._tag))
        else:
            self._say_none_here()

    def action_meters(self) -> None:
        """Show the meters."""
        self.post_message(self.Wanted("meters", self._folder))

    def action_who(self) -> None:
        """Say who tests from here on."""
        self.post_message(self.Wanted("who", self._folder))

    def action_assessment(self) -> None:
        """Show what the run under the cursor amounts to; on a supply, its latest."""
        self._open_run("assessment")

    def action_resume(self) -> None:
        """Go on with the run in hand of the supply under the cursor."""
        self._open_run("run")

    def _open_run(self, what: str) -> None:
        from ohmward.desk.bench_rows import latest_run

        doing = self._doing if self._at_runs else None
        if not self._tag:
            self._say_none_here()
        elif doing is not None and doing.path is not None and doing.what in {"run", what}:
            self.post_message(self.Wanted(what, doing.path))
        elif (run := latest_run(self._to_do, self._tag, in_hand=what == "run")) and run.path is not None:
            self.post_message(self.Wanted(what, run.path))
        elif what == "run":
            self._say(
                f"{self._tag} has no run in hand", ["n starts one. s shows what its latest amounts to."]
            )
        else:
            lines = ["n starts one. Runs of long ago are in its history: h."]
            self._say(f"{self._tag} has no run among the latest", lines)

    def _say_none_here(self) -> None:
        if not self._search.value:  # else the line below the tables says it
            self._say(
                "Nothing is under the cursor", ["Put it on a supply or a run. a describes a new supply."]
            )

    @property
    def _tag(self) -> str:
        """The supply that the row under the cursor is about; empty where there is none."""
        row = self._doing if self._at_runs else self._supply
        return row.tag if row is not None else ""

    def _open_supply(self, what: str) -> None:
        """Open the sheet of the supply under the cursor, of either table."""
        if self._at_runs:
            row = next((each for each in self._supplies if self._doing and each.tag == self._doing.tag), None)
            procedure = self._doing.procedure if self._doing and self._doing.what == "due" else ""
        else:
            row, procedure = self._supply, ""
        if row is None:
            self._say_none_here()
        elif row.problem:
            self._say(f"Design sheet {row.sheet.name if row.sheet else ''}", row.problem.splitlines())
        elif row.sheet is None:
            lines = [
                f"Its runs are here, but no design sheet of it is in {self._folder / 'supplies'}.",
                "Put the sheet there, and F5 reads again. h shows its runs.",
            ]
            self._say(f"{row.tag} has no design sheet", lines)
        else:
            wanted = self.Wanted(what, row.sheet, row.tag, procedure or row.procedure)
            self.post_message(wanted)

    def _open_doing(self, row: ToDoRow) -> None:
        if row.what == "due":
            self._open_supply("supply")
        elif row.path is None:
            return
        elif row.what == "damaged":
            advice = f"Nothing was changed. 'ohmward verify {row.path}' names the line."
            self._say(f"Run {row.path.stem}", [row.words, advice])
        else:
            self.post_message(self.Wanted(row.what, row.path))

    def _say(self, heading: str, lines: list[str]) -> None:
        self.run_worker(self.tell(one_line(heading), lines), group="talk")

    @property
    def _at_runs(self) -> bool:
        return self.focused is self._runs

    @property
    def _sheets(self) -> FilledTable:
        return self.query_one("#sheets", FilledTable)

    @property
    def _runs(self) -> FilledTable:
        return self.query_one("#runs", FilledTable)

    @property
    def _search(self) -> Input:
        return self.query_one("#bench-search", Input)

    @property
    def _supply(self) -> SupplyRow | None:
        here = self._sheets.here
        return self._shown_supplies[here] if 0 <= here < len(self._shown_supplies) else None

    @property
    def _doing(self) -> ToDoRow | None:
        here = self._runs.here
        return self._shown_to_do[here] if 0 <= here < len(self._shown_to_do) else None


@cache
def _keep_still() -> None:
    """Have the collector of garbage leave alone what is loaded by now, once: all of it stays for good.

    Looking through it held the screen up for a tenth of a second each time a long table was filled.
    """
    gc.freeze()
