"""What is kept for a person from one sitting to the next, each in a small file of their own settings.

Not in the logbook, which others share.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path


def own_file(name: str) -> Path:
    """Return where a setting is kept."""
    if sys.platform.startswith("linux"):  # as below, but the first picture does not wait for it
        said = os.environ.get("XDG_CONFIG_HOME", "").strip()
        return Path(os.path.expanduser(said or "~/.config"), "ohmward", name)
    from platformdirs import user_config_path

    return user_config_path("ohmward") / name


def kept(file: Path, most: int) -> str | None:
    """Return what a file keeps, `most` bytes of it; None where nothing was kept or can be read."""
    try:
        said = file.read_bytes()[:most]
    except OSError:
        return None
    return said.decode("utf-8", errors="replace").strip()


def keep(file: Path, text: str) -> str:
    """Keep a line for the next time; return why it could not be kept, empty where it was."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(f"{text}\n", encoding="utf-8")
    except OSError as error:
        return f"Only for now: {file} cannot be written ({error.strerror})."
    return ""
