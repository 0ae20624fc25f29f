"""The run screen takes waveforms: from an instrument at hand, or from the file that an oscilloscope saved."""

from __future__ import annotations

from functools import partial

from ohmward.desk.waveforms import waveform
from ohmward.procedure.model import Item
from ohmward.tui.run_meters import RunMeters


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
        if self.item is not None and not (self.item.rail and self.item.energised):
            self.entry.feedback("a waveform is taken of a rail, with mains on", good=False)
        elif self.item is not None:
            self.begin(partial(self._waveform, self.item), "waveform")

    async def _waveform(self, item: Item) -> None:
        taken = await waveform(self, item, self._at_hand)
        if taken:
            self.last = f"Just recorded: {taken}"
        self.show_state()
