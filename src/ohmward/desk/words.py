"""What the screens call things: one word and one mark for every state, beside which colour is only help.

Plain functions of plain data, without a widget, so that the wording is tested without a terminal.
"""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from ohmward.analysis.outcomes import FAULT_LIKELY, outcome_called
from ohmward.procedure.model import Severity
from ohmward.run.state import Phase, RunState, Standing


class Sign(NamedTuple):
    """A mark, the word that says the same, and the style class that colours both."""

    mark: str
    word: str
    style: str

    def __str__(self) -> str:
        return f"{self.mark} {self.word}"


VERDICTS: dict[str, Sign] = {
    "pass": Sign("✓", "PASS", "good"),
    "conditional pass": Sign("✓", "CONDITIONAL PASS", "warn"),
    "conditional fail": Sign("✗", "CONDITIONAL FAIL", "warn"),
    "fail": Sign("✗", "FAIL", "bad"),
    "not stated: pass": Sign("✓", "PASS, uncertainty not stated", "good"),
    "not stated: fail": Sign("✗", "FAIL, uncertainty not stated", "bad"),
    "undecided": Sign("?", "UNDECIDED", "warn"),
    "not applicable": Sign("–", "RECORDED, no limit applies", "quiet"),
    "not done": Sign("·", "NOT DONE", "quiet"),
}
_OUTCOMES = {
    "pass": ("✓", "good"),
    "conditional pass": ("✓", "warn"),
    "conditional fail": ("✗", "warn"),
    "fail": ("✗", "bad"),
    "incomplete": ("?", "warn"),
    "not closed": ("?", "warn"),
}
STANDINGS: dict[Standing, Sign] = {
    Standing.NOT_DONE: Sign("·", "not done", "quiet"),
    Standing.PASSED: Sign("✓", "passed", "good"),
    Standing.FAILED: Sign("✗", "failed", "bad"),
    Standing.OVERRIDDEN: Sign("!", "overridden", "warn"),
    Standing.SKIPPED: Sign("»", "left out", "quiet"),
    Standing.NOT_APPLICABLE: Sign("–", "not applicable", "quiet"),
    Standing.STALE: Sign("↻", "stale: do it again", "warn"),
}
RECORDED = Sign("–", "recorded", "quiet")
"""How a reading stands that no limit applies to."""
GONE_ON = Sign("✗", "failed, gone on with in writing", "bad")
"""How a reading stands that failed, and that the run went on past: it stays failed."""
REGULATION = Sign("!", "LOAD REGULATION FAILS", "warn")
"""In place of 'as expected', where a reading is so by itself and its rail sags too far all the same."""
ANSWERS: dict[str, Sign] = {
    "pass": Sign("✓", "PASS", "good"),
    "fail": Sign("✗", "FAIL", "bad"),
    "not applicable": Sign("–", "NOT APPLICABLE", "quiet"),
}
SEVERITIES: dict[Severity, Sign] = {
    "danger": Sign("‼", "danger: may hurt someone; stops everything until mended", "bad"),
    "fault": Sign("!", "fault: will not meet its design, or fails early", "warn"),
    "improvement": Sign("·", "improvement: never stops the run", "quiet"),
}
NEVER_FAILS = Sign("–", "never: no limit applies, and it is recorded", "quiet")
ONLY_PAST_STOP = Sign("‼", "only past its stop: then mains goes off at once", "bad")
"""What a failure of a reading means that no limit applies to."""
_PHASES: dict[Phase, Sign] = {
    Phase.DEAD: Sign("□", "DEAD – unplugged", "quiet"),
    Phase.LIVE: Sign("■", "LIVE – mains on", "live"),
    Phase.HALTED: Sign("■", "HALTED – switch off now", "halted"),
    Phase.OFF: Sign("◧", "OFF – charge not yet measured", "warn"),
    Phase.CLOSED: Sign("□", "CLOSED – nothing can be added", "quiet"),
    Phase.PAPER: Sign("□", "ON PAPER – copied, no supply in hand", "quiet"),
}
LOCAL_CODES = "Follow your local codes; where they ask for a licensed person, have one do it."
LEFT_LIVE = (
    "The run says that mains is on. Leaving switches nothing off, and nobody will be watching the limits. "
    "Switch off first unless you have to leave."
)


def outcome_sign(verdict: str, *, likely: bool = False) -> Sign:
    """Return the verdict of a whole run as a sign; `likely` where its readings point to a fault."""
    word = outcome_called(verdict, likely=likely)
    mark, style = ("!", "bad") if word == FAULT_LIKELY else _OUTCOMES.get(verdict, ("·", "quiet"))
    return Sign(mark, word, style)


def phase_sign(state: RunState) -> Sign:
    """Return what the supply is electrically, in words that are never left off the screen."""
    return _PHASES[state.phase]


def case_words(state: RunState) -> str:
    """Return whether the case is open."""
    return "case open" if state.case_open else "case shut"


def clock_words(seconds: float) -> str:
    """Return a span of time as ``m:ss`` or ``h:mm:ss``."""
    whole = max(int(seconds), 0)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02}:{left:02}" if hours else f"{minutes}:{left:02}"


def day_words(at: str) -> str:
    """Return the date and time of an ISO 8601 stamp; the stamp itself if it is none."""
    try:
        return datetime.fromisoformat(at).strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return at
