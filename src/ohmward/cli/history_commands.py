"""The commands that look over years: history, compare, due."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.cli.talking import logbook_of, say, talk, today_here
from ohmward.errors import Exit, InputError, Mistake

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date

    from ohmward.analysis.history_facts import PastRun
    from ohmward.analysis.history_glance import Due, Glance
    from ohmward.run.history_index import Fleet

MOST_WORKERS = 4
MOST_MONTHS = 120


def history(arguments: argparse.Namespace) -> int:
    """Show the history of one supply, or all of them at a glance."""
    if arguments.fleet:
        return _fleet(arguments)
    if not arguments.tag:
        raise _mistake("TAG", "", "no supply named", "Name one, such as CR-11; or give --fleet")
    from ohmward.analysis.history import history
    from ohmward.report.history_text import history_json, history_text
    from ohmward.run.history_index import runs_of

    runs = runs_of(logbook_of(arguments), arguments.tag, use_index=not arguments.no_index)
    if arguments.rehearsals:
        runs = tuple(run for run in runs if run.simulated)
        if not runs:
            raise _mistake("--rehearsals", arguments.tag, "no rehearsal of it", "Leave --rehearsals out")
    try:
        found = history(
            runs,
            baseline=arguments.baseline,
            across=arguments.across,
            end_of_life=arguments.end_of_life,
            rated_life_h=arguments.rated_life,
        )
    except ValueError as error:
        raise _mistake(
            "history", arguments.baseline, str(error), f"Its runs: {', '.join(run.run for run in runs)}"
        ) from error
    if arguments.plot is not None:
        from ohmward.report.history_plots import history_figure

        _draw(history_figure(found), arguments.plot)
    say(history_json(found), history_text(found), arguments.json)
    return int(Exit.DONE)


def compare(arguments: argparse.Namespace) -> int:
    """Compare two runs reading by reading."""
    from ohmward.analysis.history import sheet_changes
    from ohmward.analysis.history_change import changes
    from ohmward.analysis.history_scaling import design_of
    from ohmward.report.history_text import comparison_json, comparison_text

    logbook = logbook_of(arguments)
    one, other = (_one_run(logbook, what) for what in (arguments.first, arguments.second))
    if (one.tag, one.run) == (other.tag, other.run):
        mend = f"Name another one; 'ohmward history {one.tag}' lists its runs"
        raise _mistake("RUN", arguments.second, "the same run as the first", mend)
    then, now = sorted((one, other), key=lambda run: run.when)
    found = changes(now, then, design_of(now.sheet), design_of(then.sheet))
    differs = sheet_changes(then.sheet, now.sheet)
    if arguments.plot is not None:
        from ohmward.report.plots.compare import compare as compared_picture

        _draw(compared_picture(now, then, found).figure, arguments.plot)
    say(
        comparison_json(now, then, found, differs),
        comparison_text(now, then, found, differs),
        arguments.json,
    )
    return int(Exit.DONE)


def due(arguments: argparse.Namespace) -> int:
    """Say what is to be tested when."""
    from ohmward.report.history_fleet import due_json, due_text
    from ohmward.run.history import untested

    logbook, today = logbook_of(arguments), today_here()
    _require_interval(arguments.interval)
    found = _looked_over(arguments, logbook)
    dues = sorted(
        (*_dues(found.glances, today, arguments.interval), *untested(logbook, found.glances, today)),
        key=lambda each: (each.simulated, each.on, each.tag),
    )
    if arguments.plot is not None:
        from ohmward.report.history_plots import due_figure

        _draw(due_figure(dues, today), arguments.plot)
    say(due_json(dues, today), due_text(dues, today), arguments.json)
    return int(Exit.DONE)


def _fleet(arguments: argparse.Namespace) -> int:
    from ohmward.report.history_fleet import fleet_json, fleet_text

    today = today_here()
    _require_interval(arguments.interval)
    found = _looked_over(arguments, logbook_of(arguments))
    dues = _dues(found.glances, today, arguments.interval)
    if arguments.plot is not None:
        from ohmward.report.history_plots import fleet_figure

        _draw(fleet_figure(found.glances), arguments.plot)
    if arguments.json:
        say(fleet_json(found.glances, dues), "", True)
    else:
        say(None, fleet_text(found.glances, today, dues), False)
    return int(Exit.DONE)


def _looked_over(arguments: argparse.Namespace, logbook: Path) -> Fleet:
    from ohmward.run.history_index import fleet

    found = fleet(
        logbook,
        use_index=not arguments.no_index,
        workers=min(MOST_WORKERS, os.cpu_count() or 1),
        progress=_progress(),
    )
    for words in found.shortcomings:
        talk(words)
    return found


def _dues(glances: Sequence[Glance], today: date, months: int) -> list[Due]:
    from ohmward.analysis.history_glance import due

    return [due(each, today, interval_months=months) for each in glances]


def _require_interval(months: int) -> None:
    if not 1 <= months <= MOST_MONTHS:
        why = "not a number of months between tests"
        raise _mistake("--interval", str(months), why, f"Give 1 to {MOST_MONTHS}")


def _one_run(logbook: Path, what: str) -> PastRun:
    from ohmward.errors import Damaged
    from ohmward.logbook import Logbook
    from ohmward.run.history import past_run

    found = past_run(Logbook(logbook).find(what))
    if found.problem:
        raise Damaged(found.problem)
    return found


def _draw(figure: object, path: Path) -> None:
    from matplotlib.figure import Figure

    from ohmward.report.plots import save

    assert isinstance(figure, Figure)
    save(figure, path)
    talk(f"Drawn in {path}")


def _progress() -> Callable[[int, int], None] | None:
    """Return what tells on a terminal how far the reading of journals is; None elsewhere."""
    if not sys.stderr.isatty():
        return None

    def tell(done: int, of: int) -> None:
        end = "\n" if done == of else ""
        sys.stderr.write(f"\r{done} of {of} supplies read {end}")
        sys.stderr.flush()

    return tell


def _mistake(field: str, value: str, why: str, mend: str) -> InputError:
    return InputError([Mistake(where="command line", field=field, value=value, why=why, mend=mend)])
