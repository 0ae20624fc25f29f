"""All supplies of a logbook, and what is due, as plain text and as data: functions of a result."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

import msgspec

from ohmward.analysis.history_glance import Due, Glance
from ohmward.analysis.outcomes import outcome_said
from ohmward.quantity import show
from ohmward.report.history_text import NOT_PROOF, builtins_of
from ohmward.report.rehearsal import REHEARSAL
from ohmward.report.text import table
from ohmward.text import one_line, plural


def fleet_text(glances: Sequence[Glance], today: date, dues: Sequence[Due]) -> str:
    """Return every supply on one line, the worst margin first; rehearsals apart."""
    by_tag = {(each.tag, each.simulated): each for each in dues}
    blocks = []
    for simulated in (False, True):
        chosen = [each for each in glances if each.simulated is simulated]
        if not chosen:
            continue
        rows = [_fleet_row(each, by_tag.get((each.tag, simulated))) for each in by_margin(chosen)]
        count = "1 supply" if len(rows) == 1 else f"{len(rows)} supplies"
        title = f"{count} on {today.isoformat()}, the worst margin first"
        heads = ["supply", "last run", "verdict", "margin", "of", "ages", "due"]
        made = table(heads, rows, title=title, width=130)
        blocks.append(f"{REHEARSAL}\n\n{made}\n\n{REHEARSAL}" if simulated else made)
    if not blocks:
        return "The logbook holds no run yet."
    return "\n\n".join(
        [*blocks, "Margin: distance of its worst reading from the limit, in per cent of that.", NOT_PROOF]
    )


def by_margin(glances: Sequence[Glance]) -> list[Glance]:
    """Return supplies with the smallest margin first; those of which nothing is known before all."""
    return sorted(
        glances, key=lambda each: (-math.inf if each.margin_pct is None else each.margin_pct, each.tag)
    )


def _fleet_row(each: Glance, due: Due | None) -> tuple[str, ...]:
    margin = "nothing measured" if each.margin_pct is None else f"{each.margin_pct:.0f} %"
    worst = ""
    if each.margin_value is not None and each.margin_limit is not None:
        worst = (
            f"{one_line(each.margin_what)}: {show(each.margin_value, each.margin_unit)}, "
            f"limit {show(each.margin_limit, each.margin_unit)}"
        )
    ages = "; ".join(
        f"{one_line(aged.what)}{f' to {aged.at[:7]}' if aged.at else ''}" for aged in each.ageing
    )
    damaged = f"; {each.damaged} damaged" if each.damaged else ""
    when = "" if due is None else _day_words(due) + (" OVERDUE" if _is_late(due) else "")
    return (
        one_line(each.tag),
        f"{each.last_at[:10]} {one_line(each.last_procedure)}",
        f"{outcome_said(each.last_verdict, likely=bool(each.likely_fault))}{damaged}",
        margin,
        worst,
        ages,
        when,
    )


def fleet_json(glances: Sequence[Glance], dues: Sequence[Due]) -> dict[str, object]:
    """Return every supply at a glance in the shape other programs read."""
    return {
        "supplies": [_named_fields(each) for each in by_margin(glances)],
        "due": [builtins_of(each) for each in dues],
    }


def due_text(dues: Sequence[Due], today: date) -> str:
    """Return what is to be tested when, the most overdue first; rehearsals apart."""
    blocks = []
    for simulated in (False, True):
        rows = [
            (
                one_line(each.tag),
                _day_words(each),
                _time_words(each),
                one_line(each.procedure),
                one_line(each.words),
            )
            for each in dues
            if each.simulated is simulated
        ]
        if rows:
            made = table(
                ["supply", "due", "", "procedure", "why"], rows, title=f"Due, as of {today.isoformat()}"
            )
            blocks.append(f"{REHEARSAL}\n\n{made}\n\n{REHEARSAL}" if simulated else made)
    if not blocks:
        return "The logbook knows no supply yet."
    return "\n\n".join(
        [*blocks, "Intervals are your choice (--interval); local rules may ask for shorter ones."]
    )


def _is_late(due: Due) -> bool:
    return due.overdue_days > 0 and not due.at_once


def _day_words(due: Due) -> str:
    return "now" if due.at_once else due.on


def _time_words(due: Due) -> str:
    if due.at_once:
        return f"since {due.on}"
    if due.overdue_days > 0:
        return f"OVERDUE by {plural(due.overdue_days, 'day')}"
    return "today" if due.overdue_days == 0 else f"in {plural(-due.overdue_days, 'day')}"


def due_json(dues: Sequence[Due], today: date) -> dict[str, object]:
    """Return what is due in the shape other programs read."""
    return {"today": today.isoformat(), "due": [builtins_of(each) for each in dues]}


def _named_fields(each: Glance) -> dict[str, object]:
    """Return a glance by names: in the index it is kept without them."""
    made = msgspec.structs.asdict(each)
    made["ageing"] = [msgspec.structs.asdict(aged) for aged in each.ageing]
    return made
