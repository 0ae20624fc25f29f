"""The run screen takes waveforms: from an instrument at hand, or from the file that an oscilloscope saved."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from pathlib import Path

from ohmward.bench.attempt import Attempt
from ohmward.bench.capture import Digitised, from_csv, take
from ohmward.bench.waveform import Waveform
from ohmward.errors import InputError, OhmwardError
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.capturing import attach, require, require_now
from ohmward.run.state import RunState
from ohmward.taking.at_hand import MetersAtHand
from ohmward.text import one_line
from ohmward.tui.run_meters import RunMeters

FROM_FILE = "a CSV file that the oscilloscope saved"
_COLUMNS = frozenset({"column", "time column"})


class RunWaveforms(RunMeters):
    """The part of the run screen that takes waveforms."""

    def action_meter_reading(self) -> None:
        """Have the meter read; of an item that asks for a waveform, take one."""
        if self.item is not None and self.item.is_waveform:
            self.action_waveform()
        else:
            super().action_meter_reading()

    def action_waveform(self) -> None:
        """Take a waveform of the item shown, or attach one from a file."""
        if self.item is not None:
            self.begin(self._waveform(self.item), "waveform")

    async def _waveform(self, item: Item) -> None:
        try:
            require(self.live.state, item.step, item.subject)
        except OhmwardError as error:
            await self.tell("No waveform now", str(error).splitlines())
            return
        scopes = digitisers(self.live.state) if self._at_hand is not None else []
        lines = ["It is kept beside the journal with its hash, and looked at in the assessment."]
        ways = [*(f"take it with '{one_line(name)}'" for name in scopes), FROM_FILE]
        picked = await self.choose(f"Waveform: {one_line(item.subject)}", ways, lines)
        if picked is None:
            return
        try:
            if picked < len(scopes) and self._at_hand is not None:
                await self._from_meter(item, self._at_hand, scopes[picked])
            else:
                await self._from_file(item)
        except OhmwardError as error:
            await self.tell("No waveform", str(error).splitlines())
        self.show_state()

    async def _from_meter(self, item: Item, meters: MetersAtHand, name: str) -> None:
        require_now(self.live.state, item.step, item.subject, name)
        self.entry.feedback(f"'{name}' is taking the waveform …", good=True)

        def work() -> Digitised:
            with meters.inventory() as inventory:
                meters.hands.put(self.live.state, item, name)
                return take(inventory, name)

        taken = await asyncio.to_thread(work)
        await self._keep_waveform(
            item, taken.waveform, meter=name, identity=taken.identity, failed=taken.failed
        )

    async def _from_file(self, item: Item) -> None:
        path = await self.ask(
            "Waveform from a file",
            ["CSV with a column of time, or of samples only."],
            label="File",
            needed=True,
        )
        chosen: dict[str, str | int] = {}
        while path is not None:
            try:
                found = await asyncio.to_thread(_read_file, path, chosen)
            except InputError as error:
                field = error.mistakes[0].field
                if field not in _COLUMNS or field in chosen:
                    raise
                words = await self.ask("Which column?", str(error).splitlines(), label=field, needed=True)
                if words is None:
                    return
                chosen[field] = int(words) if words.isascii() and words.isdigit() else words
            else:
                await self._keep_waveform(item, found)
                return

    async def _keep_waveform(
        self, item: Item, waveform: Waveform, *, meter: str = "", identity: str = "",
        failed: tuple[Attempt, ...] = (),
    ) -> None:  # fmt: skip
        def work() -> None:
            self.live.attempts_failed(item.step, item.subject, meter, failed)
            attach(self.live, waveform, item.step, item.subject, meter=meter, identity=identity)

        await asyncio.to_thread(work)  # a long waveform takes a while to write
        span = show(len(waveform.values) * waveform.interval_s, "s")
        self.last = f"Just recorded: {len(waveform.values)} samples, {span}, from {one_line(waveform.source)}"


def _read_file(path: str, chosen: Mapping[str, str | int]) -> Waveform:
    place = Path(path.strip()).expanduser()
    return from_csv(place, column=chosen.get("column"), time_column=chosen.get("time column"))


def digitisers(state: RunState) -> list[str]:
    """Return the meters of a run that may hand over waveforms, and that the tool can reach."""
    return [meter.name for meter in state.meters if meter.kind == "oscilloscope" and meter.resource]
