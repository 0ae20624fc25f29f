"""What the load points of a rail read so far say of its load regulation, by what the assessment goes by."""

from __future__ import annotations

from ohmward.logbook.events import Reading, Verdict
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.assess import facts_of
from ohmward.run.state import RunState

_SAID: dict[Verdict, str] = {
    "pass": "meets it",
    "not stated: pass": "meets it",
    "conditional pass": "meets it, by less than the uncertainty",
    "conditional fail": "misses it, by less than the uncertainty",
    "not stated: fail": "fails",
    "fail": "fails",
}


def regulation_so_far(state: RunState, item: Item) -> tuple[str, bool]:
    """Return the load regulation of a load point's rail in words, and whether it surely fails its target.

    Empty and no where `item` is not the most loaded point read of the output, or the sheet gives no target.
    """
    from ohmward.analysis.rails import load_points, load_regulation

    entry, read, supply = state.entries.get(item.key), item.read, state.supply
    rails = supply.rails if supply is not None else ()
    rail = next((each for each in rails if each.name == item.rail), None)
    target = rail.targets.load_regulation_pct if rail is not None else None
    if rail is None or target is None or read is None or entry is None or not item.load_a:
        return "", False
    if item.kind != "sweep" or read.quantity != "output_v" or not isinstance(entry.event, Reading):
        return "", False
    facts = facts_of(state)
    swept, found = load_points(facts, rail), load_regulation(facts, rail)
    if found is None or found[1] not in _SAID or swept[-1].item.key != item.key:
        return "", False
    words = f"Load regulation so far {show(found[0], '%')}, target {show(target, '%')}: {_SAID[found[1]]}"
    return words, found[1] in {"fail", "not stated: fail"}
