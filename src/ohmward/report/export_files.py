"""Rows to a file: CSV that a spreadsheet and a program both open, or Parquet.

CSV: UTF-8 with a mark at its beginning (by which spreadsheets know it), comma, CR LF (RFC 4180). A cell
of text that a spreadsheet would take for a formula has an apostrophe before it, and so has one that
begins with an apostrophe: taking one apostrophe off gives the text back. Numbers are never touched.
In both files control characters are shown as signs; the journal has the bytes.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Literal

from ohmward.errors import InputError, Mistake, OhmwardError
from ohmward.logbook import disk, drafts
from ohmward.report.export import Column, Kind, Row
from ohmward.text import one_line

if TYPE_CHECKING:
    import pyarrow as pa

Format = Literal["csv", "parquet"]
BATCH = 50_000
"""Rows of one group of a Parquet file."""

# What spreadsheets take for the beginning of a formula, in the wide forms of East Asian keyboards
# too; tab and carriage return in front of it do not hide it from all of them.
_FORMULA = frozenset("=+-@\t\r＝＋－＠'")
_UNSEEN = frozenset({"Cf", "Mn", "Zs"})
"""Kinds of character that take no room: they do not hide a formula from all spreadsheets."""
# Where the semicolon parts the cells, one in the middle of a text begins another.
_AFTER_SEMICOLON = re.compile(r"(;[\s\"]*)(?=[=+\-@＝＋－＠])")


class NoParquet(OhmwardError):
    """The library that writes Parquet is not installed."""


def format_of(path: Path) -> Format:
    """Return the format that a file name asks for; raises InputError for any other ending."""
    ending = path.suffix.lower()
    if ending == ".csv":
        return "csv"
    if ending in {".parquet", ".pq"}:
        return "parquet"
    raise InputError(
        [
            Mistake(
                where="command line",
                field="-o",
                value=str(path),
                why="not a kind of file that is written",
                mend="End its name with .csv or .parquet",
            )
        ]
    )


def write(path: Path, columns: Sequence[Column], rows: Iterable[Row], *, replace: bool = False) -> int:
    """Write rows to a file by the ending of its name, whole or not at all; return their count.

    Raises
    ------
    InputError
        When the ending is another, or the file is there already and is not to be replaced.
    NoParquet
        When Parquet is asked for and the library is not installed.
    Unreachable
        When it cannot be written.
    """
    into = _into_csv if format_of(path) == "csv" else _parquet()
    try:
        with drafts.writing(path, replace=replace) as out:
            return into(out, columns, rows)
    except FileExistsError as error:
        raise InputError(
            [
                Mistake(
                    where=str(path),
                    field="",
                    value="",
                    why="the file is already there",
                    mend="Give another name, or --force to replace it",
                )
            ]
        ) from error
    except OSError as error:
        raise disk.unreachable(path, "cannot be written", error) from error


def csv_text(columns: Sequence[Column], rows: Iterable[Row]) -> Iterator[str]:
    """Yield a CSV file line by line, the heading first, without the mark at its beginning."""
    out = io.StringIO()
    writer = csv.writer(out)

    def line(cells: Iterable[str]) -> str:
        out.seek(0)
        out.truncate()
        writer.writerow(list(cells))
        return out.getvalue()

    yield line(column.name for column in columns)
    for row in rows:
        yield line(cell(column.kind, row.get(column.name)) for column in columns)


def cell(kind: Kind, value: object) -> str:
    """Return one cell of a CSV file: inert in a spreadsheet, and a number still a number."""
    if value is None or value == "":
        return ""
    if kind == "yes or no":
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, date):
        return value.isoformat()
    text = str(value)
    if kind == "time":
        return text
    text = _AFTER_SEMICOLON.sub(r"\1'", one_line(text))
    first = next((char for char in text if unicodedata.category(char) not in _UNSEEN), "")
    return f"'{text}" if first in _FORMULA else text


def _into_csv(out: BinaryIO, columns: Sequence[Column], rows: Iterable[Row]) -> int:
    out.write(b"\xef\xbb\xbf")
    count = -1  # the heading is a line too
    for line in csv_text(columns, rows):
        out.write(line.encode())
        count += 1
    return count


def _parquet() -> Callable[[BinaryIO, Sequence[Column], Iterable[Row]], int]:
    try:
        import pyarrow.parquet as pq
    except ImportError as error:
        raise NoParquet(
            "Parquet is written by the library pyarrow, which is not installed. Install it with "
            "'pip install ohmward[parquet]', or write a .csv file"
        ) from error

    def into(out: BinaryIO, columns: Sequence[Column], rows: Iterable[Row]) -> int:
        schema, count, waiting = _schema(columns), 0, iter(rows)
        with pq.ParquetWriter(out, schema) as writer:
            while batch := list(islice(waiting, BATCH)):
                writer.write_table(_table(schema, columns, batch))
                count += len(batch)
        return count

    return into


def _schema(columns: Sequence[Column]) -> pa.Schema:
    import pyarrow as pa

    types: dict[Kind, pa.DataType] = {
        "text": pa.string(),
        "number": pa.float64(),
        "count": pa.int64(),
        "yes or no": pa.bool_(),
        "date": pa.date32(),
        "time": pa.timestamp("ms", tz="UTC"),
    }
    fields = [
        pa.field(column.name, types[column.kind], metadata={"description": column.says}) for column in columns
    ]
    return pa.schema(fields)


def _table(schema: pa.Schema, columns: Sequence[Column], rows: Sequence[Row]) -> pa.Table:
    import pyarrow as pa

    arrays = [
        pa.array(
            [_typed(column.kind, row.get(column.name)) for row in rows], type=schema.field(column.name).type
        )
        for column in columns
    ]
    return pa.Table.from_arrays(arrays, schema=schema)


def _typed(kind: Kind, value: object) -> Any:
    if value is None or (value == "" and kind != "text"):
        return None
    if kind == "time":
        return datetime.fromisoformat(str(value))
    return None if value == "" else value
