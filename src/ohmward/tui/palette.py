"""Finding by a few letters: every action of the screen shown, and every place to go.

What cannot be done now is listed too, and says why when it is chosen: the person learns that it is
there, and what has to come first.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, cast

from textual.await_complete import AwaitComplete
from textual.command import CommandPalette, DiscoveryHit, Hit, Hits, Provider
from textual.content import Content
from textual.markup import escape
from textual.widgets import OptionList
from textual.worker import Worker

from ohmward.errors import OhmwardError
from ohmward.text import one_line
from ohmward.tui.dialogs import Tell
from ohmward.tui.frame import Frame
from ohmward.tui.showing import styled

if TYPE_CHECKING:
    from ohmward.desk.places import Place
    from ohmward.tui.app import OhmwardApp
    from ohmward.tui.keys import Key

NOT_LISTED = frozenset({"app.command_palette"})
RUN_IN_HAND = "A run is in hand. Go back to the bench first (b in the run): it stays open."


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """Something that can be chosen."""

    words: str
    help: str
    do: Callable[[], Awaitable[object]]
    why_not: str = ""
    """Why it cannot be done now, in words; empty where it can."""


class Finder(CommandPalette):
    """The list to find in; it closes itself, and only once, and looks for nothing any more then."""

    CSS_PATH: ClassVar = styled("dialogs")

    def dismiss(self, result: None = None) -> AwaitComplete:
        """Close."""
        if self.app.screen is not self:
            return AwaitComplete()
        self.workers.cancel_node(self)
        return super().dismiss(result)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Turn no page of a list that is not laid out yet: Textual's own counts lines that are not there."""
        if action == "command_list":
            return any(each.scrollable_content_region for each in self.query(OptionList))
        return super().check_action(action, parameters)

    def run_worker(self, *args: Any, **kwargs: Any) -> Worker[Any]:
        """Look for what is typed; a letter that comes when it is closed finds nothing, and harms nothing."""
        there = self.app.screen is self
        return super().run_worker(*args, **{**kwargs, "exit_on_error": there and kwargs["exit_on_error"]})


class Everything(Provider):
    """Every action of the screen shown, and every place."""

    async def startup(self) -> None:
        """Gather what there is; the logbook is read aside."""
        from ohmward.desk.places import places

        app, frame = cast("OhmwardApp", self.app), self.screen
        here = list(_actions(app, frame)) if isinstance(frame, Frame) else []
        try:
            there = await asyncio.to_thread(places, app.logbook)
        except OhmwardError:
            there = []  # the bench says what is wrong with it
        self._offers = [*here, *_always(app), *(_to(app, place) for place in there)]

    async def search(self, query: str) -> Hits:
        """Return what fits what is typed; words in the sentence below count less."""
        matcher = self.matcher(query)
        for offer in self._offers:
            score = matcher.match(offer.words)
            below = 0.5 * matcher.match(offer.help)
            if max(score, below) > 0:
                shown = matcher.highlight(escape(offer.words)) if score > 0 else Content(offer.words)
                yield Hit(max(score, below), shown, partial(_do, self.app, offer), offer.words, _below(offer))

    async def discover(self) -> Hits:
        """Return everything, before anything is typed."""
        for offer in self._offers:
            do = partial(_do, self.app, offer)
            yield DiscoveryHit(Content(offer.words), do, offer.words, _below(offer))


def _below(offer: Offer) -> str:
    """Return the line below an entry, with nothing in it taken for markup."""
    words = f"not now: {offer.why_not}" if offer.why_not else offer.help
    return escape(one_line(words))


async def _do(app: object, offer: Offer) -> None:
    if offer.why_not:
        cast("OhmwardApp", app).push_screen(Tell(f"Not possible now: {offer.words}", [offer.why_not]))
    else:
        await offer.do()


def _actions(app: OhmwardApp, frame: Frame) -> Iterator[Offer]:
    for key in frame.KEYS:
        if key.action not in NOT_LISTED:
            yield Offer(
                words=f"{_named(key)}  ({key.shown})",
                help=key.help,
                do=partial(app.run_action, key.action, default_namespace=frame),
                why_not=frame.why_not(key),
            )


def _named(key: Key) -> str:
    words = key.hint.strip(" …")
    return words[:1].upper() + words[1:]


def _always(app: OhmwardApp) -> Sequence[Offer]:
    async def glossary() -> None:
        from ohmward.tui.help_screen import GlossaryScreen

        app.push_screen(GlossaryScreen())

    in_hand = RUN_IN_HAND if app.has_run else ""
    return (
        Offer(words="Glossary of the trade words", help="what the words on the screens mean", do=glossary),
        Offer(words="Go to the bench", help="supplies and runs", do=app.to_bench, why_not=in_hand),
    )


def _to(app: OhmwardApp, place: Place) -> Offer:
    in_hand = RUN_IN_HAND if app.has_run and place.what != "assessment" else ""
    return Offer(
        words=place.words, help=place.help, do=partial(_go, app, place), why_not=place.why_not or in_hand
    )


async def _go(app: OhmwardApp, place: Place) -> None:
    from ohmward.tui.bench_screen import BenchScreen

    if not app.has_run:
        await app.to_bench()
    app.post_message(BenchScreen.Wanted(place.what, place.path or Path(), place.tag))
