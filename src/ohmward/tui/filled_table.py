"""A table that is filled in slices, so that a thousand rows never hold the screen up."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

from rich.style import Style
from rich.text import Text
from textual.widgets import DataTable

from ohmward.text import one_line

SLICE = 80
"""Rows added before the screen gets its turn again."""

INKS = {"good": "success", "warn": "warning", "bad": "error"}
"""Colours of the theme by the style class of a sign."""


class FilledTable(DataTable[Text]):
    """Rows of text, each with a key by which the cursor finds it again when the table is filled anew."""

    def __init__(self, headings: Sequence[str], *, id: str, signed: int = 0) -> None:  # noqa: A002 theirs
        super().__init__(id=id, cursor_type="row")
        self._signed = signed
        self._titles = tuple(headings)
        self._filled: tuple[tuple[str, ...], ...] = ()
        self._filled_keys: tuple[str, ...] = ()
        self._looks: tuple[str, ...] = ()

    def on_mount(self) -> None:
        """Begin with the headings."""
        self.add_columns(*(Text(heading) for heading in self._titles))

    def on_resize(self) -> None:
        """Keep the row under the cursor in sight when something opens below the table."""
        if self.here >= 0:
            self.move_cursor(row=self.here)

    @property
    def here(self) -> int:
        """Number of the row under the cursor; -1 where there is none."""
        return self.cursor_row if 0 <= self.cursor_row < self.row_count else -1

    def fill(self, keys: Sequence[str], rows: Sequence[Sequence[str]], styles: Sequence[str] = ()) -> None:
        """Show `rows`; the cursor stays on the row it is on, if that is still there.

        Parameters
        ----------
        keys : sequence of str
            What each row is known by.
        rows : sequence of sequence of str
        styles : sequence of str, optional
            Style class of each row's sign, as in `desk.words`: colour helps where the word has said it.
        """
        shown = tuple(tuple(row) for row in rows)
        looks = tuple(styles) or ("",) * len(shown)
        if (shown, tuple(keys), looks) == (self._filled, self._filled_keys, self._looks):
            return
        here = self._filled_keys[self.here] if 0 <= self.here < len(self._filled_keys) else ""
        self._filled, self._filled_keys, self._looks = shown, tuple(keys), looks
        goal = (
            self._filled_keys.index(here)
            if here in self._filled_keys
            else min(max(self.cursor_row, 0), len(shown) - 1)
        )
        self.clear()
        self._add(0, SLICE, goal)
        if len(shown) > SLICE:
            self.run_worker(self._add_rest(goal), name="fill", group="fill", exclusive=True)
        else:
            self.workers.cancel_group(self, "fill")

    async def _add_rest(self, goal: int) -> None:
        for start in range(SLICE, len(self._filled), SLICE):
            await asyncio.sleep(0.001)  # a key pressed meanwhile comes first
            self._add(start, start + SLICE, goal)

    def _add(self, start: int, end: int, goal: int) -> None:
        inks = self.app.theme_variables
        for row, style in zip(self._filled[start:end], self._looks[start:end], strict=True):
            ink = inks.get(INKS.get(style, ""))
            signed = Style(color=ink, bold=style == "bad")
            self.add_row(
                *(
                    Text(one_line(cell), style=signed if n == self._signed else "")
                    for n, cell in enumerate(row)
                )
            )
        if start <= goal < end:
            self.move_cursor(row=goal)
