"""Whether words say what was mended: the report prints them, and whoever comes next goes by them.

Asked before a repair is recorded, and not by the fold: old logs stand as they are.
"""

from __future__ import annotations

import re

from ohmward.errors import Refused

ONE_WORD = 8
"""A single word says enough where it is longer than this: 'reservoirs', 're-soldered'."""
_NOTHING = frozenset({"nothing", "none", "nil"})
_NOT_DONE = frozenset(
    {"no", "not", "any", "repair", "repaired", "mended", "changed", "change", "done", "yet"}
)
SAY = "Say in a few words what was done, such as 'bridge replaced'"


def too_little(what: str) -> str:
    """Return why words do not say what was mended; empty where they do."""
    words = re.findall(r"[^\W_]+(?:-[^\W_]+)*", what)
    said = {word.lower() for word in words}
    if words and (words[0].lower() in _NOTHING or said <= _NOT_DONE):
        return f"'{what.strip()}': where nothing was mended, nothing is recorded"
    if len(words) >= 2 or (words and len(words[0]) > ONE_WORD):
        return ""
    return f"'{what.strip()}' does not say what was done"


def require_said(what: str) -> None:
    """Refuse a repair whose words do not say what was done.

    Raises
    ------
    Refused
    """
    why = too_little(what)
    if why:
        raise Refused("reason", [why], SAY)
