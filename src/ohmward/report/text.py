"""Results as plain text for a terminal or a pipe: functions of a result, they return and never print."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from ohmward.analysis.cause_words import WORTH_SAYING, chance_of, left_out_words, with_alike
from ohmward.analysis.decision import reading_verdict_said
from ohmward.analysis.rails import RailResult
from ohmward.analysis.rows import Assessment, CheckRow, ReadingRow
from ohmward.analysis.summary import outcome_word
from ohmward.analysis.wording import GONE_ON, band_words
from ohmward.logbook import Verification
from ohmward.physics.expectation import ALL_HOT, Band, Expectation, LoadedPoint, RailExpectation
from ohmward.procedure import LimitSet, resolve
from ohmward.quantity import show, show_band, show_centre
from ohmward.report.rehearsal import REHEARSAL
from ohmward.supply import Finding
from ohmward.supply import table as sheet_table
from ohmward.supply.model import Supply
from ohmward.text import PAGE, one_line, plural, visible

CAUTIONS = (
    "Mains voltage and charged reservoirs can kill or burn. Work to your local code; where it asks for a "
    "licensed person, have one. If in doubt, leave it unplugged."
)

# Key, heading, unit of the columns of the loaded table.
GAP = 3
"""Columns of blank between two of a table."""
_LOADED_COLUMNS = (
    ("output_v", "output", "V"),
    ("reservoir_mean_v", "reservoir", "V"),
    ("reservoir_valley_v", "valley", "V"),
    ("reservoir_ripple_pp_v", "ripple p-p", "V"),
    ("output_ripple_pp_v", "at output", "V"),
    ("secondary_rms_a", "sec. rms", "A"),
    ("dissipation_w", "heat", "W"),
)


def table(
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    title: str = "",
    width: int = 110,
    wrap: bool = True,
) -> str:
    """Return rows as an aligned table within `width` and the page; cells are text, never markup."""
    width = min(width, PAGE.get() or width)
    grid = Table(  # headings are our own words; rich reads them as markup, cells are Text
        *headings,
        box=box.SIMPLE_HEAD,
        title=Text(visible(title)) if title else None,
        title_justify="left",
        pad_edge=False,
    )
    for row in rows:
        grid.add_row(*(Text(visible(cell), no_wrap=not wrap) for cell in row))
    out = io.StringIO()
    Console(file=out, width=width, color_system=None, markup=False, highlight=False, emoji=False).print(grid)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()).strip("\n")


def band_text(band: Band | None, unit: str) -> str:
    """Return a band as 'value (low to high)'; a dash where nothing can be said."""
    return "–" if band is None else band_words(band, unit)


def expectation_text(supply: Supply, expectation: Expectation, limits: LimitSet) -> str:
    """Return what every reading ought to be, rail by rail and stage by stage."""
    blocks = [
        f"{one_line(supply.tag)}: {one_line(supply.title)}",
        f"at {show(expectation.mains_v, 'V')} mains and {show(expectation.ambient_c, '°C')} in the room; "
        "each value with its 95 % band",
        expectation.all_hot_words,
        _dead_text(supply, expectation, limits),
    ]
    blocks += [_rail_text(name, rail) for name, rail in expectation.rails.items()]
    blocks.append(
        _listed(
            "The unit as a whole",
            [f"{_words(key)}: {band_text(band, _unit_of(key))}" for key, band in expectation.unit.items()],
        )
    )
    blocks.append(_listed("Cannot be computed", expectation.problems))
    blocks.append(_listed("Assumed, because the sheet does not say", expectation.assumptions))
    blocks.append(CAUTIONS)
    return "\n\n".join(block for block in blocks if block)


def expectation_json(supply: Supply, expectation: Expectation, limits: LimitSet) -> dict[str, object]:
    """Return the expectation in the shape other programs read; SI base units."""
    earth = resolve("earth_continuity", limits, supply)
    insulation = resolve("insulation", limits, supply)
    return {
        "tag": supply.tag,
        "mains_v": expectation.mains_v,
        "ambient_c": expectation.ambient_c,
        "rails": {name: _rail_json(rail) for name, rail in expectation.rails.items()},
        "secondaries": _nested(expectation.secondaries),
        "transformers": _nested(expectation.transformers),
        "unit": {key: _band_json(band) for key, band in expectation.unit.items()},
        "earth": {"limit_ohm": earth.high if earth else None, "basis": earth.basis if earth else ""},
        "insulation": {
            "limit_ohm": insulation.low if insulation else None,
            "test_v": limits.insulation_test_v,
            "basis": insulation.basis if insulation else "",
        },
        "assumptions": list(expectation.assumptions),
        "problems": list(expectation.problems),
    }


def sheet_text(supply: Supply, found: Sequence[Finding]) -> str:
    """Return a design sheet as a readable table, with the findings on the design itself."""
    return "\n\n".join([sheet_table(supply), findings_text(found), CAUTIONS])


def findings_text(found: Sequence[Finding]) -> str:
    """Return the findings on a design, worst first."""
    if not found:
        return "Findings on the design: none."
    rank = {"danger": 0, "fault": 1, "improvement": 2}
    rows = [
        (finding.severity, finding.field, finding.text, finding.basis)
        for finding in sorted(found, key=lambda finding: rank[finding.severity])
    ]
    return table(["severity", "where", "finding", "basis"], rows, title="Findings on the design")


def assessment_text(assessment: Assessment) -> str:
    """Return an assessment: the summary to act on first, then every row."""
    from ohmward.report.assessed import soaks_text
    from ohmward.report.history_text import compared_text
    from ohmward.report.waveforms import waveforms_text

    head = f"Run {one_line(assessment.run)}: {outcome_word(assessment)}"
    blocks = [REHEARSAL if assessment.simulated else "", head, "\n".join(map(one_line, assessment.summary))]
    blocks.append(_readings_text(assessment.readings))
    blocks.append(_checks_text(assessment.checks))
    rails = [
        (name, rail.load_regulation_verdict, _regulation_words(rail), "; ".join(rail.warnings))
        for name, rail in assessment.rails.items()
    ]
    blocks.append(table(["rail", "regulation", "", "note"], rails, title="Rails") if rails else "")
    blocks.append(waveforms_text(assessment.waveforms, assessment.waveform_problems))
    blocks.append(soaks_text(assessment.soaks))
    blocks.append(compared_text(assessment.comparison))
    overrides = [(row.title, row.subject, row.reason) for row in assessment.overrides]
    blocks.append(table(["step", "subject", "reason"], overrides, title=GONE_ON) if overrides else "")
    missing = [
        (row.title, row.subject, "to be done again" if row.again else "not done")
        for row in assessment.missing
    ]
    blocks.append(table(["step", "subject", ""], missing, title="Still to be done") if missing else "")
    history = [
        (row.at[:16].replace("T", " "), row.kind, row.title, row.subject, row.text)
        for row in assessment.on_the_way
    ]
    blocks.append(
        table(["when", "", "step", "subject", "what"], history, title="On the way") if history else ""
    )
    blocks.append(_causes_text(assessment))
    blocks.append(findings_text(assessment.findings))
    blocks += [CAUTIONS, REHEARSAL if assessment.simulated else ""]
    return "\n\n".join(block for block in blocks if block)


def verification_text(result: Verification, name: str, *, simulated: bool = False) -> str:
    """Return what checking a journal found, and what a chain of hashes cannot show."""
    state = "intact" if result.intact else "DAMAGED"
    ended = "closed" if result.closed else "not closed"
    lines = [f"{one_line(name)}: {state}; {plural(result.records, 'record')}; {ended}"]
    lines += [f"  line {number}: {one_line(words)}" for number, words in result.problems]
    lines += [f"  note, line {number}: {one_line(words)}" for number, words in result.notices]
    if result.last_digest:
        lines.append(f"last digest: {result.last_digest}")
    lines += [f"  {one_line(words)}" for words in result.cannot_show]
    return "\n".join([*lines, REHEARSAL] if simulated else lines)


def verification_json(result: Verification) -> dict[str, object]:
    """Return what checking a journal found as plain data."""
    return {
        "path": str(result.path),
        "intact": result.intact,
        "records": result.records,
        "closed": result.closed,
        "problems": [{"line": number, "words": words} for number, words in result.problems],
        "notices": [{"line": number, "words": words} for number, words in result.notices],
        "last_digest": result.last_digest,
        "cannot_show": list(result.cannot_show),
    }


def _readings_text(rows: Sequence[ReadingRow]) -> str:
    cells = [
        (
            f"{row.title}\n{row.subject}" if row.subject else row.title,
            _read_words(row),
            limit_text(row.limit_low, row.limit_high, row.unit),
            expected_text(row.expected_low, row.expected_high, row.unit),
            _verdict_words(reading_verdict_said(row.verdict), row.stale, row.override),
            row.note,
        )
        for row in rows
    ]
    headings = ["reading", "read", "limit", "expected", "verdict", "note"]
    return table(headings, cells, title="Readings", width=160) if cells else ""


def _read_words(row: ReadingRow) -> str:
    if row.value is None or row.net is None or row.net == row.value:
        return row.raw
    return f"{show(row.net, row.unit, uncertainty=row.uncertainty)}\n(read {row.raw})"


def _causes_text(assessment: Assessment) -> str:
    rows = [
        (
            chance_of(cause),
            with_alike(cause) if cause.alike else cause.title,
            cause.subject,
            "\n".join((*cause.because[:3], *(f"against it: {words}" for words in cause.against))),
            cause.confirm,
        )
        for cause in assessment.causes
        if cause.probability >= WORTH_SAYING
    ]
    headings = ["chance", "cause", "in", "because", "to make sure"]
    listed = table(headings, rows, title="What is most likely wrong", width=150) if rows else ""
    return "\n".join(each for each in (listed, one_line(left_out_words(assessment))) if each)


def _checks_text(rows: Sequence[CheckRow]) -> str:
    told = [row for row in rows if row.answer != "pass" or row.note or row.stale]
    cells = [
        (row.title, row.subject, row.severity, _verdict_words(row.answer, row.stale, row.override), row.note)
        for row in told
    ]
    passed = sum(row.answer == "pass" and not row.stale for row in rows)
    title = f"Checks: {passed} of {len(rows)} passed" + ("; the rest, and those with a note:" if told else "")
    return table(["check", "subject", "severity", "answer", "note"], cells, title=title) if told else title


def _verdict_words(verdict: str, stale: bool, override: str) -> str:
    words = f"{verdict}, stale: do it again" if stale else verdict
    return f"{words}\ngone on with: {override}" if override else words


def limit_text(low: float | None, high: float | None, unit: str) -> str:
    """Return limits in words."""
    if low is not None and high is not None:
        return show_band(low, high, unit)
    if high is not None:
        return f"at most {show(high, unit)}"
    return f"at least {show(low, unit)}" if low is not None else "–"


def expected_text(low: float | None, high: float | None, unit: str) -> str:
    """Return an expected band in words."""
    return "–" if low is None or high is None else show_band(low, high, unit)


def _with_spread(value: float, unit: str, spread: float | None) -> str:
    if spread is None:
        return show(value, unit)
    return f"{show(value, unit, uncertainty=spread)} ± {show(spread, unit, uncertainty=spread)}"


def _regulation_words(rail: RailResult) -> str:
    from ohmward.report.assessed import rail_lines

    parts = []
    if rail.load_regulation_pct is not None:
        spread = rail.load_regulation_uncertainty_pct
        parts.append(f"load regulation {_with_spread(rail.load_regulation_pct, '%', spread)}")
    if rail.output_resistance_ohm is not None:
        spread = rail.output_resistance_uncertainty_ohm
        parts.append(f"output resistance {_with_spread(rail.output_resistance_ohm, 'Ω', spread)}")
    if rail.ripple_pp_v is not None:
        parts.append(f"ripple {show(rail.ripple_pp_v, 'V')} p-p")
    return "\n".join([*parts, *rail_lines(rail)])


def _dead_text(supply: Supply, expectation: Expectation, limits: LimitSet) -> str:
    earth = resolve("earth_continuity", limits, supply)
    insulation = resolve("insulation", limits, supply)
    rows = []
    if earth is not None and earth.high is not None:
        rows.append(["protective earth, each metal part", f"at most {show(earth.high, 'Ω')}", earth.basis])
    if insulation is not None and insulation.low is not None:
        test = show(limits.insulation_test_v, "V")
        rows.append([f"insulation at {test} DC", f"at least {show(insulation.low, 'Ω')}", insulation.basis])
    for name, values in (*expectation.transformers.items(), *expectation.secondaries.items()):
        rows += [
            [f"{name} {_words(key)}", band_text(band, _unit_of(key)), ""] for key, band in values.items()
        ]
    return table(["Dead tests and windings", "limit or expected", "basis"], rows)


def _rail_text(name: str, rail: RailExpectation) -> str:
    no_load = [[_words(key), band_text(band, _unit_of(key))] for key, band in rail.no_load.items()]
    if rail.discharge_s is not None:
        no_load.append(["discharge to a safe voltage", band_text(rail.discharge_s, "s")])
    parts = [table(["No load", "expected"], no_load, title=f"Rail {name}")]
    points = [(show(point.load_a, "A"), point) for point in rail.loaded]
    if rail.together:
        full = rail.loaded[-1].load_a if rail.loaded else 0.0
        points.append((f"{show(full, 'A')}, {ALL_HOT}", LoadedPoint(load_a=full, values=rail.together)))
    shown = [column for column in _LOADED_COLUMNS if any(column[0] in point.values for _, point in points)]
    rows = [[label, *(_cell(point, key, unit) for key, _, unit in shown)] for label, point in points]
    parts += _side_by_side(["Load", *(heading for _, heading, _ in shown)], rows)
    parts += [f"  {one_line(note)}" for note in rail.notes]
    return "\n".join(parts)


def _side_by_side(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Return a table that is never wrapped: as several, each with the first column, where it is too wide."""
    columns = list(zip(headings, *rows, strict=True))
    wide = [max(len(line) for cell in column for line in cell.split("\n")) + GAP for column in columns]
    page = min(180, PAGE.get() or 180)
    groups: list[list[int]] = [[]]
    for number in range(1, len(columns)):
        if groups[-1] and wide[0] + sum(wide[n] for n in groups[-1]) + wide[number] > page:
            groups.append([])
        groups[-1].append(number)
    return [
        table(
            [headings[0], *(headings[n] for n in group)],
            [[row[0], *(row[n] for n in group)] for row in rows],
            width=180,
            wrap=False,
        )
        for group in groups
    ]


def _cell(point: LoadedPoint, key: str, unit: str) -> str:
    band = point.values.get(key)
    if band is None:
        return "–"
    return f"{show_centre(band.value, band.low, band.high, unit)}\n{show_band(band.low, band.high, unit)}"


def _listed(title: str, lines: Sequence[str]) -> str:
    return "\n".join([f"{title}:", *(f"  {one_line(line)}" for line in lines)]) if lines else ""


def _words(key: str) -> str:
    stem = key.rsplit("_", 1)[0] if "_" in key else key
    return stem.replace("_pp", " p-p").replace("_", " ")


def _unit_of(key: str) -> str:
    suffix = key.rsplit("_", 1)[-1]
    return {"v": "V", "a": "A", "ohm": "Ω", "w": "W", "va": "VA", "c": "°C", "s": "s"}.get(suffix, "")


def _band_json(band: Band) -> dict[str, float]:
    return {"value": band.value, "low": band.low, "high": band.high}


def _nested(groups: dict[str, dict[str, Band]]) -> dict[str, dict[str, dict[str, float]]]:
    return {name: {key: _band_json(band) for key, band in values.items()} for name, values in groups.items()}


def _rail_json(rail: RailExpectation) -> dict[str, object]:
    return {
        "no_load": {key: _band_json(band) for key, band in rail.no_load.items()},
        "loaded": [_point_json(point.load_a, point.values) for point in rail.loaded],
        "together": _point_json(rail.loaded[-1].load_a if rail.loaded else 0.0, rail.together),
        "discharge_s": None if rail.discharge_s is None else rail.discharge_s.value,
        "discharge_band": None if rail.discharge_s is None else _band_json(rail.discharge_s),
        "notes": list(rail.notes),
    }


def _point_json(load_a: float, values: dict[str, Band]) -> dict[str, object]:
    scalars: dict[str, object] = {key: band.value for key, band in values.items()}
    return {"load_a": load_a, **scalars, "bands": {key: _band_json(band) for key, band in values.items()}}
