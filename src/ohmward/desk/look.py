"""The look that a person chose last, dark or light, kept for the next time in a small file of their own."""

from __future__ import annotations

import os
import sys
from pathlib import Path

LOOKS = ("dark", "light")


def look_file() -> Path:
    """Return where it is kept: in the person's own settings, not in the logbook, which others share."""
    if sys.platform.startswith("linux"):  # as below, but the first picture does not wait for it
        said = os.environ.get("XDG_CONFIG_HOME", "").strip()
        return Path(os.path.expanduser(said or "~/.config"), "ohmward", "look")
    from platformdirs import user_config_path

    return user_config_path("ohmward") / "look"


def last_look(file: Path) -> str:
    """Return the look kept in a file; empty where none is, or none that is known."""
    try:
        said = file.read_bytes()[:16].decode("ascii", errors="replace").strip()
    except OSError:  # none was kept, or it is not ours to read: the usual one will do
        return ""
    return said if said in LOOKS else ""


def keep_look(file: Path, look: str) -> str:
    """Keep a look for the next time; return why it could not be kept, empty where it was."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(f"{look}\n", encoding="ascii")
    except OSError as error:
        return f"Only for now: {file} cannot be written ({error.strerror})."
    return ""
