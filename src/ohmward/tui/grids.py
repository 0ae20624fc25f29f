"""Text in two columns, what is behind the first kept clear of it when it wraps."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from rich.style import Style
from rich.table import Table
from rich.text import Text

from ohmward.text import visible


class Lead(NamedTuple):
    """What stands in front, what it says, and the theme colours of both (empty: as the rest)."""

    lead: str
    words: str
    ink: str = ""
    bold: bool = False
    head: str = ""
    """Words at the beginning of `words` that have the colour too."""


def grid(rows: Iterable[Lead], inks: dict[str, str], *, width: int = 0) -> Table:
    """Return rows as a grid, the first column at least `width` wide; nothing in them is obeyed."""
    table = Table.grid(padding=(0, 1))
    table.add_column(no_wrap=True, min_width=width or None)
    table.add_column(ratio=1)
    table.expand = True
    for row in rows:
        style = Style(color=inks.get(row.ink), bold=bool(row.ink) or row.bold)
        words = Text.assemble(
            (visible(row.head), style),
            (visible(row.words), Style(bold=True) if row.bold else Style()),
        )
        table.add_row(Text(visible(row.lead), style=style), words)
    return table
