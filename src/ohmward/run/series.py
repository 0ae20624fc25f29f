"""What was sampled through a soak, folded from its records."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import chain

from ohmward.logbook.events import (
    Record,
    SeriesBegun,
    SeriesEnded,
    SeriesGap,
    SeriesRow,
    SeriesRows,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """The samples of one soak."""

    begun: SeriesBegun
    at: str
    """When it began, as in the journal."""
    seq: int
    batches: tuple[tuple[SeriesRow, ...], ...] = ()
    gaps: tuple[SeriesGap, ...] = ()
    resumed_s: tuple[float, ...] = ()
    """Where it went on after an interruption [s from the start]: until then the loads were off."""
    ended: SeriesEnded | None = None
    last_at: str = ""
    """When its last samples were recorded, as in the journal."""

    @property
    def rows(self) -> tuple[SeriesRow, ...]:
        """Every sample, in order."""
        return tuple(chain.from_iterable(self.batches))

    @property
    def last_s(self) -> float | None:
        """Time of the last sample [s from the start]; None before the first."""
        return self.batches[-1][-1].at_s if self.batches else None

    @property
    def unfinished(self) -> bool:
        """Whether it was cut or stopped before its time was up."""
        return self.ended is None or not self.ended.complete


def after_series(before: dict[str, Series], record: Record) -> dict[str, Series]:
    """Return the series by step after one more record about one of them, which the gates admitted."""
    event = record.event
    assert isinstance(event, SeriesBegun | SeriesRows | SeriesGap | SeriesEnded)
    known = before.get(event.step)
    if isinstance(event, SeriesBegun) and not event.resumed:
        after = Series(begun=event, at=record.at, seq=record.seq, last_at=record.at)
    else:
        assert known is not None
        after = _next(known, record)
    return {**before, event.step: after}


def _next(known: Series, record: Record) -> Series:
    match record.event:
        case SeriesBegun():
            return replace(known, ended=None)
        case SeriesRows(rows=rows) if rows:
            return replace(known, batches=(*known.batches, rows), last_at=record.at)
        case SeriesGap() as gap:
            resumed = (*known.resumed_s, gap.to_s) if gap.interrupted else known.resumed_s
            return replace(known, gaps=(*known.gaps, gap), resumed_s=resumed)
        case SeriesEnded() as ended:
            return replace(known, ended=ended)
    return known
