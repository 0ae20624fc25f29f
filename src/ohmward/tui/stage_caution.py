"""The caution of a stage, in sight while mains is on or about to be."""

from __future__ import annotations

import textwrap

from textual.widgets import Static

from ohmward.tui.showing import plain, put

LINES = 2
GOES_ON = " … (? help)"


class StageCaution(Static):
    """The caution of a stage: its first lines, and where the rest of it stands."""

    def __init__(self) -> None:
        super().__init__("", id="stage-caution", markup=False)
        self._words = ""

    def show(self, words: str) -> None:
        """Show a caution; nothing where there is none."""
        self._words = words
        self.display = bool(words)
        self._fit()

    def on_resize(self) -> None:
        """Fit to the new size."""
        self._fit()

    def _fit(self) -> None:
        width = self.size.width or self.app.size.width
        if width > len(GOES_ON):
            lines = textwrap.wrap(self._words, width, max_lines=LINES, placeholder=GOES_ON)
            put(self, plain("\n".join(lines)))
