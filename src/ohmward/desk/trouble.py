"""Unexpected errors: one plain sentence for the person, the details in a file for whoever mends the tool."""

from __future__ import annotations

import traceback
from datetime import datetime
from pathlib import Path

from ohmward.text import one_line

FILE = "ohmward-trouble.log"


def write_down(folder: Path, error: BaseException, now: datetime) -> str:
    """Append the details of `error` to a file in `folder`; return the sentence to show."""
    words = one_line(str(error)) or "no further word"
    sentence = f"Something went wrong inside ohmward: {words} ({type(error).__name__})."
    details = "".join(traceback.format_exception(error))
    try:
        with (folder / FILE).open("a", encoding="utf-8") as file:
            file.write(f"{now.isoformat(timespec='seconds')}\n{details}\n")
    except OSError as problem:
        return f"{sentence} The details could not be written down ({problem.strerror})."
    return f"{sentence} The details are in {one_line(str(folder / FILE))}."
