"""The samples of a soak, in batches."""

from __future__ import annotations

from ohmward.logbook.events.body import Body


class SeriesChannel(Body, frozen=True, kw_only=True):
    """One thing that a series samples."""

    name: str
    """The sensor or place, as in the procedure: 'heat sink +15', 'room air'."""
    meter: str
    function: str
    unit: str
    identity: str = ""
    """What the instrument called itself."""


class SeriesRow(Body, frozen=True, kw_only=True):
    """One sample of every channel, in the order of the series' channels."""

    at_s: float
    """From the start of the series."""
    values: tuple[float | None, ...]
    """SI units of the channel; None where it gave no number."""
    replies: tuple[str, ...] = ()
    """The raw replies; empty where a channel gave none."""


class SeriesBegun(Body, frozen=True, kw_only=True):
    """Sampling of a soak began, or went on after an interruption."""

    step: str
    channels: tuple[SeriesChannel, ...]
    interval_s: float
    duration_s: float
    loads: tuple[str, ...] = ()
    """What was set on which rail, in words; empty where a person set the loads."""
    stops: tuple[str, ...] = ()
    """Stop limits, in words."""
    resumed: bool = False
    """It goes on with the series begun before, on the same clock."""


class SeriesRows(Body, frozen=True, kw_only=True):
    """Samples of the series of a step, written in batches."""

    step: str
    rows: tuple[SeriesRow, ...]


class SeriesGap(Body, frozen=True, kw_only=True):
    """No samples of a channel (of all, where none is named) from one moment to another."""

    step: str
    channel: str = ""
    from_s: float
    to_s: float
    why: str
    interrupted: bool = False
    """Nobody was there to sample: the loads were off in it."""


class SeriesEnded(Body, frozen=True, kw_only=True):
    """The series of a step is over."""

    step: str
    at_s: float
    complete: bool
    why: str
    missed: int = 0
    """Samples that were due and not taken, over all channels."""
    load_off: bool = True
    """False: a load under control could not be seen to be off."""
