"""That all rails are computed hot, and one rail alone cold, is said wherever both stand side by side."""

from __future__ import annotations

import re

from ohmward.desk import expected_rows
from ohmward.physics import expect
from ohmward.physics.expectation import ALL_HOT
from ohmward.procedure import load_limits
from ohmward.report.document.blocks import Paragraph, Table
from ohmward.report.document.stages import stages
from ohmward.report.document.words import load_words
from ohmward.report.text import expectation_text
from ohmward.shipped import folder
from ohmward.supply import load, loads
from support.reports import HEALTHY, source

NAMEPLATE = """
tag = "CR-02"
title = "Second-hand supply (simulated example)"
protection_class = "I"
[mains]
voltage = "230 V"
frequency = "50 Hz"
[[rail]]
name = "5"
nominal = "5 V"
rated_current = "3 A"
"""


def test_the_figures_say_so_and_one_line_says_what_that_means() -> None:
    supply = load(folder("demo") / "CR-07.toml")
    expected = expect(supply, draws=0, margins=False)
    text = expectation_text(supply, expected, load_limits(supply.limit_set))
    assert len(re.findall(rf" 1\.2 A, {ALL_HOT}  ", text)) == 2  # +15 and -15
    assert text.count(expected.all_hot_words) == 1
    assert "end of a soak" in expected.all_hot_words
    loads_ = {row.load for row in expected_rows.rows(expected) if row.subject == "rail +15"}
    assert ALL_HOT in loads_


def test_nothing_is_said_of_figures_that_are_guesses() -> None:
    assert expect(loads(NAMEPLATE), draws=0, margins=False).all_hot_words == ""


def test_the_report_says_it_in_the_stage_where_both_stand_and_nowhere_else() -> None:
    words = load_words()
    said = words("stage.all_hot")
    blocks = stages(words, source(HEALTHY))
    places = [n for n, block in enumerate(blocks) if isinstance(block, Paragraph) and block.text == said]
    tables = [blocks[place - 1] for place in places]
    assert places
    for table in tables:
        assert isinstance(table, Table)
        about = [row.cells[0] for group in table.groups for row in group.rows if row.cells[5].strip("–")]
        assert any("all rails" in each or each.startswith("+15 @") for each in about), about
