"""What every screen has: rehearsal banner, hint line, and plain words when the terminal is too small."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, ClassVar, Generic, Literal, TypeVar

from textual import events
from textual.app import ComposeResult
from textual.await_complete import AwaitComplete
from textual.content import Content
from textual.screen import Screen
from textual.style import Style
from textual.widgets import Static

from ohmward.desk.first_words import TOO_SMALL
from ohmward.report.rehearsal import REHEARSAL
from ohmward.text import one_line
from ohmward.tui.keys import Key
from ohmward.tui.showing import plain, put

if TYPE_CHECKING:
    from ohmward.desk.help_rows import Part

Result = TypeVar("Result")

WIDTHS: list[tuple[int, str]] = [(0, "-too-narrow"), (60, "-narrow"), (110, "-wide"), (132, "-widest")]
HEIGHTS: list[tuple[int, str]] = [(0, "-too-low"), (20, "-low"), (34, "-tall")]
ALWAYS = ("help", "app.quit")
"""The actions whose keys stand on the hint line in any case."""
GAP = "   "
SAID_S = 6.0
"""For so long a remark stays in the place of the keys [s]."""


class Hints(Static):
    """The keys that matter now, as many as fit on two lines; each can be clicked."""

    def __init__(self, keys: Sequence[Key], last: Sequence[Key]) -> None:
        super().__init__("", id="hints", markup=False)
        self._keys, self._last = tuple(keys), tuple(last)
        self._said = ""

    @property
    def keys(self) -> tuple[Key, ...]:
        """The keys that matter now, the most important first."""
        return self._keys

    def show(self, keys: Sequence[Key], last: Sequence[Key]) -> None:
        """Show `keys`, the most important first, and `last` in any case."""
        if (tuple(keys), tuple(last)) != (self._keys, self._last):
            self._keys, self._last = tuple(keys), tuple(last)
            self._lay_out()

    def say(self, words: str) -> None:
        """Say something on the first line for a while."""
        self._said = words
        self._lay_out()
        if words:
            self.set_timer(SAID_S, lambda: self.say("") if self._said == words else None)

    def on_mount(self) -> None:
        """Be there in the first picture, before the size is known: it will be that of the screen."""
        self._lay_out()

    def on_resize(self) -> None:
        """Fit to the new size."""
        self._lay_out()

    def _lay_out(self) -> None:
        width = self.size.width or self.app.size.width - 2
        lines = fitted(self._keys, self._last, width, 1 if self._said else 2)
        shown = [Content(GAP).join(_clickable(key) for key in line) for line in lines]
        said = [Content.styled(self._said, "bold").truncate(width, ellipsis=True)] if self._said else []
        put(self, Content("\n").join([*said, *shown]))


def _clickable(key: Key) -> Content:
    action = key.action if "." in key.action.partition("(")[0] else f"screen.{key.action}"
    return Content.assemble((key.shown, "bold $accent"), " ", key.hint).stylize(
        Style.from_meta({"@click": action})
    )


def fitted(keys: Iterable[Key], last: Sequence[Key], width: int, lines: int) -> list[list[Key]]:
    """Return the keys laid out on lines of `width` columns; what does not fit is left off, `last` never."""
    reserved = sum(_width(key) for key in last)
    result: list[list[Key]] = [[] for _ in range(lines)]
    room = [width + len(GAP)] * lines  # the gap after the last key of a line may be beyond its end
    room[-1] -= reserved
    row = 0
    for key in keys:
        need = _width(key)
        while row < lines and need > room[row]:
            row += 1
        if row == lines:
            break
        result[row].append(key)
        room[row] -= need
    fits_beside = row < lines - 1 and room[row] >= reserved
    result[row if fits_beside else lines - 1].extend(last)
    return result


def _width(key: Key) -> int:
    return len(key.shown) + 1 + len(key.hint) + len(GAP)


class Sized(Screen[Result], Generic[Result]):
    """A screen that says so when the terminal is too small, and then records nothing."""

    HORIZONTAL_BREAKPOINTS = WIDTHS
    VERTICAL_BREAKPOINTS = HEIGHTS
    AUTO_FOCUS = ""

    @property
    def unreadable(self) -> bool:
        """Whether the terminal is too small for the screen to be read."""
        return self.app.size.width < WIDTHS[1][0] or self.app.size.height < HEIGHTS[1][0]

    def too_small_words(self) -> str:
        """Return what is said instead of the screen."""
        return TOO_SMALL

    def on_resize(self, _: events.Resize) -> None:
        """Fit to the new size."""
        self.query_one("#too-small", Static).update(plain(self.too_small_words()))

    @property
    def gone(self) -> bool:
        """Whether it is closed: what still comes for it, a key or a result, is for nobody."""
        return self not in self.app.screen_stack

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Let no key act blind, or on what is not there yet or any more; the app's own work in any case."""
        return self.is_mounted and not self.gone and not self.unreadable

    def dismiss(self, result: Result | None = None) -> AwaitComplete:
        """Close itself, and only once: the framework would close whatever is on top."""
        return super().dismiss(result) if self.app.screen is self else AwaitComplete()


class Frame(Sized[None]):
    """A whole screen: banner, body, hints."""

    KEYS: ClassVar[tuple[Key, ...]] = ()
    HEADING: ClassVar[str] = ""
    HOLDS: ClassVar[Literal["", "run", "form"]] = ""
    """What is in hand here, and is not closed without a word."""

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        yield Static(TOO_SMALL, id="too-small", markup=False)
        banner = Static(REHEARSAL, id="banner", markup=False)
        banner.display = False
        yield banner
        yield from self.compose_body()
        yield Hints(self._others(self.KEYS), self._always())

    def compose_body(self) -> ComposeResult:
        """Compose what is between banner and hints."""
        yield from ()

    def on_mount(self) -> None:
        """Hear of it when the look is changed."""
        self.app.theme_changed_signal.subscribe(self, lambda _: self.themed())

    def themed(self) -> None:
        """Show anew what keeps its colours, in those of another look."""

    def about(self) -> Sequence[Part]:
        """Return what help says first: what this screen, and the step in hand, is about."""
        from ohmward.desk.help_rows import screen_help

        return screen_help(self.HEADING)

    def why_not(self, key: Key) -> str:
        """Return why a key does nothing now, in words; empty where it does something."""
        del key
        return ""

    def show_rehearsal(self, simulated: bool) -> None:
        """Show or hide the banner of a simulated run."""
        self.query_one("#banner").display = simulated

    def show_hints(self, keys: Sequence[Key]) -> None:
        """Show the keys that matter now."""
        self.query_one(Hints).show(self._others(keys), self._always())

    def remark(self, words: str) -> None:
        """Say why a key did nothing, where the keys stand, for a while."""
        self.query_one(Hints).say(one_line(words))

    def _always(self) -> list[Key]:
        return [key for action in ALWAYS for key in self.KEYS if key.action == action]

    @staticmethod
    def _others(keys: Sequence[Key]) -> list[Key]:
        return [key for key in keys if key.action not in ALWAYS]

    def action_help(self) -> None:
        """Say what this is about, and show the keys."""
        from ohmward.tui.help_screen import HelpScreen

        now = self.query_one(Hints).keys
        fewer = len(now) < len(self._others(self.KEYS))
        help_screen = HelpScreen(self.HEADING, self.KEYS, now=now if fewer else (), about=self.about())
        self.app.push_screen(help_screen)


__all__ = ["HEIGHTS", "WIDTHS", "Frame", "Hints", "Sized", "fitted", "plain"]
