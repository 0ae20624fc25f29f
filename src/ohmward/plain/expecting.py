"""What a reading ought to be, computed beside the conversation and waited for where it is needed."""

from __future__ import annotations

import threading
from concurrent.futures import Future

from ohmward.desk.conditions import Conditions, conditions_of
from ohmward.physics.expectation import Expectation
from ohmward.run.expected import expectation
from ohmward.run.state import RunState

SAID_AFTER_S = 0.5
"""Whoever waits for longer than this is told so."""
Known = tuple[Expectation | None, str]
"""The expectation, and why there is none."""


class Expecting:
    """The expectation at the conditions of the moment."""

    def __init__(self) -> None:
        self._asked: Conditions | None = None
        self._found: Future[Known] = Future()

    def want(self, state: RunState) -> Future[Known]:
        """Start computing, unless it is done for these conditions."""
        conditions = conditions_of(state)
        if conditions != self._asked:
            self._asked, self._found = conditions, Future()
            threading.Thread(
                target=_compute, args=(state, self._found), name="expectation", daemon=True
            ).start()
        return self._found


def _compute(state: RunState, found: Future[Known]) -> None:
    try:
        found.set_result((expectation(state), ""))
    except Exception as error:  # noqa: BLE001 whatever it is, it is said in words and the run goes on
        found.set_result((None, f"{type(error).__name__}: {error}"))
