"""The figures of a run as blocks of a document."""

from __future__ import annotations

from collections.abc import Callable

from ohmward.report.document.blocks import Picture
from ohmward.report.document.second_board import SecondBoard, drawings
from ohmward.report.document.source import Source
from ohmward.report.document.words import Words

HEAVIEST = ("soak", "voltage", "waveform", "ripple", "overview", "headroom", "safety", "budget")
"""Kinds that take longest to draw, in this order, as tests/benchmarks/bench_pictures.py shows."""


def drawn(
    words: Words,
    source: Source,
    progress: Callable[[int, int, str], None] | None = None,
    second: SecondBoard | None = None,
) -> tuple[Picture, ...]:
    """Draw every figure that a run has something for, in the order of a report.

    Parameters
    ----------
    words : Words
    source : Source
    progress : callable, optional
        Told the number of the kind being drawn, how many kinds there are, and its name.
    second : SecondBoard, optional
        It draws as well; the heaviest kinds are begun first.
    """
    from ohmward.report.plots.catalogue import KINDS
    from ohmward.report.plots.material import Material

    material = Material(facts=source.facts, assessment=source.assessment, meters=source.state.meters)
    names = [kind.name for kind in KINDS]
    order = [*HEAVIEST, *(name for name in names if name not in HEAVIEST)]

    def begun(name: str) -> None:
        if progress is not None:
            progress(names.index(name) + 1, len(names), name)

    if second is not None:
        found = second.draw(material, order, begun)
    else:
        found = {}
        for name in names:
            begun(name)
            found[name] = drawings(material, name)
    return tuple(
        Picture(
            svg=svg,
            caption=words(f"pictures.{name}"),
            instead=words("pictures.instead", caption=title, words=said),
        )
        for name in names
        for svg, title, said in found[name]
    )


def comparison(words: Words, source: Source) -> tuple[Picture, ...]:
    """Draw what has changed since the run that this one carries along; nothing where it carries none."""
    from ohmward.analysis.history_baseline import earlier_run
    from ohmward.report.plots import NothingToShow, rendered
    from ohmward.report.plots.compare import compare
    from ohmward.run.history import past_of_state

    earlier = earlier_run(source.opened)
    if earlier is None:
        return ()
    try:
        made = compare(past_of_state(source.state), earlier, source.assessment.comparison)
    except NothingToShow:
        return ()
    svg = rendered(made.figure, "svg", made.title).decode()
    instead = words("pictures.instead", caption=made.title, words=made.words)
    return (Picture(svg=svg, caption=words("pictures.compare"), instead=instead),)
