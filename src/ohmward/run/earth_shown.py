"""Which readings to earth passed, and yet are not settled by the meter that took them.

Common practice finds a broken earth with any ohms range; whether the path is within its limit, and carries a
fault's current, such a meter does not show. It is said before mains comes on and stops nothing; it is a
condition of a pass.
"""

from __future__ import annotations

from collections.abc import Iterator

from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.state import RunState, Standing
from ohmward.run.test_current import EARTH, current_of
from ohmward.text import one_line

BETTER = "a low-resistance ohmmeter can"
STATED = "a low-resistance ohmmeter whose accuracy is stated can"
_Passed = tuple[Item, Reading]


def unsettled_earth(state: RunState) -> tuple[str, ...]:
    """Return a line for what is not settled of each reading to earth; those of one kind and cause together.

    Nothing of a rehearsal's test current, as its meters have none.
    """
    return (*_uncertain(state), *conditions_of_earth(state))


def conditions_of_earth(state: RunState) -> tuple[str, ...]:
    """Return what is not settled of the earth, and not by its verdict: the conditions of a pass.

    A reading nearer to its limit than its uncertainty is a condition by its verdict.
    """
    return (*_unstated(state), *_weak(state), *_unknown(state))


def _unstated(state: RunState) -> tuple[str, ...]:
    """Return which readings to earth passed by a meter whose accuracy is not stated."""
    found: dict[tuple[str, float | None], list[str]] = {}
    for item, event in _passed(state):
        if event.judged.verdict == "not stated: pass" and event.value.kind == "exact":
            read = show(event.judged.net, "Ω") if event.judged.net is not None else ""
            of = (item.title, event.judged.limit_high)
            found.setdefault(of, []).append(f"{item.subject} {read}".strip())
    return tuple(
        _line(title, read, f"by a meter of no stated accuracy: it does not show {_limit(high)}; {STATED}")
        for (title, high), read in found.items()
    )


def _weak(state: RunState) -> tuple[str, ...]:
    """Return what passed with less current than its limit asks; nothing where a high-current test passed."""
    from ohmward.analysis.wording import weak_words

    found = _by_current(state)
    return tuple(
        f"{one_line(title)}: {weak_words(used, asked)}; {_strong(asked)}"
        for title, used, asked in found
        if used is not None
    )


def _unknown(state: RunState) -> tuple[str, ...]:
    """Return what passed with a current that nobody told, where its limit asks for one."""
    if state.simulated:
        return ()
    return tuple(
        f"{one_line(title)}: with what current is not known, and {show(asked, 'A')} or more is asked; "
        f"{_strong(asked)}"
        for title, used, asked in _by_current(state)
        if used is None
    )


def _by_current(state: RunState) -> tuple[tuple[str, float | None, float], ...]:
    """Return title, current used and current asked for [A] once each; none where a test's was high enough."""
    found: dict[tuple[str, float | None, float], None] = {}
    for item, event in _passed(state):
        asked = item.limit.test_current_a if item.limit is not None else None
        if asked is None:
            continue
        used = current_of(state, event)
        if used is None or used < asked:
            found[item.title, used, asked] = None
        elif item.read is not None and item.read.test_current is not None:
            return ()
    return tuple(found)


def _uncertain(state: RunState) -> Iterator[str]:
    """Yield each reading that is nearer to its limit than its uncertainty."""
    for item, event in _passed(state):
        judged = event.judged
        if judged.verdict != "conditional pass" or judged.net is None or judged.uncertainty is None:
            continue
        wide = show(judged.uncertainty, "Ω", uncertainty=judged.uncertainty)
        read = f"{item.subject} {show(judged.net, 'Ω')} ± {wide}".strip()
        never = judged.limit_high is not None and judged.uncertainty >= judged.limit_high
        why = f"this meter cannot show {_limit(judged.limit_high)}; {BETTER}"
        near = f"too near its limit for this meter to show {_limit(judged.limit_high)}"
        yield _line(item.title, [read], f"by '{event.meter}': {why if never else near}")


def _passed(state: RunState) -> Iterator[_Passed]:
    for item in state.items:
        entry = state.entries.get(item.key)
        if item.read is None or item.read.limit != EARTH or entry is None:
            continue
        if isinstance(entry.event, Reading) and state.standing(item) is Standing.PASSED:
            yield item, entry.event


def _strong(asked_a: float) -> str:
    return f"a bond tester of {show(asked_a, 'A')} or more settles it"


def _limit(high: float | None) -> str:
    return "that it is within its limit" if high is None else f"that it is at most {show(high, 'Ω')}"


def _line(title: str, read: list[str], why: str) -> str:
    return one_line(f"{title}: {', '.join(read)} {why}")
