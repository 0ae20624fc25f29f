"""Taking a waveform: from an instrument at hand, or from the file that an oscilloscope saved."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from pathlib import Path

from ohmward.bench.attempt import Attempt
from ohmward.bench.capture import Digitised, from_csv, take
from ohmward.bench.waveform import Waveform
from ohmward.desk.asking import Desk
from ohmward.desk.reasons import ask_reason
from ohmward.errors import InputError, OhmwardError
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.capturing import attach, require, require_now
from ohmward.run.state import RunState
from ohmward.taking.at_hand import MetersAtHand
from ohmward.text import one_line, plural

WITHDRAW = "withdraw it: nothing stands in its place"
INSTEAD = "another file instead"
FROM_FILE = "a CSV file that the oscilloscope saved"
_COLUMNS = frozenset({"column", "time column"})


async def waveform(desk: Desk, item: Item, meters: MetersAtHand | None) -> str:
    """Take a waveform of `item`, or attach one; return what was recorded in words, empty for nothing."""
    try:
        require(desk.live.state, item.step, item.subject)
    except OhmwardError as error:
        await desk.tell("No waveform now", str(error).splitlines())
        return ""
    scopes = digitisers(desk.live.state) if meters is not None else []
    lines = ["It is kept beside the journal with its hash, and looked at in the assessment."]
    ways = [*(f"take it with '{one_line(name)}'" for name in scopes), FROM_FILE]
    picked = await desk.choose(f"Waveform: {one_line(item.subject)}", ways, lines)
    if picked is None:
        return ""
    try:
        if picked < len(scopes) and meters is not None:
            return await _from_meter(desk, item, meters, scopes[picked])
        return await _from_file(desk, item)
    except OhmwardError as error:
        await desk.tell("No waveform", str(error).splitlines())
        return ""


async def amend_waveform(desk: Desk, item: Item, seq: int, words: str) -> bool:
    """Take back the waveform of a record, or attach another file in its place; return whether it was.

    The other file is recorded first, so that nothing is taken back for a file that does not read.
    """
    heading = f"Amend: {words}"
    kept = "It stays in the journal, and its file beside it; the assessment no longer uses it."
    way = await desk.choose(heading, [INSTEAD, WITHDRAW], [kept, "A new one from an instrument: y takes it."])
    if way is None:
        return False
    reason = await ask_reason(desk, heading, [kept], label="What was wrong")
    if reason is None:
        return False
    if way == 0:
        try:
            require(desk.live.state, item.step, item.subject)
            if not await _from_file(desk, item):
                return False
        except OhmwardError as error:
            await desk.tell("No waveform", str(error).splitlines())
            return False
    return await desk.record(lambda _: desk.live.withdraw(seq, reason))


async def _from_meter(desk: Desk, item: Item, meters: MetersAtHand, name: str) -> str:
    require_now(desk.live.state, item.step, item.subject, name)
    desk.say(f"'{name}' is taking the waveform …")

    def work() -> Digitised:
        with meters.inventory(desk.live.state) as inventory:
            meters.hands.put(desk.live.state, item, name)
            return take(inventory, name)

    taken = await desk.aside(work)
    return await _keep(desk, item, taken.waveform, meter=name, identity=taken.identity, failed=taken.failed)


async def _from_file(desk: Desk, item: Item) -> str:
    path = await desk.ask(
        "Waveform from a file", ["CSV with a column of time, or of samples only."], label="File", needed=True
    )
    chosen: dict[str, str | int] = {}
    while path is not None:
        try:
            found = await desk.aside(partial(_read_file, path, chosen))
        except InputError as error:
            field = error.mistakes[0].field
            if field not in _COLUMNS or field in chosen:
                raise
            words = await desk.ask("Which column?", str(error).splitlines(), label=field, needed=True)
            if words is None:
                return ""
            chosen[field] = int(words) if words.isascii() and words.isdigit() else words
        else:
            return await _keep(desk, item, found)
    return ""


async def _keep(
    desk: Desk, item: Item, found: Waveform, *, meter: str = "", identity: str = "",
    failed: tuple[Attempt, ...] = (),
) -> str:  # fmt: skip
    def work() -> None:
        desk.live.attempts_failed(item.step, item.subject, meter, failed)
        attach(desk.live, found, item.step, item.subject, meter=meter, identity=identity)

    await desk.aside(work)  # a long waveform takes a while to write
    span = show(len(found.values) * found.interval_s, "s")
    return f"{plural(len(found.values), 'sample')}, {span}, from {one_line(found.source)}"


def _read_file(path: str, chosen: Mapping[str, str | int]) -> Waveform:
    place = Path(path.strip()).expanduser()
    return from_csv(place, column=chosen.get("column"), time_column=chosen.get("time column"))


def digitisers(state: RunState) -> list[str]:
    """Return the meters of a run that may hand over waveforms, and that the tool can reach."""
    return [meter.name for meter in state.meters if meter.kind == "oscilloscope" and meter.resource]
