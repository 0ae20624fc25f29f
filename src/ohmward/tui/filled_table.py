"""A table that is filled in slices, so that a thousand rows never hold the screen up."""

from __future__ import annotations

import asyncio
from collections.abc import Collection, Sequence

from rich.style import Style

from ohmward.tui.row_table import LEAST, RowTable

SLICE = 80
"""Rows added before the screen gets its turn again."""

INKS = {"good": "success", "warn": "warning", "bad": "error"}
"""Colours of the theme by the style class of a sign."""


class FilledTable(RowTable):
    """Rows of text, each with a key by which the cursor finds it again when the table is filled anew."""

    def __init__(
        self,
        headings: Sequence[str],
        *,
        id: str,  # noqa: A002 theirs
        signed: int = 0,
        least: int = LEAST,
        soft: Collection[int] = (),
    ) -> None:
        super().__init__(id=id, least=least, soft=soft)
        self._signed = signed
        self._titles = tuple(headings)
        self._filled_keys: tuple[str, ...] = ()
        self._looks: tuple[str, ...] = ()

    def on_mount(self) -> None:
        """Begin with the headings."""
        self.set_columns(self._titles, ())

    @property
    def _filled(self) -> Sequence[Sequence[str]]:
        return self._filling[1]

    def refit(self) -> None:
        """Fit to the size that there is now, and keep the row under the cursor in sight."""
        here = self.here
        if self.set_columns(self._titles, self._filled):
            self._refill(here)
        elif here >= 0:
            self.move_cursor(row=here)

    def show(self, keys: Sequence[str], rows: Sequence[Sequence[str]], styles: Sequence[str] = ()) -> None:
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
        self._filling, self._filled_keys, self._looks = (self._titles, shown, ()), tuple(keys), looks
        goal = (
            self._filled_keys.index(here)
            if here in self._filled_keys
            else min(max(self.cursor_row, 0), len(shown) - 1)
        )
        self.set_columns(self._titles, shown)
        self._refill(goal)

    def _refill(self, goal: int) -> None:
        """Put in what is to be shown, the cursor on a row."""
        self.clear()
        self._add(0, SLICE, goal)
        if len(self._filled) > SLICE:
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
            self.add_cells(row, {self._signed: Style(color=ink, bold=style == "bad")})
        if start <= goal < end:
            self.move_cursor(row=goal)
