"""Every reading of the shipped procedures says in help what meter will do; what is no proof says so.

EN 50678: at least 200 mA through a protective conductor; EN 50106:2008: at least 10 A; IEC 61557-2 4.4:
the test voltage of an insulation tester holds at 1 mA. Second hand, as the limit sets have them.
"""

from __future__ import annotations

import pytest

from ohmward.desk.help_rows import step_help
from ohmward.desk.meter_will_do import will_do_words
from ohmward.procedure import load
from ohmward.procedure.model import Item
from ohmward.shipped import names
from support import bench as b

READ = {
    step.id: Item(
        stage=stage.name, step=step.id, kind=step.kind, spec=step, read=read, energised=stage.energised
    )
    for name in names("procedures")
    for stage in load(name).stages
    for step in stage.steps
    for read in step.reads
}


def test_every_reading_says_it() -> None:
    assert {step for step, item in READ.items() if not will_do_words(item)} == {"humidity"}


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("earth", "no proof that the path carries a fault's current"),
        ("earth", "EN 50678 asks for 200 mA or more, EN 50106 for 10 A"),
        ("earth-bond", "a multimeter's ohms range is none"),
        ("lead-null", "lowest ohms range"),
        ("insulation", "holds its voltage at 1 mA (IEC 61557-2)"),
        ("insulation", "is no insulation test"),
        ("mains-no-load", "measurement category II"),
        ("ripple", "20 MHz"),
        ("primary-resistance", "Four wires below 20 Ω"),
    ],
)
def test_what_will_do_and_what_is_no_proof(step: str, words: str) -> None:
    assert words in will_do_words(READ[step])


def test_help_has_it_for_the_step_in_hand() -> None:
    run = b.folded(b.opened())
    part = step_help(run, run.item("insulation"))[0]
    assert any(line.startswith("A meter that will do: ") for line in part.lines)
