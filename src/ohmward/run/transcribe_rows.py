"""Old results on paper as a CSV file: its layout, read and checked, all mistakes at once.

Columns (any order; `step` and `value` are needed): date, step, subject, value, meter, note, operator,
what. One row a result:

- date: ISO (2019-05-03); every row its own, so that one file may hold many years; or none at all, and
  one date given for the file.
- step, subject: as the procedure calls them; a template lists them.
- value: a reading as a person types it (a ``!`` at its end says that an implausible value is meant),
  or for a check ``pass``, ``fail`` or ``not applicable``. Empty: the paper does not say; a note in
  such a row is kept as a remark, and without one the row is left out.
- meter, note, operator: as on the paper; operator is who measured, not who types.
- what: for the eye only, not read.

Rows whose step is ``parts`` (value: names with semicolons between), ``repaired`` or ``note`` (text in
the note) are no results. A row beginning with ``#`` is left out.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from ohmward.errors import InputError, Mistake
from ohmward.procedure.model import Item

COLUMNS = ("date", "step", "subject", "value", "meter", "note", "operator", "what")
NOT_RESULTS = frozenset({"parts", "repaired", "note"})


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperRow:
    """One row, its date checked."""

    line: int
    day: date
    step: str
    subject: str = ""
    value: str = ""
    meter: str = ""
    note: str = ""
    operator: str = ""

    @property
    def key(self) -> tuple[str, str]:
        """Address of the entry: (step, subject)."""
        return (self.step, self.subject)


def mistake(where: str, row: PaperRow, column: str, why: str, mend: str) -> Mistake:
    """Return what is wrong with one cell of a row."""
    return Mistake(
        where=f"{where}: line {row.line}", field=column, value=getattr(row, column), why=why, mend=mend
    )


def parse_paper(
    text: str, where: str, *, today: date, day: date | None = None
) -> tuple[tuple[PaperRow, ...], tuple[Mistake, ...]]:
    """Return the rows of a file of old results, and what is wrong with those that cannot be read.

    Parameters
    ----------
    text : str
        The file's text.
    where : str
        Its name, for the words of mistakes.
    today : date
        No result is later.
    day : date, optional
        The date of every row of a file without a column of dates.

    Raises
    ------
    InputError
        When the file as a whole has another layout.
    """
    lines = _lines(text, where)
    header = [name.strip().lower() for name in lines[0][1]]
    mistakes = list(_header_mistakes(header, f"{where}: line {lines[0][0]}", day))
    if mistakes:
        raise InputError(mistakes)
    rows: list[PaperRow] = []
    for line, fields in lines[1:]:
        if not any(field.strip() for field in fields) or fields[0].lstrip().startswith("#"):
            continue
        if len(fields) > len(header):
            mistakes.append(_too_many(f"{where}: line {line}", fields[len(header) :]))
            continue
        cells = {name: cell.strip() for name, cell in zip(header, fields, strict=False) if name != "what"}
        if cells.get("step") not in NOT_RESULTS and not cells.get("value") and not cells.get("note"):
            continue  # a row of the template that the paper says nothing on
        found = _row(line, cells, where, today, day)
        if isinstance(found, PaperRow):
            rows.append(found)
        else:
            mistakes.extend(found)
    if not rows and not mistakes:
        mistakes.append(
            Mistake(where=where, field="", value="", why="no row with a result", mend=_header_mend())
        )
    return tuple(rows), tuple(mistakes)


def template(items: Sequence[Item]) -> str:
    """Return a file to be filled in: one row for each result that the items ask for."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for item in items:
        if item.is_waveform:
            continue
        unit = f" [{item.read.unit}]" if item.read is not None else " [pass, fail or not applicable]"
        writer.writerow(["", item.step, item.subject, "", "", "", "", f"{item.title}{unit}"])
    return out.getvalue()


def _lines(text: str, where: str) -> list[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    try:
        lines = [(reader.line_num, fields) for fields in reader]
    except csv.Error as error:
        raise InputError(
            [
                Mistake(
                    where=f"{where}: line {reader.line_num}",
                    field="",
                    value="",
                    why=f"not CSV ({error})",
                    mend="Close the quotes and save it as CSV",
                )
            ]
        ) from error
    while lines and not any(field.strip() for field in lines[0][1]):
        lines.pop(0)
    if not lines:
        raise InputError(
            [Mistake(where=where, field="", value="", why="the file is empty", mend=_header_mend())]
        )
    return lines


def _row(
    line: int, cells: dict[str, str], where: str, today: date, day: date | None
) -> PaperRow | list[Mistake]:
    place = f"{where}: line {line}"
    wrong: list[Mistake] = []
    if "date" in cells:
        day, why = _day(cells["date"], today)
        if why:
            wrong.append(
                Mistake(
                    where=place, field="date", value=cells["date"], why=why, mend="Write it as 2019-05-03"
                )
            )
    if not cells["step"]:
        wrong.append(Mistake(where=place, field="step", value="", why="missing", mend="Name the step"))
    if wrong or day is None:
        return wrong
    return PaperRow(line=line, day=day, **{name: cell for name, cell in cells.items() if name != "date"})


def _day(text: str, today: date) -> tuple[date | None, str]:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or day.isoformat() != text:
        return None, "missing" if not text else "not a date that can be read one way only"
    return (None, f"later than today, {today.isoformat()}") if day > today else (day, "")


def _header_mistakes(header: list[str], where: str, day: date | None) -> Iterator[Mistake]:
    needed = ("step", "value") if day is not None else ("date", "step", "value")
    for name in needed:
        if name not in header:
            yield Mistake(where=where, field=name, value="", why="column missing", mend=_header_mend())
    if day is not None and "date" in header:
        yield Mistake(
            where=where,
            field="date",
            value="",
            why=f"a column of dates, and one date for the whole file ({day.isoformat()})",
            mend="Give one of the two",
        )
    for name in dict.fromkeys(header):
        if name not in COLUMNS:
            yield Mistake(where=where, field="", value=name, why="unknown column", mend=_header_mend())
        elif header.count(name) > 1:
            yield Mistake(where=where, field="", value=name, why="column twice", mend=_header_mend())


def _header_mend() -> str:
    return f"The first line is: {','.join(COLUMNS)}"


def _too_many(where: str, more: list[str]) -> Mistake:
    return Mistake(
        where=where,
        field="",
        value=",".join(more),
        why="more fields than columns",
        mend="Put a value that holds a comma in double quotes",
    )
