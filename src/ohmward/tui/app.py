"""The terminal UI: the app wires screens together."""

from __future__ import annotations

import asyncio
import gc
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, cast

from textual import on, work
from textual.app import App
from textual.binding import Binding, BindingType
from textual.filter import LineFilter, NoColor
from textual.screen import Screen

from ohmward.desk.look import keep_look, last_look
from ohmward.desk.trouble import write_down
from ohmward.desk.who_tests import Who
from ohmward.tui.bench_screen import BenchScreen
from ohmward.tui.frame import Frame
from ohmward.tui.themes import DARK, other_theme, wear

if TYPE_CHECKING:
    from textual.command import Provider

    from ohmward.desk.rehearsal import Rehearsal
    from ohmward.logbook import Clock
    from ohmward.taking.at_hand import MetersAtHand
    from ohmward.tui.history_screen import HistoryScreen
    from ohmward.tui.run_screen import RunScreen
    from ohmward.tui.sheet_saving import SheetSaving
    from ohmward.tui.supply_screen import SupplyScreen
    from ohmward.tui.ways import Ways

STAY = "not put aside: nobody would watch what runs by itself; i stops it"


def _findable() -> type[Provider]:
    """Return what finds anything by name; loaded when it is first asked for, as dialogues are."""
    from ohmward.tui.palette import Everything

    return Everything


class OhmwardApp(App[None]):
    """Screens wired together; it decides nothing."""

    CSS_PATH: ClassVar = ["app.tcss", "bench.tcss"]  # the bench is there first; other screens bring theirs
    COMMANDS: ClassVar = {_findable}
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
        meters: Callable[[], MetersAtHand] | None = None,
        who: Who | None = None,
        clock: Clock | None = None,
        no_color: bool = False,
        notice: str = "",
        look_file: Path | None = None,
    ) -> None:
        super().__init__()
        self.logbook, self.who = logbook, who or Who("")
        self.no_color = no_color or self.no_color
        self.crash: Exception | None = None
        self.last_run: Path | None = None
        self._first, self._rehearsal, self._notice = run_path, rehearsal, notice
        self._meters, self._clock = meters, clock
        self._ways: Ways | None = None
        self._look_file = look_file
        # before any style is read: what is put on later has them all read again
        wear(self, last_look(look_file) if look_file is not None else "")

    def get_default_screen(self) -> Screen[None]:
        """Begin at the bench."""
        return BenchScreen(
            self.logbook, rehearsal=self._rehearsal is not None, now=self._now, trouble=self.put_down
        )

    @property
    def clock(self) -> Clock:
        """The clock that everything here goes by."""
        if self._clock is None:
            from ohmward.logbook import SystemClock

            self._clock = SystemClock()
        return self._clock

    def _now(self) -> datetime:
        return self.clock.now()

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Return the colours of our own names, for as long as no look is put on."""
        return dict(DARK.variables)

    def get_line_filters(self) -> Sequence[LineFilter]:
        """Leave every colour to the terminal where NO_COLOR asks for it; bold and reverse stay."""
        return [NoColor()] if self.no_color else super().get_line_filters()

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.call_after_refresh(gc.enable)
        self._begin()

    def action_look(self) -> None:
        """Turn between the dark look and the light one; the next sitting begins with it."""
        self.theme = other_theme(self.theme)
        if self._look_file is not None:
            problem = keep_look(self._look_file, "dark" if self.current_theme.dark else "light")
            if problem and isinstance(self.screen, Frame):
                self.screen.remark(problem)

    def action_command_palette(self) -> None:
        """Find anything that can be done; over a dialogue its question comes first."""
        if isinstance(self.screen, Frame) and not self.screen.unreadable:
            from ohmward.tui.palette import Finder

            self.push_screen(Finder(placeholder="What do you want to do, or where to go?"))

    @property
    def has_run(self) -> bool:
        """Whether a run is in hand, on the screen or under it."""
        return self._run is not None

    @property
    def _run(self) -> RunScreen | None:
        return cast("RunScreen | None", self._holding("run"))

    @property
    def _form(self) -> SheetSaving | None:
        return cast("SheetSaving | None", self._holding("form"))

    def _holding(self, what: str) -> Frame | None:
        """Return the screen on which something is in hand; its class may not have been loaded yet."""
        frames = (screen for screen in self.screen_stack if isinstance(screen, Frame))
        return next((frame for frame in frames if what == frame.HOLDS), None)

    async def to_bench(self) -> None:
        """Put everything over the bench aside; not for a run in hand, which is left by its own way."""
        while len(self.screen_stack) > 1 and not self.has_run:
            form = self._form
            if form is not None and form is self.screen and form.unsaved:
                form.ask_to_leave()
                return
            await self._put_aside()

    @work(name="begin", group="open")
    async def _begin(self) -> None:
        if self._notice:
            from ohmward.tui.dialogs import Tell

            await self.push_screen_wait(
                Tell("Before you go on", [*self._notice.splitlines(), "Enter goes on; Ctrl+Q leaves."])
            )
        if self._first is not None:
            await (await self._known()).open_run(self._first, resumed=True)

    async def _known(self) -> Ways:
        """Return the ways to every screen but the bench; all that these stand on is loaded aside."""
        if self._ways is None:
            made = await asyncio.to_thread(_ways)
            meters = self._meters() if self._meters is not None else None
            self._ways = self._ways or made(self, self._rehearsal, meters)
        return self._ways

    @on(BenchScreen.Looked)
    @work(name="ways", group="ways", exclusive=True)
    async def _looked(self) -> None:
        await self._known()  # before a key asks for it

    @on(BenchScreen.Wanted)
    @work(name="open", group="open")
    async def _open_wanted(self, event: BenchScreen.Wanted) -> None:
        await (await self._known()).to(event.what, event.path, event.tag, event.procedure)

    @work(name="open", group="open")
    async def on_supply_screen_new_run(self, event: SupplyScreen.NewRun) -> None:
        """Start a run on the sheet shown."""
        await (await self._known()).to("new-run", event.path)

    @work(name="open", group="open")
    async def on_supply_screen_wanted(self, event: SupplyScreen.Wanted) -> None:
        """Open what a supply leads to."""
        await (await self._known()).to(event.what, event.path)

    @work(name="assess", group="open")
    async def on_history_screen_run_wanted(self, event: HistoryScreen.RunWanted) -> None:
        """Show what a run of a history amounts to."""
        await (await self._known()).assess(event.path)

    def on_run_screen_assessment_wanted(self, event: RunScreen.AssessmentWanted) -> None:
        """Show what the run in hand amounts to so far."""
        if self._ways is not None:
            self._ways.assess_live(event.run_state, event.journal)

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
        run = self._run
        if run is not None and run.going is not None:
            run.say(STAY, good=False)
            self.bell()
        else:
            super().action_suspend_process()

    async def _left_form(self) -> bool:
        """Ask about a form with changes that are not saved; return whether there is none in the way."""
        form = self._form
        if form is None or not form.unsaved:
            return True
        while self.screen is not form and form in self.screen_stack:
            await self._put_aside()
        return await form.leave()

    async def _back_to_run(self) -> RunScreen | None:
        run = self._run
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
        """Close the journal in hand, once what runs by itself has recorded its end; the run stays open."""
        if self._ways is not None:
            self._ways.let_go()

    def put_down(self, error: BaseException) -> str:
        """Write the details of an error down; return one sentence."""
        return write_down(self.logbook, error, self._now())

    def _handle_exception(self, error: Exception) -> None:
        """Take an exception that nothing foresaw: end this app in good order, without a traceback.

        The name is Textual's own and private; `tests/tui/test_crash.py` fails when it goes away.
        """
        if self.crash is None:
            self.crash = error
            self.exit()


def _ways() -> type[Ways]:
    from ohmward.tui.ways import Ways

    return Ways
