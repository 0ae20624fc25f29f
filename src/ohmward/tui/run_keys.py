"""Which keys of a run matter at the moment, from where the run stands."""

from __future__ import annotations

from ohmward.desk.allowed import allowed_moves, meter_to_choose, to_begin
from ohmward.desk.place import next_after, to_do
from ohmward.desk.points import has_points
from ohmward.procedure.model import Item
from ohmward.run.guidance import Guidance, Move
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import Phase, RunState
from ohmward.tui.keys import RUN, Key

_ENTER: dict[Move, str] = {
    "parts": "name the parts",
    "acknowledge": "read the cautions",
    "open-case": "open the case",
    "shut-case": "shut the case",
    "energise": "apply mains",
    "switch-off": "switch off",
    "mend": "what to do",
    "close": "close the run",
    "closed": "assessment",
}
_BY_ACTION = {key.action: key for key in RUN if key.key != "ctrl+o"}


def run_hints(
    state: RunState, item: Item | None, following: Guidance, *, typing: bool, meter: bool,
    by_itself: bool = False, going: bool = False, more: bool = False, scrolled: bool = False,
) -> list[Key]:  # fmt: skip
    """Return the keys that matter now, the most important first.

    `more` of the card is below what is in sight; `scrolled`: some of it is above.
    """
    if typing:
        return [_enter("take it"), _key("clear"), *_off(state, "Ctrl+O")]
    hints = [*_off(state, "x")] if state.phase is Phase.HALTED else []
    if following.move != "item":
        hints.append(_enter(_ENTER[following.move]))
    elif not to_do(state, item) and (item is None or next_after(state, item.key) != item):
        hints.append(_enter("go on"))
    if more:
        hints.append(_key("scroll_card(1)")._replace(shown="PgDn", hint="more"))
    elif scrolled:
        hints.append(_key("scroll_card(-1)")._replace(shown="PgUp", hint="back up"))
    if going:
        hints.append(_key("by_itself")._replace(hint="stop it"))
    elif by_itself:
        hints.append(_key("by_itself"))
    if item is not None and state.phase is not Phase.CLOSED:
        hints += _entry_keys(state, item, meter=meter)
    hints += [] if state.phase is Phase.HALTED else _off(state, "x")
    hints += [_key("step(-1)"), _key("step(1)"), _key("move('jump')")]
    hints += [_move(name, item) for name in allowed_moves(state, item)]
    hints += [_key("assessment"), _key("bench")]
    return hints


def _move(name: str, item: Item | None) -> Key:
    key = _key(f"move('{name}')")
    reading = name == "override" and item is not None and item.read is not None
    return key._replace(hint="go on although failed") if reading else key


def _entry_keys(state: RunState, item: Item, *, meter: bool) -> list[Key]:
    if item.is_waveform:
        return [_key("waveform")]
    if item.read is None:
        return [_key(f"answer('{answer}')") for answer in ("pass", "fail", "not applicable")]
    keys = [_key("move('begin')")] if to_begin(state, item) else []
    keys += [_key("meter_reading"), _key("hands_free")] if meter else []
    keys += [_key("move('meter')")] if meter_to_choose(state, item) else []
    return [*keys, _key("turn_page")] if has_points(item) else keys


def _off(state: RunState, shown: str) -> list[Key]:
    return [_key("move('off')")._replace(shown=shown)] if state.phase in MAINS_ON else []


def _enter(words: str) -> Key:
    return _key("go_on")._replace(hint=words)


def _key(action: str) -> Key:
    return _BY_ACTION[action]
