"""The bench as rows of text: supplies with their state, and what there is to go on with.

Plain functions of plain data: what was read of the logbook goes in, what stands in the tables comes out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Literal

from ohmward.analysis.history_glance import Due, Glance, due
from ohmward.analysis.outcomes import outcome_said
from ohmward.desk.words import Sign, day_words, outcome_sign
from ohmward.logbook import RunEntry
from ohmward.quantity import show, unit_of_difference
from ohmward.text import by, one_line, plural

DUE_DAYS = 30
"""What is due within this many days is listed among what there is to do."""
WORDS_WIDTH = 56
"""Columns of a title, or of why something is to be done: the line below the tables has it in full."""
LATEST = 20
"""So many closed runs are listed."""


def _small(sign: Sign) -> Sign:
    return sign._replace(word=sign.word.lower())


_RUNS = ("run", "assessment")
_NEVER = Sign("·", "never tested", "quiet")
_READING = Sign("…", "being read", "quiet")
_IN_HAND = Sign("▸", "in hand", "warn")
_FAILED = _small(outcome_sign("fail"))
_UNFINISHED = _small(outcome_sign("incomplete"))
_DUE = Sign("!", "due", "warn")
_OVERDUE = Sign("‼", "overdue", "bad")
_UNREADABLE = Sign("✗", "sheet cannot be read", "bad")
_DAMAGED = Sign("✗", "damaged", "bad")
_LIKELY_FAULT = _small(outcome_sign("pass", likely=True))
_PASSED = {verdict: _small(outcome_sign(verdict)) for verdict in ("pass", "conditional pass")}


@dataclass(frozen=True, kw_only=True)
class SheetRow:
    """A design sheet of the bench; `problem` in words when it cannot be read."""

    path: Path
    tag: str
    title: str
    problem: str = ""


@dataclass(frozen=True, kw_only=True)
class BenchLook:
    """What was read of a logbook."""

    today: date
    sheets: tuple[SheetRow, ...]
    at_hand: tuple[RunEntry, ...]
    """Runs in hand and the latest closed ones."""
    glances: tuple[Glance, ...] = ()
    complete: bool = True
    """False while journals are still being read: `glances` is then empty."""
    shortcomings: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SupplyRow:
    """One supply: its sheet, its runs, or both."""

    tag: str
    """As it is written in sheet and journal: made safe where it is shown."""
    title: str
    state: Sign
    following: str
    """What comes next, and when."""
    last: str
    """Date of the last run; empty for none."""
    words: str
    """All that is known of it, for the line below."""
    sheet: Path | None = None
    problem: str = ""
    simulated: bool = False
    """Known by rehearsals only."""
    procedure: str = ""
    """What it is due for."""

    @property
    def cells(self) -> tuple[str, ...]:
        """What stands in the table."""
        mark = "REHEARSAL " if self.simulated else ""
        why = self.problem.removeprefix(f"{self.sheet.parent}/") if self.sheet is not None else ""
        return self.tag, f"{mark}{self.state}", self.following, _short(self.title or why), self.last

    @property
    def key(self) -> str:
        """What it is known by while the table is narrowed and read again."""
        return str(self.sheet or f"{self.tag} {self.simulated}")


@dataclass(frozen=True, kw_only=True)
class ToDoRow:
    """One thing to go on with."""

    what: Literal["run", "due", "assessment", "damaged"]
    tag: str
    sign: Sign
    procedure: str
    when: str
    words: str
    path: Path | None = None
    """Journal of a run, sheet of what is due."""
    simulated: bool = False

    @property
    def cells(self) -> tuple[str, ...]:
        """What stands in the table."""
        mark = "REHEARSAL " if self.simulated else ""
        return str(self.sign), self.tag, f"{mark}{self.procedure}", self.when, _short(self.words)

    @property
    def key(self) -> str:
        """What it is known by while the table is narrowed and read again."""
        return f"{self.what} {self.path or self.tag}"


def supply_rows(look: BenchLook) -> tuple[SupplyRow, ...]:
    """Return every supply by tag; those known by rehearsals only come last."""
    # a tag may be in two folders: what is known of the real supply counts before rehearsals of it
    glances = {each.tag: each for each in sorted(look.glances, key=lambda each: not each.simulated)}
    open_tags = {(run.tag, run.simulated) for run in look.at_hand if not run.closed and not run.problem}
    rows = [_supply_row(sheet, glances.get(sheet.tag), open_tags, look) for sheet in look.sheets]
    known = {sheet.tag for sheet in look.sheets}
    rows += [_supply_row(None, each, open_tags, look) for each in look.glances if each.tag not in known]
    return tuple(sorted(rows, key=lambda row: (row.simulated, _natural(row.tag), row.key)))


def _supply_row(
    sheet: SheetRow | None, glance: Glance | None, open_tags: set[tuple[str, bool]], look: BenchLook
) -> SupplyRow:
    tag = sheet.tag if sheet is not None else glance.tag if glance is not None else ""
    problem = sheet.problem if sheet is not None else ""
    title = sheet.title if sheet is not None else ""
    simulated = glance is not None and glance.simulated
    in_hand = (tag, simulated) in open_tags or (glance is None and (tag, True) in open_tags)
    when = None if glance is None else due(glance, look.today)
    if problem:
        state = _UNREADABLE
    elif not look.complete:
        state = _IN_HAND if in_hand else _READING
    else:
        state = state_of(glance, when, in_hand=in_hand)
    return SupplyRow(
        tag=tag,
        title=one_line(title or (glance.title if glance else "")),
        state=state,
        following=_following(glance, when, state, look),
        last=glance.last_at[:10] if glance else "",
        words=_supply_words(sheet, glance, when, state),
        sheet=sheet.path if sheet is not None else None,
        problem=problem,
        simulated=simulated,
        procedure=when.procedure if when is not None else "commissioning",
    )


def state_of(glance: Glance | None, when: Due | None, *, in_hand: bool) -> Sign:
    """Return the state of a supply: what stands in the way of trusting it comes before that it passed."""
    if in_hand:
        return _IN_HAND
    if glance is None or when is None:
        return _NEVER
    state = _of_verdict(glance.last_verdict)
    if state in _PASSED.values() and glance.likely_fault:
        return _LIKELY_FAULT
    if state in _PASSED.values() and when.reason != "never tested" and when.overdue_days >= -DUE_DAYS:
        return _OVERDUE if when.overdue_days > 0 else _DUE
    return state


def _of_verdict(verdict: str) -> Sign:
    return _PASSED.get(verdict, _FAILED if "fail" in verdict else _UNFINISHED)


def _following(glance: Glance | None, when: Due | None, state: Sign, look: BenchLook) -> str:
    if state in {_UNREADABLE, _READING}:
        return ""
    if state is _IN_HAND:
        return "resume the run: r"
    if glance is None or when is None:
        return "commissioning" if look.complete else ""
    if when.at_once or when.overdue_days == 0:
        return f"{when.procedure}: now"
    return f"{when.procedure}{', due' if when.overdue_days > 0 else ''} {when.on}"


def _supply_words(sheet: SheetRow | None, glance: Glance | None, when: Due | None, state: Sign) -> str:
    if sheet is not None and sheet.problem:
        return sheet.problem
    parts = ["Enter shows the supply, r goes on with its run in hand"] if state is _IN_HAND else []
    parts += [one_line(sheet.title) if sheet is not None else "no design sheet of it is in supplies/"]
    if glance is None:
        parts += ["" if state is _READING else state.word]
        return " · ".join(part for part in parts if part)
    verdict = outcome_said(glance.last_verdict, likely=bool(glance.likely_fault))
    runs = "1 run" if glance.runs == 1 else f"{glance.runs} runs"
    parts += [
        "known by REHEARSALS only" if glance.simulated else "",
        f"FAULT LIKELY: {glance.likely_fault}; do not leave it on" if glance.likely_fault else "",
        f"last run {glance.last_at[:10]}, {glance.last_procedure}: {verdict}; {runs}",
        f"{glance.damaged} damaged: 'ohmward verify' names the lines" if glance.damaged else "",
        due_words(when) if when is not None else "",
        _margin_words(glance),
    ]
    return " · ".join(one_line(part) for part in parts if part)


def due_words(when: Due) -> str:
    """Return what comes next, when, and why."""
    return f"{when.procedure} {_time_words(when)}: {when.words}"


def _time_words(when: Due) -> str:
    if when.at_once or when.overdue_days == 0:
        return "now"
    days = abs(when.overdue_days)
    plural = "1 day" if days == 1 else f"{days} days"
    return f"OVERDUE since {when.on} ({plural})" if when.overdue_days > 0 else f"due {when.on}, in {plural}"


def _margin_words(glance: Glance) -> str:
    if glance.margin_pct is None:
        return ""
    value, limit = glance.margin_value, glance.margin_limit
    if glance.margin_pct < 0.0 and value is not None and limit is not None:
        sign = ", of the wrong sign" if value * limit < 0.0 else ""
        beyond = show(abs(value - limit), unit_of_difference(glance.margin_unit))
        return f"beyond its limit: {glance.margin_what}, by {beyond}{sign}"
    return f"nearest to its limit: {glance.margin_what}, {glance.margin_pct:.0f} % away"


def to_do_rows(look: BenchLook) -> tuple[ToDoRow, ...]:
    """Return what there is to go on with: runs in hand, damaged runs, what is due, the latest closed runs."""
    in_hand = [run for run in look.at_hand if not run.closed and not run.problem]
    closed = [run for run in look.at_hand if run.closed and not run.problem][:LATEST]
    damaged = [run for run in look.at_hand if run.problem]
    rows = [*map(_run_row, in_hand), *map(_run_row, damaged), *_due_rows(look), *map(_run_row, closed)]
    return tuple(rows)


def _due_rows(look: BenchLook) -> list[ToDoRow]:
    open_tags = {run.tag for run in look.at_hand if not run.closed and not run.problem}
    sheets = {sheet.tag: sheet.path for sheet in look.sheets if not sheet.problem}
    found = [due(each, look.today) for each in look.glances if each.tag not in open_tags]
    wanted = [each for each in found if each.overdue_days >= -DUE_DAYS]
    wanted.sort(key=lambda each: (each.simulated, each.on, each.tag))
    return [
        ToDoRow(
            what="due",
            tag=each.tag,
            sign=_due_sign(each),
            procedure=one_line(each.procedure),
            when=_when_words(each),
            words=one_line(each.words),
            path=sheets.get(each.tag),
            simulated=each.simulated,
        )
        for each in wanted
    ]


def _due_sign(each: Due) -> Sign:
    of_reason = {
        "failed": _FAILED, "likely fault": _LIKELY_FAULT, "not finished": _UNFINISHED, "never tested": _NEVER,
    }  # fmt: skip
    return of_reason.get(each.reason, _OVERDUE if each.overdue_days > 0 else _DUE)


def _when_words(each: Due) -> str:
    if each.at_once:
        return "now"
    return f"since {each.on}" if each.overdue_days > 0 else f"by {each.on}"


def _run_row(run: RunEntry) -> ToDoRow:
    torn = "; its last line was cut off: opening it sets the rest aside" if run.torn else ""
    if run.problem:
        # one whose records read can still be opened; one without is only told of
        readable = bool(run.records)
        return ToDoRow(
            what=("assessment" if run.closed else "run") if readable else "damaged",
            tag=run.tag, sign=_DAMAGED, procedure=one_line(run.procedure), when=run.date,
            words=one_line(run.problem), path=run.path, simulated=run.simulated,
        )  # fmt: skip
    if run.closed:
        sign = _of_verdict(run.verdict)
        sign = _LIKELY_FAULT if run.likely_fault and sign in _PASSED.values() else sign
        words, when = f"{outcome_said(run.verdict)}, {by(run.operator)}", run.counts_for or run.date
        words += f"; fault likely: {run.likely_fault}" if run.likely_fault else ""
        words += ", copied from paper" if run.transcribed else ""
    else:
        sign, when = _IN_HAND, day_words(run.last_at)
        count = plural(run.records, "record")
        words = f"{by(run.operator)}, {count}, begun {run.date}{torn}"
    return ToDoRow(
        what="assessment" if run.closed else "run", tag=run.tag, sign=sign,
        procedure=one_line(run.procedure), when=when, words=one_line(words), path=run.path,
        simulated=run.simulated,
    )  # fmt: skip


def latest_run(to_do: Iterable[ToDoRow], tag: str, *, in_hand: bool = False) -> ToDoRow | None:
    """Return the run of a supply that was begun last, of those on the bench; a real one before a rehearsal.

    With `in_hand`, of those that are still open.
    """
    runs = [row for row in to_do if row.tag == tag and row.path is not None and row.what in _RUNS]
    runs = [row for row in runs if row.what == "run" or not in_hand]
    order = sorted(runs, key=lambda row: (not row.simulated, row.path.stem if row.path else ""))
    return order[-1] if order else None


def to_do_words(row: ToDoRow) -> str:
    """Return one thing to go on with in full, and what Enter does."""
    does = {
        "run": "Enter goes on with it",
        "due": "Enter shows the supply; n starts the test" if row.path else "its design sheet is missing",
        "assessment": "Enter shows what it amounts to",
        "damaged": "it cannot be opened; 'ohmward verify' names the line",
    }[row.what]
    mark = "REHEARSAL" if row.simulated else ""
    parts = [mark, row.tag, row.procedure, f"{row.sign.word} {row.when}".strip(), row.words, does]
    return " · ".join(one_line(part) for part in parts if part)


def counted(supplies: Sequence[SupplyRow], to_do: Sequence[ToDoRow]) -> str:
    """Return how many there are of what matters, in one line."""
    in_hand = sum(row.what == "run" and row.sign is _IN_HAND for row in to_do)
    overdue = sum(row.sign is _OVERDUE and not row.simulated for row in to_do)
    parts = ["1 supply" if len(supplies) == 1 else f"{len(supplies)} supplies"]
    parts += [f"{in_hand} in hand"] if in_hand else []
    parts += [f"{overdue} overdue"] if overdue else []
    return " · ".join(parts)


def matches(words: str, cells: Iterable[str]) -> bool:
    """Return whether every word typed is somewhere in a row, capitals or not."""
    row = " ".join(cells).casefold()
    return all(word in row for word in words.casefold().split())


def _short(words: str) -> str:
    return words if len(words) <= WORDS_WIDTH else f"{words[: WORDS_WIDTH - 1]}…"


def _natural(tag: str) -> tuple[tuple[int, int, str], ...]:
    """Return a key by which CR-2 comes before CR-10."""
    parts: list[tuple[int, int, str]] = []
    digits = ""
    for char in (*tag.casefold(), ""):
        if char.isascii() and char.isdigit():
            digits += char
            continue
        if digits:
            parts.append((0, int(digits), ""))
            digits = ""
        parts.append((1, 0, char))
    return tuple(parts)
