"""One attempt to read a meter that failed: what the journal shows of it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One attempt that failed."""

    what: str
    why: str
    reply: str = ""
    """What came, quoted."""
    took_s: float
