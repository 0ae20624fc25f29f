"""The history of a supply: every comparable reading over its runs, what has changed, and where it is going.

A run after a repair, or on a changed design sheet, is a break: what was measured before it was another
supply, and trends do not go across unless asked. Fields of the sheet that bear on few readings (`_LITTLE`)
break these only. Rehearsals are never mixed with runs of a real supply.

What makes a supply ageing is said in `history_series`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import msgspec

from ohmward.analysis import history_capacitor as capacitor
from ohmward.analysis.history_change import Change, change
from ohmward.analysis.history_facts import PastReading, PastRun, Taken
from ohmward.analysis.history_results import Break, History, Point, RunLine, Series
from ohmward.analysis.history_scaling import design_of, scaled
from ohmward.analysis.history_series import point_of, with_trend
from ohmward.physics.ageing import DEFAULT_END, EndOfLife
from ohmward.physics.ageing import end_of_life as end_of_life_by
from ohmward.supply.model import Supply

Key = tuple[str, str]

STEADY_BY_NATURE = frozenset({"case_v", "earth_a", "leakage_a", "mains_a"})
"""Quantities that no forecast is made of: they follow the mains and the day more than the supply."""


def history(
    runs: Sequence[PastRun],
    *,
    baseline: str = "",
    across: bool = False,
    end_of_life: str = DEFAULT_END,
    rated_life_h: float | None = None,
    quick: bool = False,
) -> History:
    """Return the history of one supply.

    Parameters
    ----------
    runs : sequence of PastRun
        Of one tag, in any order; damaged ones are listed and not used.
    baseline : str
        Name of the run to compare with; the first good one since the last break when empty. One before
        a break lets trends go across it.
    across : bool
        Let trends go across repairs and changes of the sheet.
    end_of_life : str
        What counts as the end of a reservoir's life: a name of `physics.ageing.END_OF_LIFE`.
    rated_life_h : float, optional
        Life the reservoirs' maker states at their highest temperature [h]; None leaves the 10 K rule out.
    quick : bool
        Draw no line where readings in order of time show no trend: enough to see what ages.

    Raises
    ------
    ValueError
        When no run is given, or the baseline or the end of life is not known.
    """
    if not runs:
        raise ValueError("a history needs a run")
    end = end_of_life_by(end_of_life)
    ordered = sorted(runs, key=lambda run: (run.when, run.run))
    real = [run for run in ordered if not run.simulated]
    kept = real or ordered
    usable = [run for run in kept if not run.problem]
    breaks = tuple(_breaks(usable))
    segment = usable if across else _since_break(usable, breaks)
    base = _baseline(segment, usable, baseline)
    if base is not None and base not in segment:  # one before the last break was named: that is asking
        segment, across = usable, True
    series: tuple[Series, ...] = ()
    if base is not None and segment:
        inside = [run for run in segment if run.when >= base.when]
        series = (
            *_capacitances(inside, base, end, quick),
            *_all_series(inside, base, () if across else breaks, quick),
        )
    return History(
        tag=ordered[-1].tag,
        title=_title(kept),
        simulated=not real,
        runs=tuple(_run_line(run) for run in kept),
        rehearsals=0 if not real else len(ordered) - len(real),
        breaks=breaks,
        across=across,
        baseline=base.run if base else "",
        baseline_named=bool(baseline),
        series=series,
        lives=tuple(_lives(segment, rated_life_h)),
        end_of_life=str(end),
    )


def baseline_run(runs: Sequence[PastRun]) -> PastRun | None:
    """Return the run that a new one of this supply is compared with: the first good one since the last break.

    Takes sound runs, all of them rehearsals or none; None where none has a reading.
    """
    ordered = sorted(runs, key=lambda run: (run.when, run.run))
    breaks = tuple(_breaks(ordered))
    return _baseline(_since_break(ordered, breaks), ordered, "")


def _since_break(runs: Sequence[PastRun], breaks: Sequence[Break]) -> Sequence[PastRun]:
    whole = [each for each in breaks if each.whole]
    return runs[_place(runs, whole[-1].run) :] if whole else runs


def _place(runs: Sequence[PastRun], name: str) -> int:
    return next(index for index, run in enumerate(runs) if run.run == name)


def _title(runs: Sequence[PastRun]) -> str:
    for run in reversed(runs):
        if run.sheet and not run.problem:
            return design_of(run.sheet).title
    return ""


def _run_line(run: PastRun) -> RunLine:
    return RunLine(
        run=run.run,
        at=run.at,
        procedure=run.procedure,
        verdict=run.verdict if run.closed else "not closed",
        operator=run.operator,
        readings=len(run.readings),
        likely_fault=run.likely_fault,
        transcribed=run.transcribed,
        repairs=tuple(what for _, what in run.repairs),
        problem=run.problem,
    )


def _breaks(runs: Sequence[PastRun]) -> Iterator[Break]:
    """Yield where the supply became another one: mended, or built otherwise."""
    for before, run in pairwise(runs):
        why = [f"repaired: {what}" for _, what in run.repairs]
        changed = sheet_changes(before.sheet, run.sheet)
        if changed:
            why.append(f"design sheet changed: {', '.join(changed)}")
        if why:
            whole = bool(run.repairs) or not all(map(_little, changed))
            yield Break(run=run.run, at=run.at, why="; ".join(why), fields=changed, whole=whole)


_LITTLE = {
    ".reservoir.bleeder_ohm": "Ω",
    ".reservoir.bleeder_rating_w": "",
    ".heatsink.": "°C",
    ".targets.": "",
}
"""Fields of a rail that bear on few of its readings, and the unit of these: a bleeder takes some milliampere,
what it may burn changes no reading, and a target is no part of the supply."""


def _little(field: str) -> bool:
    return field.startswith("rails.") and any(part in field for part in _LITTLE)


def _bears_on(field: str, reading: PastReading) -> bool:
    """Return whether a changed field of those that bear on little bears on a reading."""
    if not field.startswith(f"rails.{reading.rail}."):
        return False
    return any(part in field and unit == reading.unit for part, unit in _LITTLE.items())


def sheet_changes(before: str, after: str) -> tuple[str, ...]:
    """Return the fields of the design that differ between two sheets; words and names are no design."""
    if before == after:
        return ()
    one, other = (_flat(msgspec.to_builtins(design_of(text))) for text in (before, after))
    names = [name for name in {**one, **other} if one.get(name) != other.get(name)]
    return tuple(name for name in names if name not in {"title", "note", "parts", "tag", "format", "serial"})


def _flat(value: object, name: str = "") -> dict[str, object]:
    if isinstance(value, dict):
        pairs = value.items()
    elif isinstance(value, list | tuple) and value and isinstance(value[0], dict):
        pairs = {str(each.get("name", index)): each for index, each in enumerate(value)}.items()
    else:
        return {name: value}
    return {
        key: each for part, inner in pairs for key, each in _flat(inner, f"{name}.{part}".strip(".")).items()
    }


def _baseline(segment: Sequence[PastRun], usable: Sequence[PastRun], named: str) -> PastRun | None:
    if named:
        for run in usable:
            if named in {run.run, run.run.partition("/")[2]}:
                return run
        raise ValueError(f"no run '{named}' in this history")
    measured = [run for run in segment if run.readings]
    return next((run for run in measured if run.good), measured[0] if measured else None)


def _all_series(
    runs: Sequence[PastRun], base: PastRun, breaks: Sequence[Break], quick: bool
) -> Iterator[Series]:
    """Yield the series of every reading that the latest run or the baseline has, in order of the latest."""
    places: dict[Key, list[tuple[PastRun, PastReading]]] = {}
    for run in (*reversed(runs), base):
        places.update({reading.key: [] for reading in run.readings if reading.key not in places})
    for run in runs:
        for reading in run.readings:
            places[reading.key].append((run, reading))
    for whole in places.values():
        found = _unbroken(whole, runs, breaks)
        first = next((pair for pair in found if pair[0].run == base.run), None)
        if first is None and found and len(found) < len(whole):
            first = found[
                0
            ]  # the sheet broke it since: what came first after that is what it is compared with
        made = _series(found, first, base, quick)
        if made is not None:
            yield made


def _unbroken(
    found: Sequence[tuple[PastRun, PastReading]], runs: Sequence[PastRun], breaks: Sequence[Break]
) -> Sequence[tuple[PastRun, PastReading]]:
    """Return the readings of one series since the sheet was last changed in what bears on it."""
    names = [run.run for run in runs]
    for each in reversed(breaks):
        touched = not each.whole and any(_bears_on(field, found[-1][1]) for field in each.fields)
        if touched and each.run in names:
            since = set(names[names.index(each.run) :])
            return [pair for pair in found if pair[0].run in since]
    return found


def _series(
    found: Sequence[tuple[PastRun, PastReading]],
    first: tuple[PastRun, PastReading] | None,
    base: PastRun,
    quick: bool,
) -> Series | None:
    if not found:
        return None
    last_run, last = found[-1]
    supply = design_of(last_run.sheet)
    points, bounded = [], []
    for run, reading in found:
        if (reading.unit, reading.quantity) != (last.unit, last.quantity):
            continue
        if reading.kind == "exact" and reading.net is not None:
            points.append(point_of(run, reading, scaled(reading, run, design_of(run.sheet)), base))
        else:
            bounded.append((run.run, _bound_words(reading)))
    moved: Change | None = None
    if first is not None and last_run.run != first[0].run:
        start, then = first
        moved = change(
            Taken(last, last_run, supply), Taken(then, start, design_of(start.sheet)), in_words=not quick
        )
    made = Series(
        step=last.step,
        subject=last.subject,
        title=last.title,
        quantity=last.quantity,
        unit=last.unit,
        rail=last.rail,
        severity=last.severity,
        points=tuple(points),
        bounded=tuple(bounded),
        change=moved,
    )
    # ripple is forecast as what it tells of: linear in time is the capacitance, not its inverse
    forecast = last.quantity not in STEADY_BY_NATURE and capacitor.tells_capacitance(last, supply) is None
    return with_trend(made, (), forecast=forecast, quick=quick)


def _bound_words(reading: PastReading) -> str:
    from ohmward.quantity import show

    sign = {"above": "> ", "below": "< "}.get(reading.kind, "above ")
    return "overload" if reading.net is None else f"{sign}{show(reading.net, reading.unit)}"


def _capacitances(runs: Sequence[PastRun], base: PastRun, end: EndOfLife, quick: bool) -> Iterator[Series]:
    """Yield, for each rail whose ripple tells it, the capacitance left over the years."""
    supply = design_of(base.sheet)
    for rail in supply.rails:
        chosen = _ripple_key(rail.name, runs, base, supply)
        then = None if chosen is None else base.reading(chosen)
        if chosen is None or then is None:
            continue
        limit = _ripple_limit(then, runs[-1], supply)
        points = []
        for run in runs:
            reading, own = run.reading(chosen), design_of(run.sheet)
            made = None
            if reading is not None and rail.name not in run.half_missing:
                now = Taken(reading, run, own)
                made = capacitor.left(now, Taken(then, base, supply), ripple_limit=limit)
            if reading is not None and made is not None:
                points.append(point_of(run, reading, made, base))
        if len(points) < 2:
            continue
        series = Series(
            step="capacitance",
            subject=rail.name,
            title="Reservoir capacitance left",
            quantity="capacitance_left",
            unit="%",
            rail=rail.name,
            severity="fault",
            points=tuple(points),
            change=_capacitance_change(runs, chosen, points, base),
        )
        goals = ((1.0 - end.capacitance_loss, "the end of its life"),)
        yield with_trend(series, goals, forecast=True, quick=quick)


def _ripple_key(rail: str, runs: Sequence[PastRun], base: PastRun, supply: Supply) -> Key | None:
    """Return the cold ripple reading of a rail that most runs have, at the highest load of those."""
    candidates = [
        reading
        for reading in base.readings
        if reading.rail == rail
        and not reading.step.startswith("hot-")
        and capacitor.tells_capacitance(reading, supply) is not None
    ]

    def rank(reading: PastReading) -> tuple[int, float, bool]:
        count = sum(run.reading(reading.key) is not None for run in runs)
        return count, reading.load_a or 0.0, reading.quantity.startswith("reservoir")

    return max(candidates, key=rank).key if candidates else None


def _ripple_limit(chosen: PastReading, last: PastRun, supply: Supply) -> float | None:
    """Return the limit on the ripple that tells a capacitance; that of the output where it is the same."""
    for each in (chosen, *last.readings):
        same = (each.rail, each.subject) == (chosen.rail, chosen.subject) and "ripple" in each.quantity
        told = capacitor.tells_capacitance(each, supply) is not None
        if (
            same
            and told
            and each.limit_high is not None
            and each.step.startswith(chosen.step.partition(".")[0])
        ):
            return each.limit_high
    return None


def _capacitance_change(
    runs: Sequence[PastRun], key: Key, points: Sequence[Point], base: PastRun
) -> Change | None:
    """Return the change of capacitance: that of the ripple, said in per cent left."""
    from ohmward.analysis.history_change import capacitance_change

    last = next(run for run in reversed(runs) if run.run == points[-1].run)
    now, then = last.reading(key), base.reading(key)
    if last.run == base.run or now is None or then is None:
        return None
    return capacitance_change(points[0], points[-1], now, then, (last.run, base.run))


def _lives(runs: Sequence[PastRun], rated_h: float | None) -> Iterator[capacitor.ReservoirLife]:
    if rated_h is None:
        return
    for run in reversed(runs):
        supply = design_of(run.sheet)
        found = [capacitor.reservoir_life(run, supply, rail, rated_h=rated_h) for rail in supply.rails]
        if any(found):
            yield from (each for each in found if each is not None)
            return
