"""A run taken to a place in its procedure by the core alone: what comes next is done, and holds."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from ohmward.desk.card import band_in
from ohmward.logbook import open_run
from ohmward.procedure.model import Item
from ohmward.run import AskAgain, LiveRun, guidance
from ohmward.run.expected import expectation
from ohmward.run.start import start
from ohmward.run.state import Key, RunState
from ohmward.shipped import folder

CR_11 = (folder("demo") / "CR-11.toml").read_text(encoding="utf-8")
"""One rail, unregulated: 24 V, 6 A."""
TIMED = "timed by the clock on the wall"
_SOUND = {"mains_v": "230", "ambient_c": "22", "temperature_c": "24", "humidity": "45"}


def begun(logbook: Path, sheet: str = CR_11, procedure: str = "commissioning", *, meters: str = "") -> Path:
    """Begin a run on a sheet given as text, and with a list of meters where one is; return its journal."""
    file, listed = logbook / "sheet.toml", logbook / "listed.toml" if meters else None
    file.write_text(sheet, encoding="utf-8")
    if listed is not None:
        listed.write_text(meters, encoding="utf-8")
    return start(logbook, file, operator="bench A", tool="test", procedure=procedure, meters=listed)


@contextmanager
def walked(
    path: Path, until: Callable[[Item], bool], values: Mapping[Key, str] | None = None
) -> Iterator[LiveRun]:
    """Open a run and take it to where `until` holds; `values` stand in place of sound ones."""
    with LiveRun(open_run(path)) as live:
        walk(live, until, values)
        yield live


def walk(live: LiveRun, until: Callable[[Item], bool], values: Mapping[Key, str] | None = None) -> None:
    """Do what comes next until `until` holds of the entry that does, or all is done; options are left out."""
    for _ in range(2000):
        following = guidance(live.state)
        item = following.item
        if item is not None and following.move in {"item", "mend"} and until(item):
            return
        if following.move == "close":
            return
        if following.move == "item" and item is not None:
            _enter(live, item, (values or {}).get(item.key, ""))
        else:
            _MOVES[following.move](live, following.stage)
    raise AssertionError("it does not come to that")


_MOVES: dict[str, Callable[[LiveRun, str], object]] = {
    "parts": lambda live, _: live.name_parts(["case", "lid"]),
    "acknowledge": lambda live, stage: live.acknowledge(stage),
    "open-case": lambda live, _: live.open_case("to look inside"),
    "shut-case": lambda live, _: live.shut_case(),
    "energise": lambda live, _: live.energise(),
    "switch-off": lambda live, _: live.switch_off(),
}


def _enter(live: LiveRun, item: Item, value: str) -> None:
    if not item.required or item.is_waveform:
        live.skip(*item.key, "not tried here")
    elif item.read is None:
        live.answer(
            *item.key, value or "pass", "timed by the clock on the wall" if item.spec.wait_from else ""
        )
    else:
        text = value or sound_value(live.state, item)
        try:
            live.read(*item.key, text)
        except AskAgain:
            live.read(*item.key, text, confirmed=True)


def sound_value(state: RunState, item: Item) -> str:  # noqa: PLR0911 one return a way to know it
    """Return a value that holds: what is expected, else what is well within the limit."""
    assert item.read is not None
    if item.step == "lead-null":
        return "0.20"
    if item.read.subtract and item.limit is not None and (item.limit.high or 9.0) < 1.0:
        return "0.22"  # of an earth or a core, leads and all
    band = band_in(expectation(state), item)
    if band is not None:
        return f"{band.value:.5g} {item.read.unit}"
    if item.read.quantity in _SOUND:
        return _SOUND[item.read.quantity]
    limit = item.limit
    if limit is None:
        return "0.01"
    if limit.low is not None and limit.high is not None:
        return f"{(limit.low + limit.high) / 2:.5g}"
    return f"{0.5 * limit.high:.5g}" if limit.high is not None else f">{20 * (limit.low or 0.0):.5g}"
