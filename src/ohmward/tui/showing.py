"""Text from outside shown as it is, and put on the screen at the least cost."""

from __future__ import annotations

from pathlib import Path, PurePath
from typing import TYPE_CHECKING, cast

from textual.containers import Vertical
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from ohmward.text import visible

if TYPE_CHECKING:
    from textual.css.styles import RulesMap


def plain(text: str) -> Content:
    """Return text from outside as content that is shown and never obeyed."""
    return Content(visible(text))


def styled(*names: str) -> list[str | PurePath]:
    """Return the style files of a screen: read when it is first opened, not before the first picture."""
    return [Path(__file__).with_name(f"{name}.tcss") for name in names]


def put(static: Static, content: Content) -> None:
    """Show content: what stands there already costs nothing, another size alone lays the screen out anew."""
    old = static.content
    if isinstance(old, Content) and old.is_same(content):
        return
    static.update(
        content, layout=not isinstance(old, Content) or _size(static, old) != _size(static, content)
    )


def place_in(pane: Widget, selector: str) -> Vertical | None:
    """Return where a pane draws; None where that has no room, or goes away with a screen being closed."""
    for place in pane.query(selector).results(Vertical):
        if place.is_attached and all(place.size):
            return place
    return None


def _size(static: Static, content: Content) -> tuple[int, int]:
    """Return width and height that the content asks for, as far as the widget follows it; 0 where fixed."""
    styles, width = static.styles, static.content_size.width
    rules = cast("RulesMap", styles)  # the framework hands its styles over as such a mapping, too
    own = content.get_optimal_width(rules, width) if styles.width is None or styles.width.is_auto else 0
    if styles.height is not None and not styles.height.is_auto:
        return own, 0
    return own, content.get_height(rules, width) if width else -1
