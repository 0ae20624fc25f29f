"""How wide the columns of a table are: so that it takes few lines."""

from __future__ import annotations

import unicodedata

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from ohmward.report.document.blocks import Column, Table

ROOM = 133.0
"""Letters in a row of a table, from trials on A4; letter paper is near enough."""
PAD = 2
"""What the edges of a column take, in letters."""
LONGEST_WORD = 14
"""A column is not made narrower than its longest word, unless that is longer than this."""
PROSE = 60
"""Letters from which on a text is given what there is, for it will be broken anyway."""
NEVER_BROKEN = 10
"""Letters up to which a column has room for all that stands in it: '> 200 MΩ'."""
MOST_ROWS = 400
MOST_TRIED = 8
"""Widths tried of one column in one step."""


def fitted(table: Table) -> Table:
    """Return a table whose columns suit what stands in them; the shares asked for divide what is left."""
    cells = [[column.head for column in table.columns]]
    cells += [list(row.cells) for group in table.groups for row in group.rows]
    lengths = np.array([[_longest(text) for text in row] for row in cells[: MOST_ROWS + 1]])
    lengths[1:, 0] += 2  # the sign of a row that is marked
    words = [max((_word(row[at]) for row in cells), default=0) for at in range(len(table.columns))]
    shares = np.array([column.share for column in table.columns])
    figures = [
        1 + sum(any(char.isdigit() for char in row[at]) for row in cells) / len(cells)
        for at in range(len(words))
    ]
    least = np.maximum(words, np.minimum(lengths.max(axis=0), NEVER_BROKEN)) + PAD
    widths = _widths(lengths, least, shares, np.array(figures))
    columns = tuple(
        Column(head=column.head, share=round(float(width), 1))
        for column, width in zip(table.columns, widths, strict=True)
    )
    return replace(table, columns=columns)


def _longest(text: str) -> int:
    return max((_letters(line) for line in text.split("\n")), default=0)


def _word(text: str) -> int:
    return max((min(_letters(word), LONGEST_WORD) for word in text.split()), default=0)


def _letters(text: str) -> int:
    if text.isascii():
        return len(text)
    return sum(2 if unicodedata.east_asian_width(char) in "WF" else 1 for char in text)


def _widths(
    lengths: NDArray[np.int_],
    least: NDArray[np.int_],
    shares: NDArray[np.float64],
    weights: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the width of each column [letters]: from the least on, whatever saves most lines for its room.

    Lines are counted of each cell: of a row in which two cells are broken neither alone would save any.
    Figures are kept whole rather than words.
    """
    wanted = lengths.max(axis=0) + PAD
    if wanted.sum() <= ROOM:
        return np.asarray(wanted + (ROOM - wanted.sum()) * shares / shares.sum())
    widths = np.minimum(least, wanted)
    while True:
        best = (0.0, 0, 0)
        for at in range(len(widths)):
            column = lengths[:, at]
            left = int(ROOM - widths.sum())
            parts = widths[at] + left * np.arange(1, 5) // 4 if wanted[at] > PROSE else ()
            tried = np.unique([*(column + PAD), *parts])
            tried = tried[(tried > widths[at]) & (tried <= widths[at] + left)]
            now = np.ceil(column / max(widths[at] - PAD, 1)).sum()
            for width in tried[:: -max(1, -(-len(tried) // MOST_TRIED))]:
                saved = now - np.ceil(column / (width - PAD)).sum()
                best = max(best, (float(saved * weights[at]) / float(width - widths[at]), at, int(width)))
        gain, at, width = best
        if gain <= 0.0:
            break
        widths[at] = width
    short = np.where(widths < wanted, wanted - widths, ROOM)
    found: NDArray[np.float64] = widths.astype(np.float64)
    found[short.argmin()] += max(ROOM - widths.sum(), 0.0)  # it lacks least, and by a rough measure
    return found
