"""The ways from the bench to every other screen: what is opened first, and what is said where it cannot be.

Apart from the app, because all that the other screens stand on comes with it: the bench is shown first.
"""

from __future__ import annotations

import asyncio
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from textual.screen import Screen

from ohmward.desk.beginning import begin
from ohmward.desk.bench_look import procedure_due
from ohmward.desk.opening import looked_into, open_again, opened, remarks, to_be_asked
from ohmward.desk.other_runs import instead
from ohmward.desk.place import start_of
from ohmward.desk.rehearsal import Rehearsal
from ohmward.desk.sheet_files import sheet_at
from ohmward.desk.who_tests import ask_anew, ask_once, going_on_words
from ohmward.errors import OhmwardError
from ohmward.run import LiveRun, RunState
from ohmward.taking.at_hand import MetersAtHand
from ohmward.text import tester
from ohmward.tui import sheet_begin
from ohmward.tui.assessment_screen import AssessmentScreen
from ohmward.tui.desk import Talker
from ohmward.tui.dialogs import Tell
from ohmward.tui.history_screen import HistoryScreen
from ohmward.tui.meters_screen import MetersScreen
from ohmward.tui.run_screen import RunScreen
from ohmward.tui.sheet_saving import AboutSheets
from ohmward.tui.supply_screen import SupplyScreen

if TYPE_CHECKING:
    from ohmward.tui.app import OhmwardApp


class Ways:
    """The ways to every screen but the bench.

    Parameters
    ----------
    app : OhmwardApp
    rehearsal : Rehearsal, optional
        Stands in for the meters; runs started here are then rehearsals.
    meters : MetersAtHand, optional
        Meters that one key has read.
    """

    def __init__(self, app: OhmwardApp, rehearsal: Rehearsal | None, meters: MetersAtHand | None) -> None:
        self._app, self._rehearsal, self._meters = app, rehearsal, meters
        self._live: LiveRun | None = None
        self._run: RunScreen | None = None
        self._opening = False

    async def to(self, what: str, path: Path, tag: str = "", procedure: str = "") -> None:
        """Go where a screen asked to go, by the words of its `Wanted`; `procedure`: what is due."""
        if what == "new-run":
            await self._new_run(path, procedure)
        elif what == "supply":
            await self._supply(path)
        elif what == "run":
            await self.open_run(path, resumed=True)
        elif what in {"new-supply", "copy", "edit"}:
            await self._form(what, path)
        elif what == "who":
            await self._who()
        elif what == "history":
            self._show(HistoryScreen(self._app.logbook, tag, today=self._today, trouble=self._app.put_down))
        elif what == "meters":
            self._show(
                MetersScreen(self._app.logbook, self._meters, today=self._today, trouble=self._app.put_down)
            )
        else:
            await self.assess(path)

    async def open_run(self, path: Path, *, resumed: bool) -> None:
        """Open a run for writing and show it; whatever stands against it is said in words.

        One at a time: where a run is in hand, or being opened, the key was pressed once too often.
        """
        if self._app.has_run or self._opening:
            return
        self._opening = True
        try:
            run = await self._opened(path, resumed=resumed)
        finally:
            self._opening = False
        if run is not None:
            await self._app.push_screen_wait(run)
            self.let_go()

    async def assess(self, path: Path) -> None:
        """Show what a run on the disk amounts to."""
        try:
            state = looked_into(path)
        except OhmwardError as error:
            await self._tell("The run cannot be read", error)
            return
        self.assess_live(state, path)

    def assess_live(self, state: RunState, journal: Path) -> None:
        """Show what a run amounts to as far as it has come."""
        self._show(AssessmentScreen(state, journal, self._app.put_down))

    def let_go(self) -> None:
        """Close the journal in hand, once what runs by itself has recorded its end; the run stays open."""
        if self._run is not None:
            self._run.end_it()
            self._run = None
        if self._live is not None:
            self._live.close_file()
            self._live = None

    async def _supply(self, path: Path) -> None:
        try:
            supply = sheet_at(path)
        except OhmwardError as error:
            await self._tell("The design sheet cannot be read", error)
            return
        self._show(SupplyScreen(path, supply, logbook=self._app.logbook, **self._about_sheets))

    async def _form(self, what: str, path: Path) -> None:
        desk, about = self._app.screen, self._about_sheets
        if not isinstance(desk, Talker):
            return
        if what == "new-supply":
            form = await sheet_begin.new_supply(desk, self._app.logbook, **about)
        else:
            begun = sheet_begin.copy if what == "copy" else sheet_begin.edit
            form = await begun(desk, self._app.logbook, path, **about)
        if form is not None:
            self._show(form)

    async def _new_run(self, sheet: Path, procedure: str) -> None:
        desk = self._app.screen
        rehearsed = self._rehearsal is not None
        if isinstance(desk, Talker):
            wanted = await instead(desk, self._app.logbook, sheet, simulated=rehearsed)
            if wanted is None:
                return
            if wanted.resume is not None:
                await self.open_run(wanted.resume, resumed=True)
                return
            if not procedure:
                procedure = await asyncio.to_thread(procedure_due, self._app.logbook, sheet, self._today())
            path = await begin(
                desk, self._app.logbook, sheet, who=self._app.who, procedure=procedure,
                simulated=rehearsed, meters=self._meters.path if rehearsed and self._meters else None,
            )  # fmt: skip
            if path is not None:
                await self.open_run(path, resumed=False)

    async def _who(self) -> None:
        desk, who = self._app.screen, self._app.who
        if isinstance(desk, Talker) and await ask_anew(desk, who):
            desk.remark(f"Tests from here on: {tester(who.name)}.")

    async def _opened(self, path: Path, *, resumed: bool) -> RunScreen | None:
        self.let_go()
        sitting, clock, desk = self._app.who, self._app.clock, self._app.screen
        try:
            if resumed and isinstance(desk, Talker):
                wanted = await asyncio.to_thread(to_be_asked, path, sitting)
                if wanted and not await ask_once(desk, sitting):
                    return None
            live, who = opened(path, sitting, clock, resumed=resumed)
            self._live = live
        except OhmwardError as error:
            await self._tell("The run cannot be opened", error)
            return None
        if live.journal.closed:
            self.let_go()
            await self.assess(path)
            return None
        self._app.last_run = path
        await asyncio.to_thread(start_of, live.state)  # what it computes is kept
        self._run = RunScreen(
            live,
            rehearsal=self._rehearsal,
            meters=self._meters,
            now=clock.now,
            trouble=self._app.put_down,
            reopen=lambda: open_again(live, who, clock),
            resumed=resumed,
            remarks=[*going_on_words(who, sitting, "q"), *remarks(live)],
            who=who,
        )
        return self._run

    @property
    def _about_sheets(self) -> AboutSheets:
        return {"rehearsal": self._rehearsal is not None, "trouble": self._app.put_down}

    def _today(self) -> date:
        return self._app.clock.now().date()

    def _show(self, screen: Screen[None]) -> None:
        self._app.push_screen(screen)

    async def _tell(self, heading: str, error: OhmwardError) -> None:
        await self._app.push_screen_wait(Tell(heading, str(error).splitlines()))
