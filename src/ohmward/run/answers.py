"""A run's answers as a CSV file, fed through the same gates as the screen.

Columns: step, subject, value, meter, note. A row is a check (value ``pass``, ``fail`` or ``not
applicable``), a reading (value as a person types it; a ``!`` at its end says that an implausible
value is meant), or one of the `ACTIONS`. A row whose value is empty is a step left out, its note
being the reason.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from ohmward.errors import InputError, Mistake, OhmwardError
from ohmward.quantity import parse
from ohmward.run.judging import AskAgain
from ohmward.run.live import LiveRun

COLUMNS = ("step", "subject", "value", "meter", "note")
_ANSWERS = frozenset({"pass", "fail", "not applicable"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of an answers file."""

    line: int
    step: str
    subject: str = ""
    value: str = ""
    meter: str = ""
    note: str = ""


class RowRefused(OhmwardError):
    """The first row that was refused; those before it are recorded.

    Attributes
    ----------
    line : int
        Line of the file (the header is line 1).
    recorded : int
        Count of rows recorded before it.
    """

    def __init__(self, where: str, row: Row, recorded: int, cause: OhmwardError) -> None:
        self.line, self.recorded, self.cause = row.line, recorded, cause
        self.exit_code = cause.exit_code
        target = f"{row.step} / {row.subject}" if row.subject else row.step
        super().__init__(
            f"{where}: line {row.line}: {target}: {cause} ({recorded} rows before it are recorded; "
            f"go on with --from {row.line})"
        )


def parse_answers(text: str, where: str) -> tuple[Row, ...]:
    """Read the rows of an answers file.

    Raises
    ------
    InputError
        For a missing or unknown column, a row with too many fields, or a row without a step.
    """
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
    if not lines:
        raise InputError(
            [Mistake(where=where, field="", value="", why="the file is empty", mend=_header_mend())]
        )
    header = [name.strip().lower() for name in lines[0][1]]
    mistakes = list(_header_mistakes(header, where))
    rows = []
    for line, fields in lines[1:]:
        if not any(field.strip() for field in fields) or fields[0].lstrip().startswith("#"):
            continue
        if len(fields) > len(header):
            mistakes.append(
                Mistake(
                    where=f"{where}: line {line}",
                    field="",
                    value=",".join(fields[len(header) :]),
                    why="more fields than columns",
                    mend="Put a value that holds a comma in double quotes",
                )
            )
            continue
        cells = {name: cell.strip() for name, cell in zip(header, fields, strict=False) if name in COLUMNS}
        if not cells.get("step"):
            mistakes.append(
                Mistake(
                    where=f"{where}: line {line}", field="step", value="", why="missing", mend="Name the step"
                )
            )
            continue
        rows.append(Row(line=line, **cells))
    if mistakes:
        raise InputError(mistakes)
    return tuple(rows)


def play(
    live: LiveRun, rows: tuple[Row, ...], where: str, progress: Callable[[int], None] | None = None
) -> int:
    """Record `rows` one after another; return how many were recorded.

    Raises
    ------
    RowRefused
        At the first row that is refused, with its line and the reason.
    """
    for done, row in enumerate(rows):
        try:
            _record(live, row)
        except OhmwardError as error:
            raise RowRefused(where, row, done, error) from error
        if progress is not None:
            progress(done + 1)
    return len(rows)


def _record(live: LiveRun, row: Row) -> None:
    action = ACTIONS.get(row.step)
    if action is not None:
        action(live, row)
    elif row.value == "":
        if not row.note:
            raise InputError(
                [
                    Mistake(
                        where="",
                        field="value",
                        value="",
                        why="empty",
                        mend="Give a value; or, to leave the step out, the reason as its note",
                    )
                ]
            )
        live.skip(row.step, row.subject, row.note)
    elif row.value.lower() in _ANSWERS:
        live.answer(row.step, row.subject, row.value.lower(), row.note)
    else:
        confirmed = row.value.endswith("!")
        text = row.value.removesuffix("!").strip()
        try:
            live.read(row.step, row.subject, text, meter=row.meter, note=row.note, confirmed=confirmed)
        except AskAgain as question:
            raise AskAgain(f"{question} If it is meant, end the value with '!'") from question


def _target(row: Row) -> tuple[str, str]:
    step, _, subject = row.subject.partition(" / ")
    return step.strip(), subject.strip()


def _amend(live: LiveRun, row: Row) -> None:
    entry = live.state.entries.get(_target(row))
    if entry is None:
        raise InputError(
            [
                Mistake(
                    where="",
                    field="amend",
                    value=row.subject,
                    why="nothing is recorded there",
                    mend="Name a step, or 'step / subject', that has an entry",
                )
            ]
        )
    if row.value == "":
        live.withdraw(entry.seq, row.note)
    elif row.value.lower() in _ANSWERS:
        live.amend_answer(entry.seq, row.value.lower(), row.note)
    else:
        text = row.value.removesuffix("!").strip()
        live.amend_reading(entry.seq, text, row.note, confirmed=row.value.endswith("!"))


def _withdraw_waveform(live: LiveRun, row: Row) -> None:
    taken = live.state.captures.get(_target(row), ())
    if not taken:
        raise InputError(
            [
                Mistake(
                    where="", field="withdraw-waveform", value=row.subject, why="there is no waveform there",
                    mend="Name a step, or 'step / subject', that has one",
                )
            ]
        )  # fmt: skip
    live.withdraw(taken[-1].seq, row.note)


ACTIONS: dict[str, Callable[[LiveRun, Row], object]] = {
    "parts": lambda live, row: live.name_parts([name.strip() for name in row.value.split(";")]),
    "acknowledge": lambda live, row: live.acknowledge(row.subject),
    "test-voltage": lambda live, row: live.choose_test_voltage(parse(row.value, "V").si, row.note),
    "case-opened": lambda live, row: live.open_case(row.note),
    "case-shut": lambda live, _: live.shut_case(),
    "repaired": lambda live, row: live.repaired(row.note),
    "energised": lambda live, _: live.energise(),
    "switched-off": lambda live, row: live.switch_off(row.note),
    "override": lambda live, row: live.override(*_target(row), row.note),
    "skip": lambda live, row: live.skip(*_target(row), row.note),
    "amend": _amend,
    "withdraw-waveform": _withdraw_waveform,
    "note": lambda live, row: live.note(row.note, *_target(row)),
    "close": lambda live, _: live.close_run(),
}
"""Rows that are not answers, by their step word: what to record."""


def _header_mistakes(header: list[str], where: str) -> Iterator[Mistake]:
    for name in ("step", "value"):
        if name not in header:
            yield Mistake(
                where=f"{where}: line 1", field=name, value="", why="column missing", mend=_header_mend()
            )
    for name in header:
        if name not in COLUMNS:
            yield Mistake(
                where=f"{where}: line 1", field="", value=name, why="unknown column", mend=_header_mend()
            )
        elif header.count(name) > 1:
            yield Mistake(
                where=f"{where}: line 1", field="", value=name, why="column twice", mend=_header_mend()
            )


def _header_mend() -> str:
    return f"The first line is: {','.join(COLUMNS)}"
