"""A waveform, and the one layout that it is kept in beside a journal: CSV, time and value."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ohmward.errors import InputError, Mistake
from ohmward.text import one_line

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Waveform:
    """Samples at equal steps of time."""

    values: tuple[float, ...]
    unit: str
    interval_s: float
    start_s: float = 0.0
    source: str = ""
    """Where it came from, in words: meter and connection, or file and column."""


def encoded(waveform: Waveform) -> bytes:
    """Return a waveform as CSV: a line that says where it is from, headings, then time and value.

    Raises
    ------
    InputError
        When a sample is not a finite number, or there are fewer than two.
    """
    _check(waveform)
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([f"# {one_line(waveform.source)}"])
    writer.writerow(["time_s", f"value_{waveform.unit.lower()}"])
    start, step = waveform.start_s, waveform.interval_s
    text.writelines(f"{start + n * step!r},{value!r}\n" for n, value in enumerate(waveform.values))
    return text.getvalue().encode("utf-8")


def decoded(data: bytes, name: str) -> NDArray[np.float64]:
    """Return the values of a waveform that `encoded` wrote.

    Raises
    ------
    InputError
        When it is not laid out so; `name` is what the mistake calls it.
    """
    import numpy as np

    try:
        found: NDArray[np.float64] = np.loadtxt(
            io.BytesIO(data), delimiter=",", skiprows=2, usecols=1, ndmin=1, comments=None
        )
    except (ValueError, IndexError) as error:
        raise _unfit(name, f"it is not laid out as a waveform ({one_line(str(error))})") from error
    if not np.isfinite(found).all():
        raise _unfit(name, "a sample is not a finite number")
    return found


def _check(waveform: Waveform) -> None:
    if len(waveform.values) < 2:
        raise _unfit(waveform.source, "fewer than two samples")
    if not 0.0 < waveform.interval_s < math.inf:
        raise _unfit(waveform.source, f"no time between two samples ({waveform.interval_s:g} s)")
    wrong = next((n for n, each in enumerate(waveform.values, 1) if not math.isfinite(each)), 0)
    if wrong:
        raise _unfit(waveform.source, f"sample {wrong} is not a finite number")


def _unfit(where: str, why: str) -> InputError:
    mend = "Capture it again, or save it again"
    return InputError([Mistake(where=one_line(where), field="", value="", why=why, mend=mend)])
