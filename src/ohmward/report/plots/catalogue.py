"""Every picture of a run by its name: for the command line, and for a report that shows them all."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from ohmward.analysis.history_change import Change
from ohmward.analysis.history_facts import PastRun
from ohmward.errors import InputError, Mistake
from ohmward.report.plots.budget import budget
from ohmward.report.plots.causes import causes
from ohmward.report.plots.compare import compare
from ohmward.report.plots.headroom import headroom
from ohmward.report.plots.material import Material
from ohmward.report.plots.overview import overview
from ohmward.report.plots.rails import ripple, voltage
from ohmward.report.plots.safety import safety
from ohmward.report.plots.soak import soak
from ohmward.report.plots.style import NothingToShow, Picture, Width
from ohmward.report.plots.waveform import waveform

Draw = Callable[[Material, str, Width], list[Picture]]


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of picture."""

    name: str
    shows: str
    draw: Draw
    of: str = ""
    """What may be named after a colon: 'rail', 'sensor' or 'reading'; empty for nothing."""


def _rails(draw: Callable[..., list[Picture]]) -> Draw:
    return lambda material, which, width: draw(material, (which,) if which else (), width=width)


KINDS = (
    Kind(
        name="overview",
        shows="every reading of the run at its position between its limits",
        draw=lambda material, _, width: overview(material, width=width),
    ),
    Kind(
        name="safety",
        shows="earth and insulation against their limits",
        draw=lambda material, _, width: safety(material, width=width),
    ),
    Kind(
        name="voltage",
        shows="output against load with limit, expected band and fitted line",
        draw=_rails(voltage),
        of="rail",
    ),
    Kind(name="ripple", shows="ripple against load with its limit", draw=_rails(ripple), of="rail"),
    Kind(
        name="headroom", shows="how far each regulator stands above dropout, against mains",
        draw=_rails(headroom), of="rail",
    ),
    Kind(
        name="waveform", shows="one captured cycle and its components", draw=_rails(waveform), of="rail"
    ),
    Kind(name="soak", shows="temperatures with fit, forecast and limit", draw=_rails(soak), of="sensor"),
    Kind(
        name="budget",
        shows="where the uncertainty of the closest readings, or of one, comes from",
        draw=lambda material, which, width: [budget(material, which, width=width)],
        of="reading",
    ),
    Kind(
        name="causes",
        shows="what is most likely wrong, with the readings that decided",
        draw=lambda material, _, width: [causes(material, width=width)],
    ),
)  # fmt: skip
"""Pictures of one run, in the order of a report."""


class Compared(NamedTuple):
    """A run, an earlier one, and what of their readings has changed."""

    now: PastRun
    then: PastRun
    changes: tuple[Change, ...]


COMPARE = "compare"
COMPARE_SHOWS = "what moved between two runs of one supply"
ALL = "all"
ALL_SHOWS = "all of them that this run has something for"


def listed() -> list[tuple[str, str]]:
    """Return every name with what it shows."""
    kinds = [(f"{kind.name}[:{kind.of.upper()}]" if kind.of else kind.name, kind.shows) for kind in KINDS]
    return [*kinds, (COMPARE, COMPARE_SHOWS), (ALL, ALL_SHOWS)]


def pictures(
    material: Material, name: str, *, width: Width = "full", compared: Compared | None = None
) -> list[Picture]:
    """Return the pictures that a name asks for.

    Parameters
    ----------
    material : Material
        The run.
    name : str
        Of one of `KINDS`, with what it is to be of after a colon (``voltage:+15``); or ``compare``.
    width : {"column", "full"}
    compared : Compared, optional
        The run and an earlier one, for ``compare``.

    Raises
    ------
    InputError
        For an unknown name; it lists those there are.
    NothingToShow
        When this run has nothing for it.
    """
    which = name.partition(":")[2]
    kind = known(name)
    if name == ALL:
        raise _unknown(name)  # those of `every`
    if kind is None:
        if compared is None:
            raise NothingToShow(
                f"run {material.facts.run}: no earlier run of {material.facts.tag} to compare it with. "
                "Name one with --with"
            )
        return [compare(compared.now, compared.then, compared.changes, width=width)]
    if which and kind.of != "reading":
        _require_there(material, kind, which)
    return kind.draw(material, which, width)


def every(
    material: Material, *, width: Width = "full"
) -> Iterator[tuple[Kind, list[Picture] | NothingToShow]]:
    """Yield every kind with its pictures, or with why there are none."""
    for kind in KINDS:
        try:
            yield kind, kind.draw(material, "", width)
        except NothingToShow as nothing:
            yield kind, nothing


def known(name: str) -> Kind | None:
    """Return the kind that a name asks for; None for ``compare`` and ``all``.

    Raises
    ------
    InputError
        For an unknown name; it lists those there are.
    """
    if name in {COMPARE, ALL}:
        return None
    base, _, which = name.partition(":")
    kind = next((kind for kind in KINDS if kind.name == base), None)
    if kind is None or (which and not kind.of):
        raise _unknown(name)
    return kind


def _unknown(name: str) -> InputError:
    names = [*(kind.name for kind in KINDS), COMPARE, ALL]
    near = difflib.get_close_matches(name.partition(":")[0], names, n=1)
    hint = f"Did you mean {near[0]}? " if near else ""
    if name == "history":
        hint = "'ohmward history TAG --plot FILE' draws the years. "
    return InputError(
        [
            Mistake(
                where="command line",
                field="NAME",
                value=name,
                why="there is no such picture",
                mend=f"{hint}One of: {', '.join(text for text, _ in listed())}",
            )
        ]
    )


def _require_there(material: Material, kind: Kind, which: str) -> None:
    if kind.of == "rail":
        known = [rail.name for rail in material.rails]
    else:
        known = list(dict.fromkeys(result.sensor for result in material.assessment.soaks))
    if which in known or not known:
        return
    raise InputError(
        [
            Mistake(
                where="command line",
                field="NAME",
                value=f"{kind.name}:{which}",
                why=f"there is no {kind.of} '{which}' in this run",
                mend=f"One of: {', '.join(known[:20])}{' and more' if len(known) > 20 else ''}",
            )
        ]
    )
