"""A second process to weigh and draw on: most of the work of a report, and a computer has two cores."""

from __future__ import annotations

import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Sequence
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


class SecondBoard:
    """Weighs and draws beside this process; it begins to load what it draws with as soon as it is made.

    What it cannot do, because a process is not to be had or was ended, is done here: the result is the same.
    To be used in a `with`, on a terminal that is not a screen's (a process inherits its streams).
    """

    def __init__(self) -> None:
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None
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
        self._let_go()
        if self._process is not None:
            self._process.kill()
            self._process.join()

    def weigh(self, facts: RunFacts) -> Callable[[], Weighed]:
        """Begin to weigh what is most likely wrong; return what waits for it."""
        here = partial(weighed, facts)
        try:
            if self._pipe is not None:
                self._pipe.send(here)
        except OSError:
            self._let_go()

        def waited() -> Weighed:
            try:
                if self._pipe is None:
                    return here()
                if not self._pipe.poll():
                    _load()  # needed here soon, and nothing else is to be done
                return cast("Weighed", self._pipe.recv())
            except (EOFError, OSError):
                self._let_go()
                return here()

        return waited

    def draw(
        self, material: Material, order: Sequence[str], begun: Callable[[str], None]
    ) -> dict[str, list[Drawing]]:
        """Return the pictures of each kind; both processes take what is left from the beginning of `order`.

        Parameters
        ----------
        material : Material
        order : sequence of str
            Names of the kinds, the heaviest first.
        begun : callable
            Told the name of each kind when it is taken in hand, from either of two threads.
        """
        left, found = deque(order), dict[str, list[Drawing]]()
        beside = threading.Thread(target=self._drawn_there, args=(material, left, found, begun), daemon=True)
        beside.start()
        _draw_left(material, left, found, begun)
        beside.join()
        self._let_go()  # it ends while this process goes on
        _draw_left(material, left, found, begun)  # what it was lost with
        return found

    def _drawn_there(
        self,
        material: Material,
        left: deque[str],
        found: dict[str, list[Drawing]],
        begun: Callable[[str], None],
    ) -> None:
        """Have kinds drawn there, one at a time, for as long as there are any; put back what was lost."""
        if self._pipe is None:
            return
        name = ""
        try:
            self._pipe.send(material)
            while left:
                try:
                    name = left.popleft()
                except IndexError:  # taken here in between
                    return
                begun(name)
                self._pipe.send(name)
                found[name], name = self._pipe.recv(), ""
        except (EOFError, OSError):
            left.extend([name] if name else [])

    def _let_go(self) -> None:
        """Close the way to it, upon which it ends."""
        if self._pipe is not None:
            self._pipe.close()
        self._pipe = None


def _draw_left(
    material: Material, left: deque[str], found: dict[str, list[Drawing]], begun: Callable[[str], None]
) -> None:
    while left:
        try:
            name = left.popleft()
        except IndexError:  # taken there in between
            return
        begun(name)
        found[name] = drawings(material, name)


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
    import ohmward.analysis.diagnose  # noqa: F401 -- loaded while nothing is asked for yet

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
                _load()
    except (EOFError, OSError):
        return


def _load() -> None:
    """Load what is drawn with."""

    import ohmward.report.plots.catalogue  # noqa: F401
