"""Which rails of a supply share something: the parts that a fault of one leaves the others alone in.

Rails on one transformer share its windings. Those of different transformers share nothing but the mains, the
room and the meters; what that means for the readings is in `_sharing`.
"""

from __future__ import annotations

import msgspec

from ohmward.analysis._observations import Observation
from ohmward.physics.assume import facts
from ohmward.supply.model import Supply

AT_PLUG = frozenset({"mains_a", "mains_no_load_a"})
"""Read where everything comes together."""


def independent(supply: Supply) -> tuple[Supply, ...]:
    """Return the sheet in parts that share no transformer; the sheet itself where there is but one.

    A rail of which the nameplate alone is known is in none of several parts: nothing is foretold of it.
    """
    known = facts(supply)
    owner = {f"{t.name}.{s.name}": t.name for t in known.transformers for s in t.secondaries}
    members: dict[str, list[str]] = {t.name: [] for t in known.transformers}
    for rail in known.rails:
        members[owner[rail.windings[0]]].append(rail.name)
    if len(members) <= 1:
        return (supply,)
    return tuple(
        msgspec.structs.replace(
            supply,
            rails=tuple(rail for rail in supply.rails if rail.name in rails),
            transformers=tuple(t for t in supply.transformers if t.name == name),
        )
        for name, rails in members.items()
    )


def at_plug(seen: Observation) -> bool:
    """Return whether a reading is of all parts together."""
    return seen.key in AT_PLUG or (seen.key == "primary_ohm" and not seen.subject)


def own(part: Supply, seen: Observation) -> Observation | None:
    """Return a reading as one part sees it, with its own loads alone; None where it is of another part."""
    rails = {rail.name for rail in part.rails}
    windings = {f"{t.name}.{s.name}" for t in part.transformers for s in t.secondaries}
    names = rails | windings | {t.name for t in part.transformers}
    if not at_plug(seen) and seen.subject not in names:
        return None
    loads = tuple(load for load in seen.loads if load[0] in rails)
    return seen if loads == seen.loads else msgspec.structs.replace(seen, loads=loads)


__all__ = ["at_plug", "independent", "own"]
