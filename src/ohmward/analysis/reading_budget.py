"""The uncertainty of a recorded reading again, with its parts: by the meters and null recorded with it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from ohmward.analysis.judgement import uncertainty_of
from ohmward.bench.meters import function_of
from ohmward.logbook.events import Reading

if TYPE_CHECKING:
    from ohmward.analysis.uncertainty import Combined
    from ohmward.bench.meters import Meter
    from ohmward.procedure.model import Item


def budget_of_reading(
    reading: Reading, item: Item, null: Reading | None, meters: Iterable[Meter]
) -> Combined | None:
    """Return the uncertainty of a reading with its budget; None where the meter's accuracy is not stated.

    Parameters
    ----------
    reading : Reading
        As recorded at `item`.
    item : Item
        A step that reads something.
    null : Reading or None
        The lead null that is taken off it, as it stands now.
    meters : iterable of Meter
        Those of the run.
    """
    assert item.read is not None
    if null is not None and null.meter != reading.meter and reading.judged.net == reading.value.si:
        null = None  # read with other leads, and not taken off
    listed = {meter.name: meter for meter in meters}
    return uncertainty_of(
        reading.value,
        null=null.value if null else None,
        meter=listed.get(reading.meter),
        null_meter=listed.get(null.meter) if null else None,
        function=function_of(item.read.quantity, item.read.unit),
        standard_deviation=reading.standard_deviation,
        count=reading.count,
        null_standard_deviation=null.standard_deviation if null else None,
        null_count=null.count if null else 1,
    )
