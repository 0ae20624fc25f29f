"""A line of text in which keys count in the order in which they were pressed, however fast one types on."""

from __future__ import annotations

from textual import events
from textual.binding import Binding
from textual.widgets import Input

OWN = {binding.key: binding.action for binding in Binding.make_bindings(Input.BINDINGS)}
"""What an input does on its own keys; arrows up and down are the screen's."""


class LineInput(Input):
    """An input that hears its own keys, Enter and Backspace among them, where it hears letters.

    As a binding, a key is heard only after it has gone up to the app; on a slow line, letters that come
    after it would be there before it: into this line after its Enter, or wiped by a Backspace before them.
    """

    async def on_key(self, event: events.Key) -> None:
        """Take the line, or do at once what the key does in it."""
        if (action := OWN.get(event.key)) is not None:
            event.stop()
            event.prevent_default()
            await self.run_action(action)
