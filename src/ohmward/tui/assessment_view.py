"""What the assessment screen shows of one run: rows, details and pictures by tab."""

from __future__ import annotations

from collections.abc import Sequence

from ohmward.analysis.assessment import Assessment
from ohmward.analysis.facts import RunFacts
from ohmward.analysis.rows import ReadingRow
from ohmward.desk import assessment_parts as parts
from ohmward.desk import assessment_pictures as pictures
from ohmward.desk import assessment_rows as rows
from ohmward.desk.assessment_filter import Filter, Row, filter_words, listed
from ohmward.desk.picture import Picture
from ohmward.desk.words import Sign
from ohmward.run.state import RunState
from ohmward.tui.assessment_panes import cause_rows, summary_rows
from ohmward.tui.grids import Lead

Table = tuple[Sequence[str], Sequence[Sequence[str]]]


class Shown:
    """One run with its assessment, as far as it is shown."""

    def __init__(self, *, state: RunState, result: Assessment, facts: RunFacts) -> None:
        self.state, self.result, self.facts = state, result, facts
        self._listed: list[Row] = list(result.readings)
        self._barred: list[Row] = []
        self.filter_words = ""

    @property
    def verdict(self) -> Sign:
        """The verdict of the run."""
        return rows.run_verdict(self.result)

    def summary(self, *, airy: bool) -> list[Lead]:
        """Return what to act on; `airy` where there is room."""
        return summary_rows(self.result.summary, airy=airy)

    def causes(self) -> list[Lead]:
        """Return what is most likely wrong."""
        remark = parts.cause_remark(self.result)
        return [*cause_rows(self.result.causes), *([Lead("", remark)] if remark else [])]

    def narrow(self, wanted: Filter) -> None:
        """List the readings that a filter lets through."""
        self._listed = listed(self.result, self.state, wanted)
        total = len(self.result.readings)
        self.filter_words = filter_words(wanted, self.state, len(self._listed), total)

    def rows(self, tab: int) -> Table:
        """Return headings and rows of a tab."""
        result = self.result
        if tab == 2:
            return rows.READING_HEADINGS, [rows.row_cells(row) for row in self._listed]
        if tab == 3:
            return rows.CHECK_HEADINGS, [rows.check_cells(row) for row in result.checks]
        if tab == 5:
            return parts.RAIL_HEADINGS, [parts.rail_cells(*rail) for rail in result.rails.items()]
        if tab == 6:
            return parts.SOAK_HEADINGS, [parts.soak_cells(soak) for soak in result.soaks]
        if tab == 7:
            return parts.WAVE_HEADINGS, [parts.wave_cells(wave) for wave in result.waveforms]
        return rows.OVERRIDE_HEADINGS, self._gaps()

    def bars(self, width: int) -> Table:
        """Return the readings listed as places between their limits, in `width` columns."""
        drawn = pictures.bar_rows(self._listed, width)
        self._barred = [row for row, _ in drawn]
        return pictures.LIMITS_HEADINGS, [cells for _, cells in drawn]

    def _gaps(self) -> list[tuple[str, str, str]]:
        problems = [("!", "waveform not used", words) for words in self.result.waveform_problems]
        return [*rows.override_cells(self.result), *problems, *parts.design_cells(self.result)]

    def _row(self, tab: int, at: int) -> Row | None:
        there = {2: self._listed, 8: self._barred}.get(tab, [])
        return there[at] if 0 <= at < len(there) else None

    def key(self, tab: int, at: int) -> tuple[str, str] | None:
        """Return the address of the reading in a row; None where the row is none."""
        row = self._row(tab, at)
        return (row.step, row.subject) if isinstance(row, ReadingRow) and row.verdict != "not done" else None

    def detail(self, tab: int, at: int, width: int) -> list[str]:
        """Return the row in a few lines, for below the table; empty where there is none."""
        row = self._row(tab, at)
        if row is None:
            return self.in_full(tab, at)
        if not isinstance(row, ReadingRow):
            return rows.missing_lines(row)
        lines = rows.reading_lines(row)
        bar = pictures.bar_of_row(row)
        scale = bar.text(min(width - 4, 100)) if bar is not None else ""
        return [*lines[:2], *([scale] if scale else []), *lines[2:]]

    def in_full(self, tab: int, at: int) -> list[str]:
        """Return everything that is known of a row, what it is first; empty where there is none."""
        result, row = self.result, self._row(tab, at)
        if isinstance(row, ReadingRow):
            return rows.reading_lines(row)
        if row is not None:
            return rows.missing_lines(row)
        found: dict[int, Sequence[Sequence[str]]] = {
            3: [rows.check_words(row).split(" · ") for row in result.checks],
            5: [parts.rail_words(*rail) for rail in result.rails.items()],
            6: [parts.soak_words(soak, self.facts.supply.ambient_max_c) for soak in result.soaks],
            7: [[f"{wave.rail} {wave.point}", *parts.wave_words(wave)] for wave in result.waveforms],
            9: [[part for part in cells[1:] if part] for cells in self._gaps()],
        }
        there = found.get(tab, [])
        return list(there[at]) if 0 <= at < len(there) else []

    def picture(self, tab: int, at: int) -> tuple[Picture | None, str]:
        """Return the picture of a row, and what is said where there is none."""
        result = self.result
        if tab == 5:
            names = list(result.rails)
            if not 0 <= at < len(names):
                return None, parts.NO_RAIL
            drawn = pictures.rail_picture(self.state, self.facts, names[at])
            return drawn, "No load line: this rail was read at fewer than two loads."
        if tab == 6:
            if not 0 <= at < len(result.soaks):
                return None, parts.NO_SOAK
            return pictures.soak_result_picture(self.state, result.soaks[at]), "Nothing was read of it."
        if not 0 <= at < len(result.waveforms):
            return None, parts.NO_WAVE
        return pictures.wave_picture(self.facts, result.waveforms[at]), "Its samples are not at hand."
