"""What the verdict of a whole run is called: one set of words for screens, text, documents and labels.

A reading has words of its own (`decision`): it is *one* value against *one* limit.
"""

from __future__ import annotations

OUTCOME_WORDS = {
    "pass": "PASS",
    "conditional pass": "PASS WITH CONDITIONS",
    "conditional fail": "FAIL, BY LESS THAN THE UNCERTAINTY",
    "fail": "FAIL",
    "incomplete": "NOT FINISHED",
    "not closed": "NOT CLOSED",
}
"""By the verdict as a journal keeps it; documents have the same in the words that can be translated."""
FAULT_LIKELY = "FAULT LIKELY"
"""Said of a run within its limits whose readings together point to a fault: it goes before the pass."""


def outcome_called(verdict: str, *, likely: bool = False) -> str:
    """Return what a run's verdict is called, in capitals; `likely` where its readings point to a fault."""
    if likely and verdict in {"pass", "conditional pass"}:
        return FAULT_LIKELY
    return OUTCOME_WORDS.get(verdict, verdict)


def outcome_said(verdict: str, *, likely: bool = False) -> str:
    """Return the same for the middle of a line: small letters."""
    return outcome_called(verdict, likely=likely).lower()
