"""How wide the columns of a table are: so that it takes few lines. Widths are in hundredths of an em."""

from __future__ import annotations

import unicodedata

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from ohmward.report.document.blocks import Column, Table

ROOM = 5700
"""Of a row, on A4 in the size of tables; letter paper is near enough."""
PAD = 85
"""What the edges of a column take."""
LONGEST_WORD = 650
"""A column is not made narrower than its longest word, unless that is longer than this."""
NEVER_BROKEN = 480
"""Up to this a column has room for all that stands in it: '> 200 MΩ'."""
PROSE = 2800
"""From this on a text is given what there is, for it will be broken anyway."""
MOST_ROWS = 400
MOST_TRIED = 8
"""Widths tried of one column in one step."""
_NARROW, _WIDE = frozenset("iljtfrI .,;:'|!()[]-‐–"), frozenset("mwMW@%Ω—…")
_BOLD = 1.12


def fitted(table: Table) -> Table:
    """Return a table whose columns suit what stands in them; the shares asked for divide what is left."""
    heads = [column.head for column in table.columns]
    cells = [row.cells for group in table.groups for row in group.rows]
    lengths = np.array(
        [[_BOLD * _longest(head) for head in heads]]
        + [[_longest(text) for text in row] for row in cells[:MOST_ROWS]]
    )
    lengths[1:, 0] += _width("▲ ")  # the sign of a row that is marked
    words = [max(_BOLD * _word(head), *(_word(row[at]) for row in cells), 0) for at, head in enumerate(heads)]
    shares = np.array([column.share for column in table.columns])
    figures = [
        1 + sum(any(char.isdigit() for char in row[at]) for row in cells) / max(len(cells), 1)
        for at in range(len(heads))
    ]
    least = np.maximum(words, np.minimum(lengths.max(axis=0), NEVER_BROKEN)) + PAD
    widths = _widths(lengths, least, shares, np.array(figures))
    columns = tuple(
        Column(head=column.head, share=round(float(width), 1))
        for column, width in zip(table.columns, widths, strict=True)
    )
    return replace(table, columns=columns)


def _longest(text: str) -> int:
    return max((_width(line) for line in text.split("\n")), default=0)


def _word(text: str) -> int:
    return max((min(_width(word), LONGEST_WORD) for word in text.split()), default=0)


def _width(text: str) -> int:
    """Return how wide a text is set, near enough, by the metrics of the text face."""
    return sum(map(_advance, text))


def _advance(char: str) -> int:
    if char in _NARROW:
        return 29
    if char in _WIDE:
        return 80
    if char.isdigit():
        return 47
    if char.isupper():
        return 66
    return 100 if unicodedata.east_asian_width(char) in "WF" else 50


def _widths(
    lengths: NDArray[np.float64],
    least: NDArray[np.float64],
    shares: NDArray[np.float64],
    weights: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the width of each column: from the least on, whatever saves most lines for its room.

    Lines are counted of each cell: of a row in which two cells are broken neither alone would save any.
    Figures are kept whole rather than words.
    """
    wanted = lengths.max(axis=0) + PAD
    spare = ROOM - wanted.sum()
    if spare >= 0:
        return np.asarray(wanted + spare * shares / shares.sum())
    widths: NDArray[np.float64] = np.minimum(least, wanted)
    while True:
        best = (0.0, 0, 0.0)
        for at in range(len(widths)):
            column = lengths[:, at]
            left = ROOM - widths.sum()
            parts = widths[at] + left * np.arange(1, 5) / 4 if wanted[at] > PROSE else ()
            tried = np.unique([*(column + PAD), *parts])
            tried = tried[(tried > widths[at] + 1e-6) & (tried <= widths[at] + left + 1e-6)]
            now = np.ceil(column / max(widths[at] - PAD, 1.0)).sum()
            for width in tried[:: -max(1, -(-len(tried) // MOST_TRIED))]:
                saved = now - np.ceil(column / (width - PAD)).sum()
                best = max(best, (float(saved * weights[at] / (width - widths[at])), at, float(width)))
        gain, at, width = best
        if gain <= 0.0:
            break
        widths[at] = width
    short = np.where(widths < wanted, wanted - widths, ROOM)
    widths[short.argmin()] += max(ROOM - widths.sum(), 0.0)  # it lacks least, and by a rough measure
    return widths
