"""Histories as text and pictures: whatever people typed comes out inert, and grey is enough to read it."""

from __future__ import annotations

from datetime import date

import msgspec
import pytest

from ohmward.analysis.history import history
from ohmward.analysis.history_change import changes
from ohmward.analysis.history_facts import PastRun
from ohmward.analysis.history_glance import Due, due, glance
from ohmward.analysis.history_scaling import design_of
from ohmward.report.history_fleet import by_margin, due_text, fleet_json, fleet_text
from ohmward.report.history_plots import due_figure, fleet_figure, history_figure
from ohmward.report.history_text import comparison_text, history_json, history_text
from ohmward.report.plots import rendered
from ohmward.report.plots.compare import compare
from ohmward.report.plots.style import NothingToShow
from support.drying import World, years

TODAY = date(2026, 6, 1)
NASTY = "\x1b[31mred\x07 [bold]x[/bold] $\\frac{a}{b}$ <script>a</script>\r\n=1+1\u202e"


def nasty() -> list[PastRun]:
    """Runs in which every free text is hostile."""
    runs = []
    for run in years(World(loss_per_year=0.03), 2):
        readings = tuple(
            msgspec.structs.replace(each, title=NASTY, note=NASTY, meter=NASTY, serial=NASTY)
            for each in run.readings
        )
        runs.append(
            msgspec.structs.replace(
                run, readings=readings, operator=NASTY, procedure=NASTY, verdict=run.verdict, tag=f"CR{NASTY}"
            )
        )
    last = msgspec.structs.replace(runs[-1], repairs=(("2026-03-01T12:00:00+01:00", NASTY),))
    damaged = msgspec.structs.replace(runs[3], problem=NASTY, readings=())
    return [*runs[:3], damaged, *runs[4:-1], last]


def inert(text: str) -> None:
    for sign in ("\x1b", "\x07", "\r", "\u202e"):
        assert sign not in text


def test_hostile_words_come_out_inert_in_every_table() -> None:
    runs = nasty()
    found, seen = history(runs, across=True), glance(runs)
    supply = design_of(runs[0].sheet)
    differences = changes(runs[1], runs[0], supply, supply)
    inert(history_text(found))
    inert(fleet_text([seen], TODAY, [due(seen, TODAY)]))
    inert(due_text([due(seen, TODAY)], TODAY))
    inert(comparison_text(runs[1], runs[0], differences, (NASTY,)))
    assert "[bold]" in history_text(found)  # shown as it was typed, and not taken for markup


def test_hostile_words_do_not_spoil_a_picture() -> None:
    runs = nasty()
    supply = design_of(runs[0].sheet)
    figures = (
        history_figure(history(runs, across=True)),
        compare(runs[1], runs[0], changes(runs[1], runs[0], supply, supply)).figure,
        fleet_figure([glance(runs)]),
        due_figure([due(glance(runs), TODAY)], TODAY),
    )
    for figure in figures:
        drawn = rendered(figure, "svg").decode()
        assert "<script>" not in drawn


def test_what_there_is_too_little_of_is_said() -> None:
    one = years(World(), 1)[:1]
    text = history_text(history(one))
    assert "one run" in text
    assert "Too few runs" in text
    with pytest.raises(NothingToShow, match="next retest"):
        history_figure(history(one))
    with pytest.raises(NothingToShow):
        fleet_figure([])
    with pytest.raises(NothingToShow):
        due_figure([], TODAY)
    assert fleet_text([], TODAY, []) == "The logbook holds no run yet."


def test_rehearsals_stand_apart_and_are_marked_before_and_after() -> None:
    real = glance(years(World(), 1))
    rehearsed = msgspec.structs.replace(real, tag="CR-07", simulated=True)
    text = fleet_text([rehearsed, real], TODAY, [due(real, TODAY), due(rehearsed, TODAY)])
    before, mark, after = text.partition("REHEARSAL")
    assert "CR-11" in before
    assert "CR-07" not in before
    assert "CR-07" in after
    assert mark
    assert text.count("REHEARSAL") == 2
    assert "REHEARSAL" in due_text([due(rehearsed, TODAY)], TODAY)
    simulated = [msgspec.structs.replace(run, simulated=True) for run in years(World(), 1)]
    assert history_text(history(simulated)).count("REHEARSAL") == 2


def test_the_worst_margin_is_first_and_what_is_not_known_before_it() -> None:
    seen = glance(years(World(), 1))
    rows = [
        msgspec.structs.replace(seen, tag=tag, margin_pct=margin)
        for tag, margin in (("a", 20.0), ("b", -3.0), ("c", None), ("d", 4.0))
    ]
    assert [each.tag for each in by_margin(rows)] == ["c", "b", "d", "a"]
    data = fleet_json(rows, [])
    assert isinstance(data["supplies"], list)
    assert data["supplies"][0]["tag"] == "c"


def test_breaks_and_repairs_stand_in_the_text() -> None:
    runs = years(World(loss_per_year=0.03), 2)
    mended = msgspec.structs.replace(runs[4], repairs=(("2023-03-05T12:00:00+01:00", "reservoir replaced"),))
    text = history_text(history([*runs[:4], mended, *runs[5:]]))
    assert "break at 2023-03-05: repaired: reservoir replaced" in text
    assert "BREAK" in text
    across = history_text(history([*runs[:4], mended, *runs[5:]], across=True))
    assert "not compared with what came after" not in across


def test_data_can_be_written_as_json() -> None:
    import json

    json.dumps(history_json(history(years(World(loss_per_year=0.03), 1))), allow_nan=False)
    json.dumps(fleet_json([glance(nasty())], []), allow_nan=False)


def test_what_is_due_at_once_is_due_now_and_never_overdue() -> None:
    failed = Due(
        tag="CR-07", on="2026-01-02", overdue_days=67, procedure="after-repair", reason="failed", words="w"
    )
    text = due_text([failed], TODAY)
    assert "now" in text
    assert "since 2026-01-02" in text
    assert "OVERDUE" not in text
    late = msgspec.structs.replace(failed, reason="interval", overdue_days=1)
    assert "OVERDUE by 1 day " in due_text([late], TODAY)
