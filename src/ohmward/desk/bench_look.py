"""Looking at a logbook for the bench: sheets, runs in hand, and the state of every supply by the index.

It reads files, so it is called in a thread. Sheets that have not changed are not read again.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import date
from functools import lru_cache
from pathlib import Path

from ohmward.desk.bench_rows import LATEST, BenchLook, SheetRow, supply_rows
from ohmward.errors import OhmwardError
from ohmward.logbook import Logbook
from ohmward.run.history_index import fleet
from ohmward.supply import load
from ohmward.text import one_line

Progress = Callable[[BenchLook, int, int], None]


def look_at(folder: Path, today: date, progress: Progress | None = None) -> BenchLook:
    """Return what there is on the bench.

    Parameters
    ----------
    folder : Path
        The logbook; it may not be there yet.
    today : date
    progress : callable, optional
        Where journals have to be read first, called with what is known already, how many supplies are read
        and of how many.

    Raises
    ------
    Unreachable
        When a folder is there and cannot be listed.
    """
    logbook = Logbook(folder)
    sheets = tuple(_sheet_row(path) for path in logbook.sheets())
    first = BenchLook(today=today, sheets=sheets, at_hand=logbook.at_hand(LATEST), complete=False)

    def told(done: int, of: int) -> None:
        if progress is not None:
            progress(first, done, of)

    found = fleet(folder, progress=told)
    return BenchLook(
        today=today, sheets=sheets, at_hand=first.at_hand, glances=found.glances,
        shortcomings=found.shortcomings,
    )  # fmt: skip


def procedure_due(folder: Path, sheet: Path, today: date) -> str:
    """Return what the supply of a sheet is due for, as the bench has it; empty where that cannot be told."""
    try:
        rows = supply_rows(look_at(folder, today))
    except OhmwardError:
        return ""
    return next((row.procedure for row in rows if row.sheet == sheet), "")


def _sheet_row(path: Path) -> SheetRow:
    try:
        status = os.stat(path)
    except OSError as error:
        return SheetRow(
            path=path, tag=one_line(path.stem), title="", problem=f"{path}: cannot be read ({error.strerror})"
        )
    return _read_sheet(path, status.st_mtime_ns, status.st_ctime_ns, status.st_size)


@lru_cache(maxsize=8192)
def _read_sheet(path: Path, changed_ns: int, status_ns: int, size: int) -> SheetRow:
    """Return a sheet as it is at these times and that size: so long it need not be read again."""
    del changed_ns, status_ns, size
    try:
        supply = load(path)
    except OhmwardError as error:
        return SheetRow(path=path, tag=one_line(path.stem), title="", problem=str(error))
    return SheetRow(path=path, tag=supply.tag, title=supply.title)
