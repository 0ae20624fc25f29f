"""A supply's history as rows of text and as a picture: functions of what was looked up."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from ohmward.analysis.history_change import told, untold
from ohmward.analysis.history_facts import YEAR_S, PastRun
from ohmward.analysis.history_line import FEWEST
from ohmward.analysis.history_results import Forecast, History
from ohmward.analysis.history_results import Series as Quantity
from ohmward.analysis.history_series import line_of
from ohmward.analysis.outcomes import outcome_said
from ohmward.desk.bench_rows import due_words
from ohmward.desk.history_look import Compared, HistoryLook
from ohmward.desk.picture import MARKS, Picture, Series
from ohmward.quantity import show, unit_of_difference
from ohmward.report.history_text import (
    AT_20_WHY,
    at_20,
    change_cells,
    compared_lines,
    first_words,
    latest_of_soaks,
    named,
    not_ageing,
    reaches_words,
    slope_words,
)
from ohmward.text import one_line, plural, tester

QUANTITY_HEADINGS = ("", "quantity", "trend", "then", "now", "change", "is it one?")
RUN_HEADINGS = ("", "when", "procedure", "verdict", "readings", "by", "")
COMPARED_HEADINGS = ("", "reading", "then", "now", "difference", "is it one?")
ONE_RUN = (
    "One run so far: nothing to compare it with; the next retest will show here. Its readings are below."
)
FARTHEST = 2.0
"""A limit is drawn when it lies no further from the readings than so many times their own span …"""
NEAR = 0.5
"""… or when the readings have come within this share of it."""
AHEAD_SPANS = 1.0
"""A forecast is drawn no further ahead than so many times the years that the readings span."""


def heading(look: HistoryLook) -> str:
    """Return the supply and how many runs of it there are."""
    found = look.found
    title = f"{found.tag}: {found.title}" if found.title else found.tag
    count = plural(len(found.runs), "run")
    years = f"{found.runs[0].at[:4]}–{found.runs[-1].at[:4]}"
    return one_line(f"{title} · {count}, {years if years[:4] != years[-4:] else years[:4]}")


def summary_lines(look: HistoryLook, marked: str = "") -> list[str]:
    """Return what matters most of a history: does it age, when is it due, what it is compared with."""
    found = look.found
    lines = [_ageing_line(each) for each in found.ageing] or [not_ageing(found)]
    lines.append(f"Next: {due_words(look.due)}")
    how = "chosen by t" if found.baseline_named else first_words(found)
    if len(found.runs) == 1:
        lines.append(ONE_RUN)
    elif found.baseline:
        name = found.baseline.rpartition("/")[2]  # its folder is the supply, which the title names
        lines.append(one_line(f"Compared with {name} ({how})"))
    if look.others:
        other, this = ("of the real supply", "REHEARSALS") if found.simulated else ("in rehearsal", "runs")
        count = "1 run" if look.others == 1 else f"{look.others} runs"
        lines.append(f"Shown are {this}; {count} {other} apart from them: r turns there")
    if marked:
        lines.append(one_line(f"Marked to compare: {marked}; c on another run compares the two"))
    return lines


def _ageing_line(each: Quantity) -> str:
    """Return what ages and what it reaches first, on one line; the line below has all of it."""
    last = show(
        each.points[-1].value, each.unit, uncertainty=each.change.uncertainty if each.change else None
    )
    goal = min(each.forecasts, key=lambda one: one.in_years if one.in_years is not None else 1e9)
    span = f" ({goal.low[:7] or 'open'} to {goal.high[:7] or 'open'})" if goal.low or goal.high else ""
    reaches = f"{goal.what} ({show(goal.limit, each.unit)}) {goal.at[:7] or 'in over a century'}{span}"
    return one_line(f"AGES: {named(each)} is {last}; {reaches} if it goes on so")


def quantities(found: History) -> list[Quantity]:
    """Return the quantities of a history, those that say most first; of a soak only its last moment."""
    compared = latest_of_soaks(found.series)
    alone = len(found.runs) == 1
    rest = [each for each in found.series if each.change is None and (alone or len(each.points) > 1)]

    def rank(each: Quantity) -> tuple[bool, bool]:
        changed = each.change is not None and each.change.verdict == "changed" and each.change.worse
        return not each.ageing, not changed

    return sorted((*compared, *rest), key=rank)


def quantity_cells(each: Quantity) -> tuple[str, ...]:
    """Return one quantity for the table."""
    mark, change = _mark(each), each.change
    if change is not None:
        cells = change_cells(change)[1:]
    elif len(each.points) < 2:
        read = show(each.points[0].value, each.unit) if each.points else "–"
        cells = ("–", read, "–", "read once")
    else:
        cells = ("–", "–", "–", "not in both runs")
    return mark, named(each), trend_words(each), *cells


def quantity_style(each: Quantity) -> str:
    """Return the style class of a quantity."""
    return {"✗": "bad", "!": "warn"}.get(_mark(each), "")


def _mark(each: Quantity) -> str:
    if each.ageing:
        return "✗"
    if each.change is not None and each.change.verdict == "changed":
        return "!" if each.change.worse else "↕"
    return "·"


def trend_words(each: Quantity) -> str:
    """Return where a quantity is going, in a few words."""
    trend = each.trend
    if trend is None and not each.points:
        return "only bounds"
    if trend is None:
        return f"{len(each.points)} of {FEWEST} for a trend"
    if not trend.significant:
        return "no trend"
    unit = unit_of_difference(each.unit)
    width = abs(trend.slope_high - trend.slope_low) / 2.0
    verb = "rises" if trend.slope_per_year > 0.0 else "falls"
    words = f"{verb} {show(abs(trend.slope_per_year), unit, uncertainty=width or None)} a year"
    return f"AGES: {words}" if each.ageing else words


def quantity_words(each: Quantity) -> str:
    """Return all that is known of one quantity."""
    change, trend = each.change, each.trend
    parts = [named(each)]
    if change is not None:
        _, then, now, difference, _ = change_cells(change)
        parts += [f"{then} then, {now} now, {difference}: {change.words}", change.how]
    if at_20(each):
        read = each.points[-1].read if each.points else None
        parts.append(AT_20_WHY if read is None else f"read {show(read, each.unit)} last. {AT_20_WHY}")
    if trend is not None:
        sure = "p < 0.001" if trend.p < 0.001 else f"p {trend.p:.3f}"
        parts.append(f"{slope_words(each)}, {sure}" if trend.significant else f"no trend to be seen ({sure})")
    parts += [f"reaches {reaches_words(one, each)}" for one in each.forecasts if one.supported]
    return " · ".join(one_line(part) for part in parts if part)


def run_cells(look: HistoryLook, run: PastRun, marked: str) -> tuple[str, ...]:
    """Return one run for the table."""
    found = look.found
    line = next(each for each in found.runs if each.run == run.run)
    verdict = outcome_said(line.verdict, likely=bool(line.likely_fault))
    broken = {each.run: f"BREAK: {each.why}" if each.whole else each.why for each in found.breaks}
    mark = "✗" if run.problem or "fail" in run.verdict else "▸" if not run.closed else "✓"
    remarks = [
        "marked" if run.run == marked else "",
        "baseline" if run.run == found.baseline else "",
        broken.get(run.run, ""),
        "copied from paper" if run.transcribed else "",
        f"NOT READ: {run.problem}" if run.problem else "",
    ]
    return (
        mark, run.at[:10], run.procedure or "–", verdict or "–", str(line.readings),
        tester(run.operator), "; ".join(each for each in remarks if each),
    )  # fmt: skip


def run_words(run: PastRun) -> str:
    """Return one run in full, and what can be done with it."""
    mark = "REHEARSAL" if run.simulated else ""
    does = "Enter shows what it amounts to; c marks it to compare; t compares everything with it"
    if run.problem:
        does = "nothing of it is used here; 'ohmward verify' names the line"
    parts = [mark, run.run, *(f"repaired: {what}" for _, what in run.repairs), run.problem, does]
    return " · ".join(one_line(part) for part in parts if part)


def compared_words(both: Compared) -> list[str]:
    """Return what is to be said of two runs: which, how they differ, what has changed."""
    lines = list(compared_lines(both.now, both.then, both.changes, both.differs))
    changed = list(told(both.changes))
    more = [f"and {len(changed) - 2} more"] if len(changed) > 2 else []
    return [*lines, *changed[:2], *more, *([untold(both.changes)] if untold(both.changes) else [])]


def compared_cells(both: Compared) -> list[tuple[str, ...]]:
    """Return the readings of two runs, what has changed first."""
    order = {"changed": 0, "not comparable": 2}
    found = sorted(both.changes, key=lambda each: (order.get(each.verdict, 1), not each.worse))
    rows = []
    for each in found:
        mark = ("!" if each.worse else "↕") if each.verdict == "changed" else "·"
        name, *rest = change_cells(each)
        rows.append((mark, name, *rest))
    return rows


def picture_of(each: Quantity) -> Picture | None:
    """Return a quantity over the years with its line, the limit, and where the line meets it.

    None with fewer than two readings.
    """
    if len(each.points) < 2:
        return None
    start = _year(each.points[0].at) - each.points[0].years
    scale, unit = _scale(each)
    years = [start + point.years for point in each.points]
    goals = _near_goals(each, years[-1] - years[0])
    end = max((_year(goal.at) for goal in goals), default=years[-1])
    end = max(years[-1], min(end, years[-1] + AHEAD_SPANS * (years[-1] - years[0])))
    values = [scale * point.value for point in each.points]
    levels = [scale * goal.limit for goal in goals]
    last = each.points[-1]
    sides = (last.limit_low, last.limit_high)
    levels += [scale * limit for limit in sides if limit is not None and _near(scale * limit, values)]
    return Picture(
        x_title="year",
        y_title=f"{named(each)} [{unit}]" if unit else named(each),
        read=tuple(_by_meter(each, years, values)),
        band=_band(each, start, end, scale),
        limits=tuple(dict.fromkeys(levels)),
        x_span=(years[0] - 0.2, end + 0.2),
        forecast=_trend_line(each, start, (years[0], end), scale),
        x_points=_whole_years(years[0], end),
    )  # fmt: skip


def caption_of(each: Quantity, picture: Picture) -> str:
    """Return what is drawn, in words."""
    names = dict.fromkeys(line.name for line in picture.read)
    parts = [f"{mark} {name}" for mark, name in zip(MARKS, names, strict=False)]
    parts += ["sloping lines: trend, and where it is known to be (90 %)"] if picture.forecast else []
    parts += ["level line: limit, or end of life"] if picture.limits else []
    last = each.points[-1]
    away = [limit for limit in (last.limit_low, last.limit_high) if limit is not None]
    if away and not picture.limits:
        parts.append(f"its limit of {' and '.join(show(limit, each.unit) for limit in away)} is far off")
    how = next((point.how for point in reversed(each.points) if point.how), "")
    return one_line(f"{picture.y_title}{f', {how}' if how else ''}: {'; '.join(parts)}")


def _by_meter(each: Quantity, years: Sequence[float], values: Sequence[float]) -> list[Series]:
    meters = list(dict.fromkeys(point.meter for point in each.points))
    kept, found = meters[: len(MARKS) - 1], []
    for name in (*kept, *(["other meters"] if len(meters) > len(kept) else [])):
        mine = [
            n for n, point in enumerate(each.points)
            if point.meter == name or (name == "other meters" and point.meter not in kept)
        ]  # fmt: skip
        found.append(
            Series(
                name=f"read with {name}" if name else "read with a meter not named",
                x=tuple(years[n] for n in mine), y=tuple(values[n] for n in mine), joined=False,
            )
        )  # fmt: skip
    return found


def _trend_line(each: Quantity, start: float, ends: tuple[float, float], scale: float) -> tuple[Series, ...]:
    if each.trend is None:
        return ()
    y = tuple(scale * (each.trend.intercept + each.trend.slope_per_year * (x - start)) for x in ends)
    return (Series(name="trend", x=ends, y=y, marks=False),)


def _band(each: Quantity, start: float, end: float, scale: float) -> tuple[Series, ...]:
    """Return where the line is known to be: two lines; none where no line is drawn."""
    line = line_of(each)
    if line is None or each.trend is None:
        return ()
    first = each.points[0].years
    x = [first + (end - start - first) * n / 24 for n in range(25)]
    factor = line.factor(line.contrast(0.0, 0.0)[0])
    middle = [float(line.sen.predict(at)) for at in x]
    half = [factor * line.uncertainty(at) for at in x]
    return tuple(
        Series(
            name="90 %", x=tuple(start + at for at in x), marks=False,
            y=tuple(scale * (m + sign * h) for m, h in zip(middle, half, strict=True)),
        )
        for sign in (-1.0, 1.0)
    )  # fmt: skip


def _whole_years(first: float, last: float) -> tuple[float, ...]:
    return tuple(float(year) for year in range(int(first) + 1, int(last) + 1)) or (first, last)


def _near_goals(each: Quantity, span: float) -> list[Forecast]:
    """Return the limits that the line is on its way to and that are not too far off to draw."""
    return [
        goal
        for goal in each.forecasts
        if goal.supported and goal.at and (goal.in_years or 0.0) <= FARTHEST * max(span, 1.0)
    ]


def _near(limit: float, values: Sequence[float]) -> bool:
    low, high = min(values), max(values)
    far = max(low - limit, limit - high, 0.0)
    return far <= FARTHEST * (high - low) or far <= NEAR * abs(limit)


def _scale(each: Quantity) -> tuple[float, str]:
    """Return factor and unit in which a quantity is drawn: those in which its largest reading is written."""
    if each.unit in {"", "%", "°C"}:
        return 1.0, each.unit
    from ohmward.report.plots.style import scale_of

    return scale_of(max(abs(point.value) for point in each.points), each.unit)


def _year(at: str) -> float:
    """Return an ISO date as a year with its fraction."""
    day = date.fromisoformat(at[:10])
    first = datetime(day.year, 1, 1)  # noqa: DTZ001 a difference of days of one year
    return day.year + (datetime(day.year, day.month, day.day) - first).total_seconds() / YEAR_S  # noqa: DTZ001
