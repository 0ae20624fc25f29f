"""What a run is assessed from: plain data that the run layer fills from its state."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from ohmward.logbook.events import Answered, Reading, Skipped
from ohmward.physics.expectation import Expectation
from ohmward.procedure.model import Item
from ohmward.supply.model import Supply

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class Entered(msgspec.Struct, frozen=True, kw_only=True):
    """What stands at one item of the procedure."""

    event: Answered | Reading | Skipped
    seq: int = -1
    at: str = ""
    """When, as in the journal."""
    stale: bool = False
    """A repair, an opening or an energising since has made it count no longer."""
    override: str = ""
    """Reason given for accepting a failure; empty for none."""
    early: str = ""
    """How it was taken before its time, in words: not held, or waited for, as long as the procedure asks."""
    untimed: str = ""
    """That it takes its time, was fed from a file, and was timed by nobody here; empty for any other."""
    amended: str = ""
    """Reason of the amendment that put it there; empty when it stands as first entered."""


class SampledSoak(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """What the bench sampled through one soak: n rows of some channels."""

    step: str
    channels: tuple[str, ...]
    """Names of the sensors and places, as in the procedure."""
    units: tuple[str, ...]
    meters: tuple[str, ...]
    uncertainties: tuple[float | None, ...]
    """Expanded uncertainty of each channel's meter at its highest value; None where it is not stated."""
    time_s: NDArray[np.float64]
    """Shape (n,), from the start of the soak."""
    values: NDArray[np.float64]
    """Shape (n, channels), in the channel's unit; NaN where there is none."""
    resumed_s: tuple[float, ...] = ()
    """Where it went on after an interruption, in which the loads were off."""
    gaps: tuple[tuple[str, float, float, str], ...] = ()
    """Channel (empty for all), from, to [s] and why."""
    complete: bool = False
    """It ran as long as it was meant to."""


class CapturedWave(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """A waveform of a run, read back with its recorded hash."""

    step: str
    subject: str
    rail: str
    """Empty where it is of no rail."""
    point: str
    """What the probe was on: ``reservoir`` or ``output``; empty where nobody said."""
    load_a: float | None
    """Current of the load point that it was asked for at; None where the step names none."""
    samples: NDArray[np.float64]
    """Shape (n,), in `unit`, `interval_s` apart."""
    interval_s: float
    unit: str
    source: str
    file: str
    at: str = ""
    """When it was recorded, as in the journal."""
    stale: bool = False
    """A repair since has made it count no longer."""


class RunFacts(msgspec.Struct, frozen=True, kw_only=True):
    """A run, as far as it has come."""

    run: str
    tag: str
    simulated: bool
    supply: Supply
    items: tuple[Item, ...]
    entries: dict[tuple[str, str], Entered]
    """By `Item.key`; items not done have none."""
    expectation: Expectation | None = None
    cord_left_out: bool = False
    """The earth is measured from the inlet, the cord unplugged."""
    halted: bool = False
    """Halted, or switched off and not yet shown to be safe by its residual voltage."""
    overdue_meters: tuple[str, ...] = ()
    """Names of meters whose calibration had run out when they were used."""
    earth_unsettled: tuple[str, ...] = ()
    """Why what passed of the earth is not settled, and what would settle it, in words.

    By no stated accuracy, or with less current than the limit asks, or an unknown one.
    """
    superseded: tuple[tuple[str, Answered | Reading | Skipped, str], ...] = ()
    """Entries that a later one took the place of: when, what, and why it went."""
    repairs: tuple[tuple[str, str], ...] = ()
    """When, and what was mended or changed."""
    notes: tuple[tuple[str, str, str, str], ...] = ()
    """When, step, subject and text of each remark."""
    captures: tuple[CapturedWave, ...] = ()
    """In the order they were recorded."""
    capture_problems: tuple[str, ...] = ()
    """Waveforms of the run that are not among them, and why, in words."""
    captured: frozenset[tuple[str, str]] = frozenset()
    """By `Item.key`: items that ask for a waveform and have one that counts."""
    half_wave_fractions: dict[str, float] = {}
    """By rail: share of its ripple that is at mains frequency, where a waveform tells; see `waveforms`."""
    series: tuple[SampledSoak, ...] = ()
    """What was sampled through its soaks."""
    test_v: dict[tuple[str, str], float] = {}
    """By `Item.key`: the voltage that a reading of insulation was taken at [V]."""
    fed: tuple[tuple[str, int], ...] = ()
    """Files of answers that entries which stand were fed from, and how many of them."""
    violations: tuple[str, ...] = ()
    """Records that no gate would have let through: a journal written by something else."""

    @property
    def untimed(self) -> tuple[Item, ...]:
        """Items that take their time, whose entry was fed from a file and timed by nobody here."""
        return tuple(item for item in self.items if (e := self.entry(item)) and e.untimed and not e.stale)

    def entry(self, item: Item) -> Entered | None:
        """Return what stands at `item`, None where it is not done."""
        return self.entries.get(item.key)

    def reading(self, item: Item) -> Reading | None:
        """Return the reading that stands at `item` and still counts, None where there is none."""
        entry = self.entries.get(item.key)
        if entry is None or entry.stale or not isinstance(entry.event, Reading):
            return None
        return entry.event
