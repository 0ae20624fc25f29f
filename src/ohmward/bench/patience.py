"""How often something is asked again, how long is waited in between, and when a thread is given up."""

from __future__ import annotations

ATTEMPTS = 3
BACK_OFF_S = (0.0, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
"""Waited before the next attempt, by how many failed in a row [s]."""
SLACK_S = 5.0
"""What the wall clock grants above all timeouts together [s]."""


def pause_s(misses: int) -> float:
    """Return what to wait before the next attempt [s] when so many failed in a row."""
    return BACK_OFF_S[min(misses, len(BACK_OFF_S) - 1)] if misses > 1 else 0.0


def limit_s(attempts: int, once_s: float) -> float:
    """Return after how long [s] a request is given up whose attempts take at most `once_s` each [s]."""
    return attempts * once_s + _WAITED_S[min(attempts, len(BACK_OFF_S))] + SLACK_S


_WAITED_S = tuple(sum(BACK_OFF_S[:attempts]) for attempts in range(len(BACK_OFF_S) + 1))
