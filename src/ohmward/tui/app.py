"""The terminal UI: the app wires screens together."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import on, work
from textual.app import App
from textual.binding import Binding, BindingType
from textual.filter import LineFilter, NoColor
from textual.screen import Screen

from ohmward.desk.beginning import begin
from ohmward.desk.opening import looked_into, open_again, opened, remarks
from ohmward.desk.place import start_of
from ohmward.desk.rehearsal import Rehearsal
from ohmward.desk.sheet_files import sheet_at
from ohmward.desk.trouble import write_down
from ohmward.errors import OhmwardError
from ohmward.logbook import Clock, SystemClock
from ohmward.run import LiveRun
from ohmward.taking.at_hand import MetersAtHand
from ohmward.tui.assessment_screen import AssessmentScreen
from ohmward.tui.bench_screen import BenchScreen
from ohmward.tui.desk import Talker
from ohmward.tui.dialogs import Tell
from ohmward.tui.frame import Frame
from ohmward.tui.palette import Finder, commands
from ohmward.tui.run_screen import RunScreen
from ohmward.tui.sheet_saving import AboutSheets, SheetSaving
from ohmward.tui.supply_screen import SupplyScreen
from ohmward.tui.themes import DARK, other_theme, wear

if TYPE_CHECKING:
    from ohmward.tui.history_screen import HistoryScreen

STAY = "not put aside: nobody would watch what runs by itself; i stops it"


class OhmwardApp(App[None]):
    """Screens wired together; it decides nothing."""

    CSS_PATH: ClassVar = [
        "app.tcss",
        "dialogs.tcss",
        "bench.tcss",
        "run.tcss",
        "tables.tcss",
        "sheet.tcss",
        "history.tcss",
        "meters.tcss",
    ]
    COMMANDS: ClassVar = {commands}
    TITLE = "ohmward"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+o", "switch_off", "switch off", priority=True, show=False),
        Binding("ctrl+q", "quit", "quit", priority=True, show=False),
        Binding("ctrl+z", "suspend_process", "put aside", priority=True, show=False),
        Binding("ctrl+p", "command_palette", "find", priority=True, show=False),
        Binding("ctrl+t", "look", "light or dark", priority=True, show=False),
    ]

    def __init__(
        self,
        logbook: Path,
        *,
        run_path: Path | None = None,
        rehearsal: Rehearsal | None = None,
        meters: MetersAtHand | None = None,
        operator: str = "bench A",
        clock: Clock | None = None,
        no_color: bool = False,
        notice: str = "",
    ) -> None:
        super().__init__()
        self.logbook, self.operator = logbook, operator
        self.no_color = no_color or self.no_color
        self.crash: Exception | None = None
        self.last_run: Path | None = None
        self._first, self._rehearsal, self._notice = run_path, rehearsal, notice
        self._meters = meters
        self._clock = clock or SystemClock()
        self._live: LiveRun | None = None
        self._opening = False

    def get_default_screen(self) -> Screen[None]:
        """Begin at the bench."""
        return BenchScreen(
            self.logbook, rehearsal=self._rehearsal is not None, now=self._clock.now, trouble=self._put_down
        )

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Return the colours of our own names, for as long as no look is put on."""
        return dict(DARK.variables)

    def get_line_filters(self) -> Sequence[LineFilter]:
        """Leave every colour to the terminal where NO_COLOR asks for it; bold and reverse stay."""
        return [NoColor()] if self.no_color else super().get_line_filters()

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        wear(self)
        self._begin()

    def action_look(self) -> None:
        """Turn between the dark look and the light one."""
        self.theme = other_theme(self.theme)

    def action_command_palette(self) -> None:
        """Find anything that can be done; over a dialogue its question comes first."""
        if isinstance(self.screen, Frame) and not self.screen.unreadable:
            self.push_screen(Finder(placeholder="What do you want to do, or where to go?"))

    @property
    def has_run(self) -> bool:
        """Whether a run is in hand, on the screen or under it."""
        return any(isinstance(screen, RunScreen) for screen in self.screen_stack)

    async def to_bench(self) -> None:
        """Put everything over the bench aside; not for a run in hand, which is left by its own way."""
        while len(self.screen_stack) > 1 and not self.has_run:
            if isinstance(form := self.screen, SheetSaving) and form.unsaved:
                form.ask_to_leave()
                return
            await self._put_aside()

    @work(name="begin", group="open")
    async def _begin(self) -> None:
        if self._notice:
            await self.push_screen_wait(
                Tell("Before you go on", [*self._notice.splitlines(), "Enter goes on; Ctrl+Q leaves."])
            )
        if self._first is not None:
            await self._open(self._first, resumed=True)

    @on(BenchScreen.Wanted)
    @on(SupplyScreen.NewRun)
    @work(name="open", group="open")
    async def _open_wanted(self, event: BenchScreen.Wanted | SupplyScreen.NewRun) -> None:
        if isinstance(event, SupplyScreen.NewRun):
            await self._new_run(event.path)
        elif event.what == "new-run":
            await self._new_run(event.path, event.procedure)
        elif event.what == "supply":
            await self._show_supply(event.path)
        elif event.what == "run":
            await self._open(event.path, resumed=True)
        elif event.what == "new-supply":
            await self._new_supply()
        elif event.what == "history":
            self.show_history(event.tag)
        elif event.what == "meters":
            self.show_meters()
        else:
            await self._assess(event.path)

    def show_history(self, tag: str) -> None:
        """Show the years of a supply."""
        from ohmward.tui.history_screen import HistoryScreen

        def today() -> date:
            return self._clock.now().date()

        self.push_screen(HistoryScreen(self.logbook, tag, today=today, trouble=self._put_down))

    def show_meters(self) -> None:
        """Show the meters of the logbook."""
        from ohmward.tui.meters_screen import MetersScreen

        def today() -> date:
            return self._clock.now().date()

        self.push_screen(MetersScreen(self.logbook, self._meters, today=today, trouble=self._put_down))

    @work(name="assess", group="open")
    async def on_history_screen_run_wanted(self, event: HistoryScreen.RunWanted) -> None:
        """Show what a run of a history amounts to."""
        await self._assess(event.path)

    async def _new_supply(self) -> None:
        from ohmward.tui import sheet_begin

        if isinstance(desk := self.screen, Talker):
            self._show_form(await sheet_begin.new_supply(desk, self.logbook, **self._about_sheets))

    @on(SupplyScreen.Wanted)
    @work(name="open", group="open")
    async def _open_from_supply(self, event: SupplyScreen.Wanted) -> None:
        from ohmward.tui import sheet_begin

        desk = self.screen
        if event.what == "run":
            await self._open(event.path, resumed=True)
        elif event.what == "assessment":
            await self._assess(event.path)
        elif isinstance(desk, Talker):
            begun = sheet_begin.copy if event.what == "copy" else sheet_begin.edit
            self._show_form(await begun(desk, self.logbook, event.path, **self._about_sheets))

    @property
    def _about_sheets(self) -> AboutSheets:
        return {"rehearsal": self._rehearsal is not None, "trouble": self._put_down}

    def _show_form(self, form: Screen[None] | None) -> None:
        if form is not None:
            self.push_screen(form)

    async def _show_supply(self, path: Path) -> None:
        try:
            supply = sheet_at(path)
        except OhmwardError as error:
            await self.push_screen_wait(Tell("The design sheet cannot be read", str(error).splitlines()))
            return
        self.push_screen(SupplyScreen(path, supply, logbook=self.logbook, **self._about_sheets))

    async def _new_run(self, sheet: Path, procedure: str = "") -> None:
        desk = self.screen
        if isinstance(desk, Talker):
            path = await begin(
                desk, self.logbook, sheet, operator=self.operator, procedure=procedure,
                simulated=self._rehearsal is not None,
            )  # fmt: skip
            if path is not None:
                await self._open(path, resumed=False)

    async def _open(self, path: Path, *, resumed: bool) -> None:
        """Open a run for writing and show it; whatever stands against it is said in words.

        One at a time: where a run is in hand, or being opened, the key was pressed once too often.
        """
        if self.has_run or self._opening:
            return
        self._opening = True
        try:
            run = await self._opened(path, resumed=resumed)
        finally:
            self._opening = False
        if run is not None:
            await self.push_screen_wait(run)
            self.let_go()

    async def _opened(self, path: Path, *, resumed: bool) -> RunScreen | None:
        self.let_go()
        try:
            self._live = live = opened(path, self.operator, self._clock, resumed=resumed)
        except OhmwardError as error:
            await self.push_screen_wait(Tell("The run cannot be opened", str(error).splitlines()))
            return None
        if live.journal.closed:
            self.let_go()
            await self._assess(path)
            return None
        self.last_run = path
        await asyncio.to_thread(start_of, live.state)  # what it computes is kept
        return RunScreen(
            live,
            rehearsal=self._rehearsal,
            meters=self._meters,
            now=self._clock.now,
            trouble=self._put_down,
            reopen=lambda: open_again(live, self.operator, self._clock),
            resumed=resumed,
            remarks=remarks(live),
        )

    async def _assess(self, path: Path) -> None:
        try:
            state = looked_into(path)
        except OhmwardError as error:
            await self.push_screen_wait(Tell("The run cannot be read", str(error).splitlines()))
            return
        self.push_screen(AssessmentScreen(state, path, self._put_down))

    @on(RunScreen.AssessmentWanted)
    def _assess_live(self, event: RunScreen.AssessmentWanted) -> None:
        self.push_screen(AssessmentScreen(event.run_state, event.journal, self._put_down))

    @work(name="switch-off", group="switch-off", exclusive=True)
    async def action_switch_off(self) -> None:
        """Put everything else aside and switch off the run in hand; works from any screen over it."""
        run = await self._back_to_run()
        if run is not None:
            run.action_move("off")

    @work(name="quit", group="switch-off", exclusive=True)
    async def _quit(self) -> None:
        run = await self._back_to_run()
        if run is None:
            if await self._left_form():
                self.exit()
        else:
            run.leave_program()

    async def action_quit(self) -> None:
        """Leave; a live supply is spoken of first."""
        self._quit()

    def action_suspend_process(self) -> None:
        """Go back to the shell for a while; not while loads are driven, for nobody would watch them."""
        run = next((screen for screen in self.screen_stack if isinstance(screen, RunScreen)), None)
        if run is not None and run.going is not None:
            run.say(STAY, good=False)
            self.bell()
        else:
            super().action_suspend_process()

    async def _left_form(self) -> bool:
        """Ask about a form with changes that are not saved; return whether there is none in the way."""
        form = next((each for each in self.screen_stack if isinstance(each, SheetSaving)), None)
        if form is None or not form.unsaved:
            return True
        while self.screen is not form and form in self.screen_stack:
            await self._put_aside()
        return await form.leave()

    async def _back_to_run(self) -> RunScreen | None:
        run = next((screen for screen in self.screen_stack if isinstance(screen, RunScreen)), None)
        while run is not None and self.screen is not run:
            await self._put_aside()
            run = run if run in self.screen_stack else None
        return run

    async def _put_aside(self) -> None:
        """Close what is on top, as with no answer, when it is there whole."""
        top = self.screen
        while not top.is_mounted and top is self.screen:
            await asyncio.sleep(0.01)
        if top is self.screen:
            await top.dismiss(None)

    def let_go(self) -> None:
        """Close the journal in hand; the run stays open for another session."""
        if self._live is not None:
            self._live.close_file()
            self._live = None

    def _put_down(self, error: BaseException) -> str:
        return write_down(self.logbook, error, self._clock.now())

    def _handle_exception(self, error: Exception) -> None:
        """Take an exception that nothing foresaw: end this app in good order, without a traceback.

        The name is Textual's own and private; `tests/tui/test_crash.py` fails when it goes away.
        """
        if self.crash is None:
            self.crash = error
            self.exit()
