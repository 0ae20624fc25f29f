"""What fails besides, while something that failed is put in order."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from ohmward.text import one_line


@contextmanager
def besides(error: BaseException) -> Iterator[None]:
    """Note on an error what else fails while it is dealt with: the error is what is raised, both are told."""
    try:
        yield
    except Exception as other:  # noqa: BLE001 whatever it is, it is told with the first
        error.add_note(f"Besides: {one_line(str(other)) or type(other).__name__}")


def told(error: BaseException) -> str:
    """Return what an error says, and what failed besides."""
    return " ".join([str(error), *getattr(error, "__notes__", ())])
