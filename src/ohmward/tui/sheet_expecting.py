"""What to expect of a sheet while it is being changed: computed beside the screen, the last good one kept.

At most one thread computes at a time, after a short pause in the typing; a result that is overtaken
by a later change is dropped.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from textual import work

from ohmward.desk.expectations import of_sheet
from ohmward.physics.expectation import Expectation
from ohmward.supply.model import Supply
from ohmward.tui.desk import Talker

PAUSE_S = 0.3
"""Pause in the typing after which it is worth computing [s]."""


class SheetExpecting(Talker):
    """A screen on a sheet that changes."""

    def __init__(self, trouble: Callable[[BaseException], str]) -> None:
        super().__init__()
        self._trouble = trouble
        self.expected: Expectation | None = None
        self.expected_of: Supply | None = None
        """The sheet that `expected` was computed from."""
        self.saved_expected: Expectation | None = None
        self.expecting_problem = ""
        self._saved_of: Supply | None = None
        self._wanted: tuple[Supply, Supply | None] | None = None
        self._at_work = False

    @property
    def computing(self) -> bool:
        """Whether what to expect is being computed."""
        return self._at_work

    def want_expectation(self, now: Supply, saved: Supply | None) -> None:
        """Compute what to expect of a sheet, and of the one saved, unless that is known."""
        if self._wanted is not None and self._wanted == (now, saved):
            return
        self._wanted = (now, saved)
        if not self._at_work:
            self._at_work = True
            self._work_out()

    @work(name="expectation", group="expectation", exit_on_error=False)
    async def _work_out(self) -> None:
        done: object = None
        try:
            while self._wanted is not None and self._wanted is not done:
                wanted = now, saved = self._wanted
                await asyncio.sleep(PAUSE_S if done is not None or self.expected is not None else 0)
                if self._wanted is not wanted:
                    continue  # still typing
                if saved is not None and saved != self._saved_of:
                    self.saved_expected, _ = await self._computed(saved)
                    self._saved_of = saved
                result, problem = await self._computed(now)
                done = wanted
                if self._wanted is wanted:
                    self._take(now, result, problem)
        finally:
            self._at_work = False
            if self.is_attached:
                self.show_expectation()

    async def _computed(self, supply: Supply) -> tuple[Expectation | None, str]:
        for known, of in ((self.expected, self.expected_of), (self.saved_expected, self._saved_of)):
            if known is not None and of == supply:
                return known, ""
        try:
            return await asyncio.to_thread(of_sheet, supply), ""
        except Exception as error:  # noqa: BLE001 said in words; the form goes on
            return None, self._trouble(error)

    def _take(self, supply: Supply, result: Expectation | None, problem: str) -> None:
        self.expecting_problem = problem
        if result is not None:
            self.expected, self.expected_of = result, supply

    def show_expectation(self) -> None:
        """Show what has now been computed."""
