"""The figures of a run as blocks of a document."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from ohmward.report.document.blocks import Picture
from ohmward.report.document.source import Source
from ohmward.report.document.words import Words


def drawn(
    words: Words, source: Source, progress: Callable[[int, int, str], None] | None = None
) -> Iterator[Picture]:
    """Draw every figure that a run has something for, in the order of a report.

    Parameters
    ----------
    words : Words
    source : Source
    progress : callable, optional
        Told the number of the kind being drawn, how many kinds there are, and its name.
    """
    from ohmward.report.plots import rendered
    from ohmward.report.plots.catalogue import KINDS, every
    from ohmward.report.plots.material import Material
    from ohmward.report.plots.style import NothingToShow

    material = Material(facts=source.facts, assessment=source.assessment, meters=source.state.meters)
    if progress is not None:
        progress(1, len(KINDS), KINDS[0].name)
    for number, (_, found) in enumerate(every(material), start=1):
        if not isinstance(found, NothingToShow):
            for each in found:
                yield Picture(
                    svg=rendered(each.figure, "svg", each.title).decode(),
                    caption=each.title,
                    instead=words("pictures.instead", caption=each.title, words=each.words),
                )
        if progress is not None and number < len(KINDS):
            progress(number + 1, len(KINDS), KINDS[number].name)
