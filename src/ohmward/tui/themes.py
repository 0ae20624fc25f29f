"""The looks of the screens: dark and light, each for many colours and for the sixteen of a plain console.

Colour only helps: every meaning is a word and a mark as well. Text stands out from what is behind it by
a contrast of 4.5 at least (WCAG 2.2, success criterion 1.4.3); `tests/tui/test_themes.py` computes it.
The sixteen are those of the Linux console's own palette, so that nothing is rounded to another colour.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from textual.theme import Theme

if TYPE_CHECKING:
    from textual.app import App

ENVIRONMENT = "OHMWARD_LOOK"
"""Environment variable that names a look: ``dark`` or ``light``."""

_DARK_LINES = {
    f"plot-{n}": ink for n, ink in enumerate(("#5fd7e6", "#e59ce8", "#f0dc78", "#ffffff", "#9dbcff"))
}
_LIGHT_LINES = {
    f"plot-{n}": ink for n, ink in enumerate(("#00607a", "#8a1f8f", "#6b5500", "#1b2126", "#2340b0"))
}
_CONSOLE_LINES = {
    f"plot-{n}": ink for n, ink in enumerate(("#55ffff", "#ff55ff", "#ffff55", "#ffffff", "#55ff55"))
}
_PAPER_LINES = {f"plot-{n}": "#000000" for n in range(5)}

DARK = Theme(
    name="ohmward-dark",
    dark=True,
    primary="#6fb1e0",
    secondary="#9fb4c7",
    accent="#e3c15c",
    foreground="#eceff1",
    background="#11151a",
    surface="#1a2027",
    panel="#252d37",
    success="#5fd09a",
    warning="#f2a65a",
    error="#ff7b72",
    variables={"live": "#b3261e", "on-live": "#ffffff", "edge": "#566473", **_DARK_LINES},
)
LIGHT = Theme(
    name="ohmward-light",
    dark=False,
    primary="#1f5d8c",
    secondary="#4a5b68",
    accent="#6b4a00",
    foreground="#1b2126",
    background="#fbfaf7",
    surface="#f1efe9",
    panel="#e2dfd6",
    success="#0f5c33",
    warning="#7d3c00",
    error="#9c1c16",
    variables={"live": "#b3261e", "on-live": "#ffffff", "edge": "#8d897c", **_LIGHT_LINES},
)
DARK_16 = Theme(
    name="ohmward-dark-16",
    dark=True,
    primary="#55ffff",
    secondary="#aaaaaa",
    accent="#ffff55",
    foreground="#ffffff",
    background="#000000",
    surface="#000000",
    panel="#0000aa",
    success="#55ff55",
    warning="#ffff55",
    error="#ff5555",
    variables={"live": "#aa0000", "on-live": "#ffffff", "edge": "#aaaaaa", **_CONSOLE_LINES},
)
LIGHT_16 = Theme(
    name="ohmward-light-16",
    dark=False,
    primary="#0000aa",
    secondary="#000000",
    accent="#0000aa",
    foreground="#000000",
    background="#aaaaaa",
    surface="#aaaaaa",
    panel="#aaaaaa",
    success="#000000",
    warning="#000000",
    error="#000000",
    variables={"live": "#aa0000", "on-live": "#ffffff", "edge": "#000000", **_PAPER_LINES},
)
THEMES = (DARK, LIGHT, DARK_16, LIGHT_16)
WORDS: Mapping[str, str] = {
    DARK.name: "dark",
    LIGHT.name: "light",
    DARK_16.name: "dark, sixteen colours",
    LIGHT_16.name: "light, sixteen colours",
}


def first_theme(look: str, *, sixteen: bool) -> str:
    """Return the name of the theme to begin with; anything but ``light`` is dark."""
    return _named(light=look.strip().lower() == "light", sixteen=sixteen)


def other_theme(name: str) -> str:
    """Return the name of the light theme for a dark one, and of the dark one for a light one."""
    return _named(light=name in {DARK.name, DARK_16.name}, sixteen=name in {DARK_16.name, LIGHT_16.name})


def wear(app: App[Any], look: str = "") -> None:
    """Give an app our looks and no others, and put on the one asked for by the environment, else `look`."""
    asked = os.environ.get(ENVIRONMENT, "") or look
    for theme in THEMES:
        app.register_theme(theme)
    first = app.get_theme(first_theme(asked, sixteen=app.console.color_system == "standard"))
    assert first is not None  # registered above
    if first.dark and not app.is_running:
        app.set_reactive(type(app).theme, first.name)  # as if it were the default: nothing is read twice
        app.stylesheet.set_variables(app.get_css_variables())
    else:
        app.theme = first.name
    for name in list(app.available_themes):
        if name not in WORDS:
            app.unregister_theme(name)


def _named(*, light: bool, sixteen: bool) -> str:
    if sixteen:
        return LIGHT_16.name if light else DARK_16.name
    return LIGHT.name if light else DARK.name
