"""The meters of a logbook looked after from a screen: the list begun, connections tested, what each can read.

All of it waits for files or meters, so it is called in a thread.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from ohmward.bench import example
from ohmward.bench.survey import Checked, checked_in
from ohmward.taking.at_hand import MetersAtHand


def begin_list(path: Path) -> None:
    """Begin a list of meters with an example in comments; raises as `bench.example.begin` does."""
    example.begin(path)


def tested(
    meters: MetersAtHand, names: Sequence[str], drained: Callable[[str], Sequence[str]]
) -> Iterator[Checked]:
    """Test the connections of those meters that are still listed; raises as `MetersAtHand.inventory` does.

    `drained` gives what the error queue of a session, by its name, was heard to hold when it was opened.
    """
    with meters.inventory() as inventory:
        yield from checked_in(inventory, [name for name in names if name in inventory.meters], drained)


def readable(meters: MetersAtHand, name: str) -> list[tuple[str, str]]:
    """Return what a meter can read, by name and function; raises as `MetersAtHand.inventory` does."""
    with meters.inventory() as inventory:
        profile = inventory.session(name).profile
    return [(each.name, each.function) for each in profile.measures]
