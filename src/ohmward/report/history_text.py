"""Histories as plain text and as data for other programs: functions of a result."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from ohmward.analysis.history_change import COVERAGE, Change, plus_minus, told, untold
from ohmward.analysis.history_facts import PastRun
from ohmward.analysis.history_line import FEWEST
from ohmward.analysis.history_results import Break, Forecast, History, Series
from ohmward.analysis.outcomes import outcome_said
from ohmward.quantity import show, unit_of_difference
from ohmward.report.rehearsal import REHEARSAL
from ohmward.report.text import CAUTIONS, table
from ohmward.text import one_line, tester

NOT_PROOF = (
    "What is said here comes from the journals as they are; 'ohmward verify' says whether they are whole."
)
ASSUMED = (
    "± is U (k = 2) of the difference: the accuracy of both meters together, or, where one meter took both "
    "and was not calibrated in between, with half of its error taken as the same at both dates."
)

AT_20 = "at 20 °C"
AT_20_WHY = (
    "Readings 'at 20 °C' are brought to that from the room they were read in, so that a warm and a cold day "
    "compare: copper rises 0.4 % a kelvin, insulation halves each 10 K. Each run keeps what was read."
)


def history_text(found: History) -> str:
    """Return the history of one supply."""
    first, last = found.runs[0].at[:10], found.runs[-1].at[:10]
    head = f"{one_line(found.tag)}: {one_line(found.title)}" if found.title else one_line(found.tag)
    blocks = [REHEARSAL if found.simulated else "", head, _counted(found, first, last)]
    ages = [ageing_words(each) for each in found.ageing]
    blocks.append("\n".join(ages) if ages else not_ageing(found))
    compared = [each.change for each in latest_of_soaks(found.series) if each.change is not None]
    blocks += ["\n".join(told(tuple(each for each in compared if each.whatever))), untold(compared)]
    blocks.append(_lives(found))
    blocks.append(_runs(found))
    blocks.append(_readings(found))
    blocks.append(_once(found))
    blocks += [AT_20_WHY if any(at_20(each) for each in found.series if each.change) else ""]
    blocks += [ASSUMED, NOT_PROOF, CAUTIONS, REHEARSAL if found.simulated else ""]
    return "\n\n".join(block for block in blocks if block)


def first_words(found: History) -> str:
    """Return what the baseline is, where nobody named one: a run that did not pass is not called good."""
    verdict = next((run.verdict for run in found.runs if run.run == found.baseline), "")
    since = " since the last break" if found.broken and not found.across else ""
    if verdict in {"pass", "conditional pass"}:
        return f"first good run{since}"
    return f"first run{since}, not passed"


def _counted(found: History, first: str, last: str) -> str:
    count = len(found.runs)
    lines = [f"{count} runs, {first} to {last}" if count > 1 else f"one run, {first}"]
    if found.rehearsals:
        lines.append(f"{found.rehearsals} rehearsals of it are left out: they say nothing of the real supply")
    if found.baseline:
        how = "as named" if found.baseline_named else first_words(found)
        lines.append(f"compared with {one_line(found.baseline)} ({how})")
    lines += [_break_words(each, across=found.across) for each in found.breaks]
    return "\n".join(lines)


def _break_words(each: Break, *, across: bool) -> str:
    if not each.whole:
        kept = "" if across else "; only what that bears on is not compared with what came before"
        return f"at {each.at[:10]}: {one_line(each.why)}{kept}"
    cut = "" if across else "; what was measured before is not compared with what came after"
    return f"break at {each.at[:10]}: {one_line(each.why)}{cut}"


def not_ageing(found: History) -> str:
    """Return why nothing ages, as far as can be told."""
    if max((len(each.points) for each in found.series), default=0) < FEWEST:
        return f"Too few runs to speak of a trend: it takes {FEWEST} readings of one thing."
    return "Nothing here says that it ages."


def ageing_words(series: Series) -> str:
    """Return what of a supply ages and when it reaches what; of a series that says it does."""
    change, trend = series.change, series.trend
    assert change is not None
    assert trend is not None
    where = named(series)
    lines = [f"Ages: {where}: {_change_words(change)}; {slope_words(series)}."]
    lines += [f"  It reaches {reaches_words(each, series)}." for each in series.forecasts if each.supported]
    return "\n".join(lines)


def reaches_words(each: Forecast, series: Series) -> str:
    """Return what is reached when, with its interval."""
    interval = _interval(each)
    when = each.at or "more than a century from now"
    if each.in_years is not None and each.in_years <= 0.0:
        when = f"{each.at}, which is past"
    return f"{each.what} ({show(each.limit, series.unit)}) on {when}, if it goes on so{interval}"


def _interval(each: Forecast) -> str:
    if not each.low and not each.high:
        return ""
    return f" (90 %: {each.low or 'open'} to {each.high or 'open'})"


def slope_words(series: Series) -> str:
    """Return the slope of a series with its interval; empty without a line."""
    trend = series.trend
    if trend is None:
        return ""
    low, high = sorted((trend.slope_low, trend.slope_high))
    width = (high - low) / 2.0
    plus = "+" if trend.slope_per_year > 0 else ""
    value = show(trend.slope_per_year, series.unit, uncertainty=width or None)
    ends = f"{_plain(low, series.unit, width)} to {_plain(high, series.unit, width)}"
    return f"{plus}{value} a year (90 %: {ends})"


def _plain(value: float, unit: str, width: float) -> str:
    return show(value, unit, uncertainty=width or None)


def named(series: Series | Change) -> str:
    """Return what a reading is called, on one line, and that it is given at 20 °C where it is."""
    title = one_line(series.title)
    name = f"{title} ({one_line(series.subject)})" if series.subject else title
    return f"A{AT_20[1:]}: {name}" if at_20(series) else name  # first, where no narrow column cuts it off


def at_20(series: Series | Change) -> bool:
    """Return whether a reading is not given as it was read, but as it would be at 20 °C."""
    how = series.how if isinstance(series, Change) else series.points[-1].how if series.points else ""
    return how.startswith(AT_20)


def _change_words(change: Change) -> str:
    then = _value(change.then, change)
    now = _value(change.now, change)
    allowed = "" if change.uncertainty is None else f", {plus_minus(change.uncertainty, change.unit)}"
    return f"{then} then, {now} now{allowed}"


def _value(value: float | None, change: Change) -> str:
    return "–" if value is None else _shown(value, change.unit, change.uncertainty)


def _shown(value: float, unit: str, uncertainty: float | None) -> str:
    if uncertainty is None and unit == "%":
        return show(value, unit, decimals=1)
    return show(value, unit, uncertainty=uncertainty)


def _lives(found: History) -> str:
    lines = []
    for life in found.lives:
        lines.append(
            f"Reservoir of rail {one_line(life.rail)} by the 10 K rule: {_hours(life.hours)} of running from "
            f"new, at {show(life.temperature_c, '°C', decimals=0)} ({one_line(life.where)}, hottest room), "
            f"rated {_hours(life.rated_h)} at {show(life.rated_c, '°C')}."
        )
        lines += [f"  {one_line(note)}." for note in life.notes]
    if any(each.quantity == "capacitance_left" for each in found.series):
        lines.append(f"End of a reservoir's life is taken as {one_line(found.end_of_life)}.")
    return "\n".join(lines)


def _hours(hours: float) -> str:
    return f"{hours:,.0f} h".replace(",", " ") + (
        f" ({hours / 8760:.1f} years day and night)" if hours > 8760 else ""
    )


def _runs(found: History) -> str:
    breaks = {each.run: "BREAK" if each.whole else "sheet changed" for each in found.breaks}
    rows = [
        (
            run.at[:10],
            run.procedure or "–",
            outcome_said(run.verdict, likely=bool(run.likely_fault)) or "–",
            str(run.readings),
            tester(run.operator),
            "; ".join(
                part
                for part in (
                    breaks.get(run.run, ""),
                    "baseline" if run.run == found.baseline else "",
                    "copied from paper" if run.transcribed else "",
                    *(f"repaired: {one_line(each)}" for each in run.repairs),
                    f"NOT READ: {one_line(run.problem)}" if run.problem else "",
                )
                if part
            ),
        )
        for run in found.runs
    ]
    return table(["when", "procedure", "verdict", "readings", "by", ""], rows, title="Runs")


def _readings(found: History) -> str:
    rows = [
        (*change_cells(change), _year(series), _when(series), change.how)
        for series in latest_of_soaks(found.series)
        if (change := series.change) is not None
    ]
    if not rows:
        return ""
    heads = ["reading", "then", "now", "change", "is it one?", "a year", "reaches a limit", "scaled"]
    return table(heads, rows, title="Readings, then and now", width=150)


def change_cells(change: Change) -> tuple[str, str, str, str, str]:
    """Return one reading then and now: its name, both values, the difference, and whether it is one."""
    return named(change), _then(change), _now(change), _difference(change), _verdict(change)


def latest_of_soaks(found: Sequence[Series]) -> list[Series]:
    """Return the series without the earlier moments of a soak; all of them are in the data."""
    compared = [each for each in found if each.change is not None]
    last = {_sensor(each): each for each in compared}
    return [each for each in compared if last[_sensor(each)] is each]


def _sensor(series: Series) -> tuple[str, str]:
    soaked = series.subject.endswith((" min", " s")) and " @ " in series.subject
    return series.step, series.subject.partition(" @ ")[0] if soaked else series.subject


_SIGNS = {"above": "> ", "below": "< "}


def _then(change: Change) -> str:
    if change.then_kind == "overload":
        return "overload"
    return _SIGNS.get(change.then_kind, "") + _value(change.then, change)


def _now(change: Change) -> str:
    if change.now_kind == "overload":
        return "overload"
    return _SIGNS.get(change.now_kind, "") + _value(change.now, change)


def _difference(change: Change) -> str:
    if change.difference is None:
        return "–"
    sign = "+" if change.difference > 0 else ""
    unit = unit_of_difference(change.unit)
    spread = "" if change.uncertainty is None else plus_minus(change.uncertainty, unit).removeprefix("±")
    allowed = f" ± {spread}" if spread else ""
    return f"{sign}{_shown(change.difference, unit, change.uncertainty)}{allowed}"


def _verdict(change: Change) -> str:
    words = {
        "changed": "CHANGED, worse" if change.worse else "changed, better" if change.better else "changed",
        "within the meters": "no",
        "not told": "not told",
        "not comparable": "not comparable",
    }[change.verdict]
    return f"{words}: {change.words}" if change.verdict == "not comparable" else words


def _year(series: Series) -> str:
    trend = series.trend
    if trend is None:
        return ""
    if not trend.significant:
        return f"no trend (p {trend.p:.2f})"
    width = abs(trend.slope_high - trend.slope_low) / 2.0
    sign = "+" if trend.slope_per_year > 0 else ""
    p = f"p {trend.p:.3f}" if trend.p >= 0.001 else "p < 0.001"
    unit = unit_of_difference(series.unit)
    return f"{sign}{show(trend.slope_per_year, unit, uncertainty=width or None)} ({p})"


def _when(series: Series) -> str:
    told_ones = [each for each in series.forecasts if each.supported and each.at]
    return "; ".join(f"{each.at[:7]}{_short(each)}" for each in told_ones)


def _short(each: Forecast) -> str:
    return f" ({each.low[:7] or 'open'} to {each.high[:7] or 'open'})" if each.low or each.high else ""


def _once(found: History) -> str:
    alone = sum(series.change is None for series in found.series)
    return (
        f"{alone} more readings were taken in only one of these runs."
        if alone and len(found.runs) > 1
        else ""
    )


def history_json(found: History) -> dict[str, object]:
    """Return a history in the shape other programs read; SI base units, capacitance left in per cent."""
    return builtins_of(found)


def comparison_text(now: PastRun, then: PastRun, found: Sequence[Change], differs: Sequence[str]) -> str:
    """Return what two runs have in common, reading by reading."""
    simulated = now.simulated or then.simulated
    head = f"{one_line(now.run)} against {one_line(then.run)}"
    lines = [head, *compared_lines(now, then, found, differs)]
    words = list(told(tuple(found)))
    rows = [(*change_cells(each), each.how) for each in found]
    heads = ["reading", then.at[:10], now.at[:10], "difference", "is it one?", "scaled"]
    blocks = [
        REHEARSAL if simulated else "",
        "\n".join(lines),
        "\n".join(words),
        untold(found) or ("" if words else "Nothing differs by more than the meters would."),
        table(heads, rows, title="Readings", width=140) if rows else "",
        AT_20_WHY if any(map(at_20, found)) else "",
        ASSUMED,
        NOT_PROOF,
        REHEARSAL if simulated else "",
    ]
    return "\n\n".join(block for block in blocks if block)


def compared_lines(
    now: PastRun, then: PastRun, found: Sequence[Change], differs: Sequence[str]
) -> Iterator[str]:
    """Yield what can be said of two runs before any reading is looked at."""
    if now.simulated != then.simulated:
        yield "One of the two is a REHEARSAL: it says nothing of a real supply."
    for run in (then, now):
        verdict = outcome_said(run.verdict if run.closed else "not closed", likely=bool(run.likely_fault))
        yield f"{run.at[:10]}  {one_line(run.tag)}, {one_line(run.procedure)}: {verdict}"
    if differs:
        yield f"Their design sheets differ in {', '.join(map(one_line, differs))}."
    elif now.tag != then.tag:
        yield "Two supplies built to one sheet."
    counts = {word: sum(each.verdict == word for each in found) for word in ("changed", "within the meters")}
    yield (
        f"{len(found)} readings in both: {counts['changed']} differ by more than the meters would, "
        f"{counts['within the meters']} do not, {len(found) - sum(counts.values())} cannot be told."
    )


def compared_text(found: Sequence[Change]) -> str:
    """Return the readings of a run beside those of the run that it carries along; empty without one."""
    rows = [change_cells(each) for each in found]
    if not rows:
        return ""
    heads = ["reading", "then", "now", "change", "is it one?"]
    return table(heads, rows, title=f"Then ({one_line(found[0].then_run)}) and now")


def comparison_json(
    now: PastRun, then: PastRun, found: Sequence[Change], differs: Sequence[str]
) -> dict[str, object]:
    """Return a comparison in the shape other programs read."""
    return {
        "now": now.run,
        "then": then.run,
        "now_at": now.at,
        "then_at": then.at,
        "simulated": now.simulated or then.simulated,
        "sheets_differ_in": list(differs),
        "coverage": COVERAGE,
        "changes": [builtins_of(each) for each in found],
        "summary": [*told(tuple(found)), *([untold(found)] if untold(found) else [])],
    }


def builtins_of(value: object) -> dict[str, object]:
    """Return a result as plain dictionaries and lists."""
    made = msgspec.to_builtins(value)
    assert isinstance(made, dict)
    return made
