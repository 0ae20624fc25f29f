"""Computing what to expect without holding up the screen: a named thread worker, its result by message."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from textual import on, work
from textual.message import Message

from ohmward.desk.conditions import Conditions, conditions_of
from ohmward.physics.expectation import Expectation
from ohmward.run.expected import expectation
from ohmward.run.state import RunState
from ohmward.tui.desk import Talker


class Expecting(Talker):
    """A screen that needs the expectation of a run at the conditions of the moment."""

    @dataclass
    class Computed(Message):
        """The expectation at some conditions; `problem` is why there is none."""

        conditions: Conditions
        expectation: Expectation | None
        problem: str

    def __init__(self) -> None:
        super().__init__()
        self.expectation: Expectation | None = None
        self.expectation_problem = ""
        self._asked: Conditions | None = None
        self._computed = asyncio.Event()

    @property
    def computing(self) -> bool:
        """Whether the expectation is still being computed."""
        return not self._computed.is_set()

    @property
    def working_words(self) -> str:
        """What is said while it is computed."""
        mains_v, _ = self._asked or (None, None)
        at = "" if mains_v is None else f" at {mains_v:g} V mains"
        return f"working out what this ought to be{at}; then it is taken …"

    async def expectation_known(self) -> None:
        """Wait until the expectation is computed: a judgement then costs no time on the screen's thread."""
        await self._computed.wait()

    def want_expectation(self, state: RunState) -> None:
        """Start computing, unless it is done for these conditions."""
        conditions = conditions_of(state)
        if conditions != self._asked:
            self._asked = conditions
            self._computed.clear()
            self._compute(conditions, state)

    @work(thread=True, name="expectation", group="expectation", exit_on_error=False)
    def _compute(self, conditions: Conditions, state: RunState) -> None:
        try:
            result, problem = expectation(state), ""
        except Exception as error:  # noqa: BLE001 whatever it is, it is shown in words and the run goes on
            result, problem = None, f"{type(error).__name__}: {error}"
        self.post_message(self.Computed(conditions, result, problem))

    @on(Computed)
    def _take_expectation(self, event: Computed) -> None:
        if event.conditions != self._asked:
            return  # conditions have been read anew meanwhile
        self.expectation, self.expectation_problem = event.expectation, event.problem
        self._computed.set()
        self.show_expectation()

    def show_expectation(self) -> None:
        """Show what has now been computed."""
