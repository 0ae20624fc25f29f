"""A second process to weigh and draw on: most of the work of a report, and a computer has two cores."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from functools import partial
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Self, cast

from ohmward.analysis.assessment import Weighed, weighed
from ohmward.analysis.facts import RunFacts
from ohmward.report.plots.material import Material

Drawing = tuple[str, str, str]
"""A picture as SVG, its title and its words."""

AHEAD = 2
"""Kinds of pictures that it is given at a time, so that it never waits for this process."""
END_S = 5.0


class SecondBoard:
    """Weighs and draws beside this process; it begins to load what it draws with as soon as it is made.

    What it cannot do, because a process is not to be had or was ended, is done here: the result is the same.
    To be used in a `with`, on a terminal that is not a screen's (a process inherits its streams).
    """

    def __init__(self) -> None:
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None
        self._given: list[str] = []
        if (os.cpu_count() or 1) < 2:
            return
        context = get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs,), daemon=True)
        try:
            self._process.start()
        except OSError:  # this system has no process to spare
            self._process, self._pipe = None, None
        theirs.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pipe is not None:
            self._pipe.close()
        if self._process is not None:
            self._process.join(0.0 if self._given else END_S)
            self._process.kill()
            self._process.join()

    def weigh(self, facts: RunFacts) -> Callable[[], Weighed]:
        """Begin to weigh what is most likely wrong; return what waits for it."""
        here = partial(weighed, facts)
        self._send(here, [])

        def waited() -> Weighed:
            try:
                return here() if self._pipe is None else cast("Weighed", self._pipe.recv())
            except (EOFError, OSError):
                self._lost([])
                return here()

        return waited

    def draw(
        self, material: Material, order: list[str], begun: Callable[[str], None]
    ) -> dict[str, list[Drawing]]:
        """Return the pictures of each kind; this process takes them from the end of `order`.

        Parameters
        ----------
        material : Material
        order : list of str
            Names of the kinds, the heaviest first.
        begun : callable
            Told the name of each kind when it is taken in hand.
        """
        left, found = list(order), dict[str, list[Drawing]]()
        self._send(material, left)
        while left or self._given:
            while left and self._pipe is not None and len(self._given) < AHEAD:
                self._given.append(left.pop(0))
                begun(self._given[-1])
                self._send(self._given[-1], left)
            if left:
                name = left.pop()
                begun(name)
                found[name] = drawings(material, name)
            self._collect(found, left)
        return found

    def _send(self, what: Material | str | Callable[[], Weighed], left: list[str]) -> None:
        if self._pipe is None:
            return
        try:
            self._pipe.send(what)
        except OSError:
            self._lost(left)

    def _collect(self, found: dict[str, list[Drawing]], left: list[str]) -> None:
        """Take what is drawn; wait for it where nothing is left to be done here."""
        while self._given and self._pipe is not None and (not left or self._pipe.poll()):
            try:
                drawing = self._pipe.recv()
            except (EOFError, OSError):
                self._lost(left)
            else:
                found[self._given.pop(0)] = drawing

    def _lost(self, left: list[str]) -> None:
        """Go on without it: what it was given is to be drawn here."""
        if self._pipe is not None:
            self._pipe.close()
        self._pipe = None
        left += self._given
        self._given.clear()


def drawings(material: Material, name: str) -> list[Drawing]:
    """Return the pictures of one kind; none where the run has nothing for it."""
    from ohmward.report.plots import rendered
    from ohmward.report.plots.catalogue import pictures
    from ohmward.report.plots.style import NothingToShow

    try:
        found = pictures(material, name)
    except NothingToShow:
        return []
    return [(rendered(each.figure, "svg", each.title).decode(), each.title, each.words) for each in found]


def _serve(pipe: Connection) -> None:
    """Do what is asked for until nobody asks any more; Ctrl-C is for the process that asks."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    import matplotlib.backends.backend_svg  # noqa: F401 -- loaded while nothing is asked for yet

    import ohmward.report.plots.catalogue  # noqa: F401

    material: Material | None = None
    try:
        while True:
            asked = pipe.recv()
            if isinstance(asked, Material):
                material = asked
            elif isinstance(asked, str) and material is not None:
                pipe.send(drawings(material, asked))
            else:
                pipe.send(asked())
    except (EOFError, OSError):
        return
