"""From the row of a form into its entry: what is typed behind Enter comes into the entry, however fast.

Enter is heard by the table, and the entry has the focus a little later. Keys between the two would be
commands of the form: 'd' would take a part out.
"""

from __future__ import annotations

from collections.abc import Sequence

from textual import events
from textual.timer import Timer

from ohmward.tui.line_input import OWN, LineInput
from ohmward.tui.sheet_table import SheetTable

WAITS_S = 2.0
"""After which keys are no longer held back, whatever became of Enter [s]."""


class SheetEntry(LineInput):
    """The entry; while it is being opened, it keeps its keys until those before them have come."""

    held: list[events.Key] | None = None

    async def on_key(self, event: events.Key) -> None:
        """Keep a key that comes too early."""
        if self.held is not None:
            self.held.append(event)
            event.stop()
            event.prevent_default()

    async def take(self, before: Sequence[events.Key]) -> None:
        """Take the keys that were held back, in order, as far as Enter or a key that is not for a line."""
        keys, self.held = [*before, *(self.held or ())], None
        for event in keys:
            if (action := OWN.get(event.key)) is not None:
                await self.run_action(action)
            elif event.is_printable and event.character:
                self.replace(event.character, *sorted(self.selection))
            else:
                return
            if event.key == "enter":
                return


class FormTable(SheetTable):
    """The rows of a form; keys behind Enter wait until it is known what Enter opens."""

    entry: SheetEntry | None = None
    """Where a row's value is changed."""
    held: list[events.Key] | None = None
    _limit: Timer | None = None

    def on_key(self, event: events.Key) -> None:
        """Hold back what comes behind Enter."""
        if self.held is not None:
            self.held.append(event)
            event.stop()
            event.prevent_default()
        elif event.key == "enter" and self.entry is not None:
            self.held, self.entry.held = [], []
            self._limit = self.set_timer(WAITS_S, self.let_go)

    def let_go(self) -> None:
        """Forget what was held back: it was not meant for what has come up."""
        self.held = None
        self._stop()
        if self.entry is not None:
            self.entry.held = None

    def _stop(self) -> None:
        if self._limit is not None:
            self._limit.stop()

    def hand_over(self) -> None:
        """Give what was held back, and what is on its way here still, to the entry."""
        self.call_later(self._pass_on)

    def _pass_on(self) -> None:
        if self.entry is not None and self.held is not None:
            kept, self.held = self.held, None
            self._stop()
            self.entry.call_later(self.entry.take, kept)
