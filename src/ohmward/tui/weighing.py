"""What a surprise most likely means, weighed late and beside the screen, once nothing is pressed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from textual import on, work
from textual.message import Message
from textual.timer import Timer

from ohmward.desk.likely import WEIGHING, likely_words
from ohmward.run.state import RunState
from ohmward.tui.expecting import Expecting

QUIET_S = 0.5
"""So long nothing has to be done before it is weighed: it takes the processor from what is shown."""
HOW = "s says how to tell."


class Weighing(Expecting):
    """A screen that says the likeliest cause of what stands in a run."""

    @dataclass
    class Weighed(Message):
        """The likeliest cause by the records up to `seq`, in words; empty where nothing can be said."""

        seq: int
        words: str

    def __init__(self) -> None:
        super().__init__()
        self._likely: tuple[int, str] = (-1, "")
        self._to_weigh: tuple[RunState, Path] | None = None
        self._quiet: Timer | None = None
        self._weighs = False

    def likely(self, state: RunState, folder: Path) -> str:
        """Return the likeliest cause by all that stands in a run; weighed later where it is not known yet."""
        seq, words = self._likely
        if seq == state.last_seq:
            return words
        if self._to_weigh is None or self._to_weigh[0].last_seq != state.last_seq:
            self._to_weigh = (state, folder)
            self._later()
        return WEIGHING

    def hold_off(self) -> None:
        """Weigh later: something is being done."""
        if self._to_weigh is not None:
            self._later()

    def show_likely(self) -> None:
        """Show what has now been weighed."""

    def _later(self) -> None:
        if self._quiet is not None:
            self._quiet.stop()
        if not self._weighs:
            self._quiet = self.set_timer(QUIET_S, self._begin)

    def _begin(self) -> None:
        if self._to_weigh is not None and not self._weighs:
            self._weighs = True
            self._weigh(*self._to_weigh)

    @work(thread=True, name="causes", group="causes", exit_on_error=False)
    def _weigh(self, state: RunState, folder: Path) -> None:
        try:
            words = likely_words(state, folder, HOW)
        except Exception as error:  # noqa: BLE001 said in words; the reading is recorded, and the run goes on
            words = f"What it may be cannot be weighed ({type(error).__name__}: {error})."
        self.post_message(self.Weighed(state.last_seq, words))

    @on(Weighed)
    def _take_weighed(self, event: Weighed) -> None:
        self._weighs, self._likely = False, (event.seq, event.words)
        if self._to_weigh is not None and self._to_weigh[0].last_seq != event.seq:
            self._later()
        else:
            self._to_weigh = None
        self.show_likely()
