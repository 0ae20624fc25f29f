"""What is left out together with something else: which it is, and when it is due after all.

A step whose file says `left_out_with` goes with the step that it names, and only because of it: the
record says so (`Skipped.left_out_with`), and once that step is not left out any more, it is due again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from ohmward.logbook.events import Skipped
from ohmward.procedure.model import Item

if TYPE_CHECKING:
    from ohmward.run.state import Entry, Key, RunState


def goes_with(state: RunState, step: str) -> tuple[Item, ...]:
    """Return the items that leaving `step` out leaves out too: those with no result that counts."""
    from ohmward.run.state import Standing

    due = {Standing.NOT_DONE, Standing.STALE}
    return tuple(
        item for item in state.items if item.spec.left_out_with == step and state.standing(item) in due
    )


def left_out_with(state: RunState, left: Skipped) -> Iterator[Skipped]:
    """Yield what is recorded when a step was left out: one for each item that goes with it."""
    title = state.item(left.step, left.subject).title
    for item in goes_with(state, left.step):
        yield Skipped(
            step=item.step, subject=item.subject, left_out_with=left.step,
            reason=f"left out with '{title}': {left.reason}",
        )  # fmt: skip


def alike(state: RunState, item: Item) -> tuple[Item, ...]:
    """Return what else the step of `item` asks for and may be left out by the same reason: nothing read yet.

    Never what guards a person: each such is left out by words of its own, where it may be at all.
    """
    from ohmward.run.state import Standing

    return tuple(
        each
        for each in state.items
        if each.step == item.step
        and each.key != item.key
        and each.required == item.required
        and each.spec.severity != "danger"
        and state.standing(each) is Standing.NOT_DONE
    )


def reopened(entries: Mapping[Key, Entry]) -> tuple[Key, ...]:
    """Return the entries that were left out with a step that is not left out any more."""
    return tuple(
        key
        for key, entry in entries.items()
        if isinstance(entry.event, Skipped)
        and entry.event.left_out_with
        and not is_left_out(entries, entry.event.left_out_with)
    )


def is_left_out(entries: Mapping[Key, Entry], step: str) -> bool:
    """Return whether a step taken once stands as left out."""
    entry = entries.get((step, ""))
    return entry is not None and isinstance(entry.event, Skipped)
