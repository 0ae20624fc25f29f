"""When something was recorded, and the waveforms of a run as its records tell them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from ohmward.logbook.events import Captured


class Stamp(NamedTuple):
    """When something was recorded."""

    seq: int
    at: str


@dataclass(frozen=True, slots=True)
class Taken:
    """A waveform that was recorded, and the record it came from."""

    seq: int
    at: str
    event: Captured


def without_capture(
    captures: dict[tuple[str, str], tuple[Taken, ...]], seq: int
) -> tuple[dict[tuple[str, str], tuple[Taken, ...]], tuple[Taken, ...]]:
    """Return the waveforms without the one of a record, and that one (none where there is no such)."""
    gone = tuple(each for taken in captures.values() for each in taken if each.seq == seq)
    left = {key: tuple(each for each in taken if each.seq != seq) for key, taken in captures.items()}
    return {key: taken for key, taken in left.items() if taken}, gone
