"""A line of text in which Enter takes what stands there when it is pressed, however fast one types on."""

from __future__ import annotations

from textual import events
from textual.widgets import Input


class LineInput(Input):
    """An input that hears Enter where it hears letters.

    As a binding, Enter is heard only after it has gone up to the app; on a slow line, digits of the next
    value that are on their way by then would come into this one.
    """

    async def on_key(self, event: events.Key) -> None:
        """Take the line."""
        if event.key == "enter":
            event.stop()
            event.prevent_default()
            await self.action_submit()
