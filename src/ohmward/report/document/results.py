"""What the readings say together: rails, soaks, causes, findings, and what happened on the way."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from ohmward.analysis.cause_words import WORTH_SAYING
from ohmward.analysis.rails import RailResult
from ohmward.analysis.rows import HistoryRow
from ohmward.analysis.soak_result import SoakResult
from ohmward.analysis.waveforms import WaveformResult
from ohmward.procedure.model import Severity
from ohmward.quantity import show
from ohmward.report.document.blocks import (
    AnyBlock,
    Column,
    Group,
    Heading,
    Listing,
    Paragraph,
    Row,
    Table,
    in_common,
    table,
)
from ohmward.report.document.phrases import band, chance, is_failed, tester, value, verdict
from ohmward.report.document.source import Source
from ohmward.report.document.words import Words

_NAMED = re.compile(r"([a-z]+)\[(.+?)\](.*)")
"""Field of a finding: ``rail[+15].targets``."""


def results(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return what only several readings together can tell."""
    found = source.assessment
    blocks: list[AnyBlock] = []
    groups = [
        Group(head=f"{words('results.rail')} {name}", rows=tuple(_rail_rows(words, rail)))
        for name, rail in found.rails.items()
    ]
    groups = [group for group in groups if group.rows]
    if groups:
        columns = (
            Column(head=words("results.quantity"), share=1.5),
            Column(head=words("results.value"), share=3),
            Column(head=words("results.limit"), share=1.3),
            Column(head=words("results.verdict"), share=1.6),
        )
        blocks.append(Table(caption=words("results.rails"), columns=columns, groups=tuple(groups)))
    blocks += _soaks(words, source)
    blocks += _waveforms(words, source)
    lines = tuple(_recorded(words, source))
    if lines:
        blocks += [Heading(level=2, text=words("results.series")), Listing(items=lines)]
    return (Heading(text=words("results.heading")), *blocks) if blocks else ()


def _rail_rows(words: Words, rail: RailResult) -> Iterator[Row]:
    dash = words("plain.dash")
    if rail.load_regulation_pct is not None:
        yield _judged_row(
            words,
            words("results.load_regulation", denominator=rail.load_regulation_denominator or dash),
            (rail.load_regulation_pct, rail.load_regulation_uncertainty_pct),
            rail.load_regulation_limit_pct,
            verdict(words, rail.load_regulation_verdict),
            bad=is_failed(rail.load_regulation_verdict),
        )
    if rail.line_regulation_pct is not None:
        yield _judged_row(
            words,
            words("results.line_regulation"),
            (rail.line_regulation_pct, rail.line_regulation_uncertainty_pct),
            rail.line_regulation_limit_pct,
            verdict(words, rail.line_regulation_verdict),
            bad=is_failed(rail.line_regulation_verdict),
        )
    for name, shown in _plain_values(words, rail):
        yield Row(cells=(name, shown, dash, dash))
    notes = tuple(dict.fromkeys((*rail.warnings, *rail.notes)))
    if notes:
        yield Row(cells=(words("results.remarks"), "", "", ""), note="\n".join(notes))


def _judged_row(
    words: Words,
    name: str,
    found: tuple[float, float | None],
    limit: float | None,
    said: str,
    *,
    bad: bool,
) -> Row:
    shown = words("plain.dash") if limit is None else band(words, None, limit, "%")
    return Row(cells=(name, value(words, found[0], "%", found[1]), shown, said), tone="bad" if bad else "")


def _plain_values(words: Words, rail: RailResult) -> Iterator[tuple[str, str]]:
    plain = (
        ("output_resistance", rail.output_resistance_ohm, "Ω", rail.output_resistance_uncertainty_ohm),
        ("no_load", rail.no_load_v, "V", None),
        ("effect_settled", rail.load_effect_settled_v, "V", rail.load_effect_settled_uncertainty_v),
        ("effect_immediate", rail.load_effect_immediate_v, "V", rail.load_effect_immediate_uncertainty_v),
        ("effect_drift", rail.load_effect_drift_v, "V", rail.load_effect_drift_uncertainty_v),
        ("ripple", rail.ripple_pp_v, "V", None),
        ("raw", rail.reservoir_ripple_pp_v, "V", None),
    )
    for key, number, unit, spread in plain:
        if number is not None:
            yield words(f"results.{key}"), value(words, number, unit, spread)
        if key == "no_load" and rail.full_load_v is not None:
            current = value(words, rail.full_load_a, "A")
            yield words("results.full_load", current=current), value(words, rail.full_load_v, "V")
    if rail.cross_regulation_pct is not None:
        fall = words.number(show(rail.cross_regulation_pct, "%", decimals=2))
        yield words("results.cross_regulation"), fall
    if rail.knee_low_a is not None:
        yield words("results.knee"), band(words, rail.knee_low_a, rail.knee_high_a, "A")
    if rail.half_wave_fraction is not None:
        yield words("results.half_wave"), value(words, 100 * rail.half_wave_fraction, "%")
    parts = rail.characterised
    if parts is not None:
        spread_f = parts.capacitance_f_uncertainty
        yield (
            words("results.open_circuit"),
            value(words, parts.open_circuit_v, "V", parts.open_circuit_v_uncertainty),
        )
        yield (
            words("results.source_ohm"),
            value(words, parts.source_ohm, "Ω", parts.source_ohm_uncertainty),
        )
        yield words("results.fitted_capacitance"), capacitance(words, parts.capacitance_f, spread_f)
        yield words("results.fitted_esr"), value(words, parts.esr_ohm, "Ω", parts.esr_ohm_uncertainty)


def _soaks(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    soaks = source.assessment.soaks
    ambient = value(words, source.supply.ambient_max_c, "°C")
    columns = (
        Column(head=words("results.sensor"), share=1.8),
        Column(head=words("results.last"), share=1),
        Column(head=words("results.final"), share=1.6),
        Column(head=words("results.tau"), share=1.1),
        Column(head=words("results.hottest_room", ambient=ambient), share=2.2),
        Column(head=words("results.limit"), share=1.2),
        Column(head=words("results.stabilised"), share=1.1),
    )
    rows, common = in_common([_soak_row(words, soak) for soak in soaks])
    found: tuple[AnyBlock, ...] = (*table(words("results.soaks"), columns, rows), *of_each(words, common))
    rules = tuple(dict.fromkeys(words("results.rule", rule=soak.rule) for soak in soaks if soak.rule))
    return (*found, *(Paragraph(text=rule, quiet=True) for rule in rules))


def _soak_row(words: Words, soak: SoakResult) -> Row:
    dash = words("plain.dash")
    untold = words("results.no_curve" if soak.no_curve else "results.too_short")
    hot = untold if soak.withheld else dash
    if soak.at_max_ambient_c is not None:
        hot = words.number(show(soak.at_max_ambient_c, "°C", decimals=1))
        if soak.at_max_ambient_low_c is not None and soak.at_max_ambient_high_c is not None:
            ends = band(words, soak.at_max_ambient_low_c, soak.at_max_ambient_high_c, "°C")
            hot = f"{hot}\n({ends})"
    settled = dash if soak.stabilised is None else words("plain.yes" if soak.stabilised else "plain.no")
    tau = (
        dash
        if soak.time_constant_s is None
        else words.number(show(soak.time_constant_s / 60, "min", decimals=1))
    )
    return Row(
        cells=(
            soak.sensor,
            value(words, soak.last_c, "°C"),
            untold if soak.withheld else value(words, soak.final_c, "°C", soak.final_uncertainty_k),
            tau,
            hot,
            band(words, None, soak.limit_c, "°C"),
            settled,
        ),
        note="\n".join(soak.warnings),
        tone="bad" if soak.too_hot_in_the_hottest_room else "",
    )


def _waveforms(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    columns = (
        Column(head=words("results.place"), share=1.6),
        Column(head=words("results.pp"), share=1.2),
        Column(head=words("results.rms"), share=1.2),
        Column(head=words("results.read_pp"), share=1.2),
        Column(head=words("results.capacitance"), share=1.8),
        Column(head=words("results.esr"), share=1.6),
        Column(head=words("results.seen_from"), share=2.4),
    )
    rows, common = in_common([_waveform_row(words, wave) for wave in source.assessment.waveforms])
    lines = tuple(words("results.waveform_problem", why=why) for why in source.assessment.waveform_problems)
    listed = (Listing(items=lines),) if lines else ()
    return (*table(words("results.waveforms"), columns, rows), *of_each(words, common), *listed)


def of_each(words: Words, common: Sequence[str]) -> tuple[Paragraph, ...]:
    """Return what is said of every row of a table, below it."""
    return (Paragraph(text=words("plain.of_each", said="; ".join(common)), quiet=True),) if common else ()


def _waveform_row(words: Words, wave: WaveformResult) -> Row:
    load = "" if wave.load_a is None else f" @ {value(words, wave.load_a, 'A')}"
    return Row(
        cells=(
            f"{wave.rail or wave.subject}, {wave.point}{load}",
            value(words, wave.pp_v, "V"),
            value(words, wave.rms_v, "V"),
            value(words, wave.read_pp_v, "V"),
            capacitance(words, wave.capacitance_f, wave.capacitance_uncertainty_f),
            value(words, wave.esr_ohm, "Ω", wave.esr_uncertainty_ohm),
            wave.file,
        ),
        note="\n".join((*wave.matters, *wave.limits)),
        tone="doubt" if wave.matters else "",
    )


def capacitance(words: Words, farad: float | None, spread: float | None) -> str:
    """Return a capacitance in microfarads, as it is written on the part."""
    if farad is None:
        return words("plain.dash")
    return value(words, 1e6 * farad, "µF", None if spread is None else 1e6 * spread)


def _recorded(words: Words, source: Source) -> Iterator[str]:
    for step, series in source.state.series.items():
        end = words("results.series_cut")
        if series.ended is not None:
            end = (
                words("results.series_complete")
                if series.ended.complete
                else words("results.series_short", why=series.ended.why)
            )
        yield words(
            "results.series_line",
            step=step,
            samples=len(series.rows),
            channels=", ".join(channel.name for channel in series.begun.channels),
            interval=words.number(show(series.begun.interval_s, "s")),
            end=end,
        )
        for gap in series.gaps:
            yield words(
                "results.series_gap",
                step=step,
                channel=gap.channel or words("results.every_channel"),
                start=words.number(show(gap.from_s, "s")),
                end=words.number(show(gap.to_s, "s")),
                why=gap.why,
            )
    for (step, subject), captures in source.state.captures.items():
        for captured in (taken.event for taken in captures):
            yield words(
                "results.capture_line",
                step=step,
                subject=subject,
                file=captured.file,
                samples=captured.samples,
                hash=captured.sha256,
            )
    for _, gone, why in source.state.withdrawn:
        yield words(
            "results.capture_withdrawn", step=gone.step, subject=gone.subject, file=gone.file, why=why
        )


def causes(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return what is most likely wrong, with the readings that decided."""
    worth = [cause for cause in source.assessment.causes if cause.probability >= WORTH_SAYING]
    columns = (
        Column(head=words("results.chance"), share=0.7),
        Column(head=words("results.cause"), share=3),
        Column(head=words("results.because"), share=4.3),
    )
    rows = []
    for cause in worth:
        notes = [
            f"{words('results.against')}: {'; '.join(cause.against)}" if cause.against else "",
            cause.alike,
            f"{words('results.make_safe')}: {cause.make_safe}" if cause.make_safe else "",
            f"{words('results.confirm')}: {cause.confirm}" if cause.confirm else "",
            "" if cause.fits else words("results.poor"),
        ]
        rows.append(
            Row(
                cells=(chance(words, cause), cause.title, "\n".join(cause.because)),
                note="\n".join(note for note in notes if note),
            )
        )
    made = table(words("results.causes"), columns, rows, titled=False)
    return (Heading(text=words("results.causes")), *made, *left_out(words, source)) if made else ()


def left_out(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return what was not weighed for the causes; nothing where all was."""
    listed = "; ".join(source.assessment.causes_left_out)
    return (Paragraph(text=words("results.left_out", listed=listed), quiet=True),) if listed else ()


def findings(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return the findings on the design, gravest first."""
    rank = {"danger": 0, "fault": 1, "improvement": 2}
    columns = (
        Column(head=words("stage.severity"), share=1),
        Column(head=words("results.field"), share=1.8),
        Column(head=words("results.finding"), share=4),
        Column(head=words("stage.basis"), share=2),
    )
    parts: dict[tuple[Severity, str, str, str], list[str]] = {}
    for finding in sorted(source.assessment.findings, key=lambda each: rank[each.severity]):
        named = _NAMED.fullmatch(finding.field)
        kind, name, field = named.groups() if named else ("", "", finding.field)
        text = finding.text.removeprefix(f"{name}: ") if named else finding.text
        where = words("results.field_of", field=field.lstrip(".") or kind, kind=kind) if named else field
        parts.setdefault((finding.severity, where, text, finding.basis), []).append(name)
    rows = [
        Row(
            cells=(words(f"severity.{severity}"), f"{where} {', '.join(names)}".rstrip(), text, basis),
            tone="bad" if severity == "danger" else "",
        )
        for (severity, where, text, basis), names in parts.items()
    ]
    made = table(words("results.findings"), columns, rows, titled=False)
    return (Heading(text=words("results.findings")), *made) if made else ()


def overrides(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return every failure that was gone on with in writing."""
    columns = (
        Column(head=words("results.step"), share=2),
        Column(head=words("stage.subject"), share=1),
        Column(head=words("results.reason"), share=2.5),
        Column(head=words("results.by_whom"), share=2.3),
    )
    rows = []
    for row in source.assessment.overrides:
        at, operator = source.accepted.get((row.step, row.subject), ("", ""))
        rows.append(
            Row(cells=(row.title, row.subject, row.reason, f"{tester(words, operator)}\n{words.moment(at)}"))
        )
    made = table(words("results.overrides"), columns, rows, titled=False)
    return (Heading(text=words("results.overrides")), *made) if made else ()


def history(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return entries since replaced, repairs and remarks, in order of time; many attempts at one together."""
    return _told(words, "results.history", source.assessment.on_the_way)


def attempts(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return each of the attempts that `history` tells together; nothing where it tells none so."""
    return _told(words, "results.attempts", source.assessment.attempts)


def _told(words: Words, heading: str, told: Sequence[HistoryRow]) -> tuple[AnyBlock, ...]:
    columns = (
        Column(head=words("stage.when"), share=1.4),
        Column(head=words("results.kind"), share=0.8),
        Column(head=words("results.step"), share=2),
        Column(head=words("results.told"), share=3.6),
    )
    rows = [
        Row(
            cells=(
                words.moment(row.at),
                words(f"results.{row.kind}"),
                f"{row.title} ({row.subject})" if row.subject else row.title or row.step,
                row.text,
            ),
            tone="bad" if row.failed else "",
        )
        for row in told
    ]
    made = table(words(heading), columns, rows, titled=False)
    return (Heading(text=words(heading)), *made) if made else ()
