"""What a card says of the entry on this supply: where the probe goes, in what unit, and figures worked out.

Expected figures are worked out here from the sheet of CR-11: 24 V, 6 A, 225 VA at 230 V -10 % +10 %.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.desk.attempts import attempt_words, next_attempt_words
from ohmward.desk.card import Card, card, outcome
from ohmward.desk.readings import judged_text, leads_words
from ohmward.desk.words import NEVER_FAILS, ONLY_PAST_STOP
from ohmward.logbook.events import Reading
from ohmward.run import LiveRun, progress
from support import bench as b
from support.walked import CR_11, begun, walk, walked


@pytest.fixture(scope="module")
def state(tmp_path_factory: pytest.TempPathFactory) -> LiveRun:
    with walked(begun(tmp_path_factory.mktemp("here")), lambda item: item.step == "soak-set-up") as live:
        return live


def shown(live: LiveRun, step: str, subject: str = "") -> tuple[str, str]:
    """Return what the card says is set and read now, and what the step comes to here."""
    found = card(live.state, live.state.by_key[step, subject], None, pending=False, meter="")
    return found.now, " / ".join(found.here)


def test_each_reading_of_a_load_point_says_where_it_is_read_and_at_what_current(state: LiveRun) -> None:
    output, _ = shown(state, "load-points.output", "24 @ 50 %")
    assert output == "load 3 A on 24; DC volts at the output terminals of 24"
    reservoir, here = shown(state, "load-points.reservoir", "24 @ 50 %")
    assert "DC volts on the lead brought out from the reservoir of 24" in reservoir
    assert "clip on with mains off" in here
    mains, here = shown(state, "load-points.mains", "24 @ 50 %")
    assert "AC volts at the socket strip" in mains
    assert "reservoir" not in mains + here
    assert shown(state, "load-points.output", "24 @ 0 %")[0].startswith("NO load on 24")


@pytest.mark.parametrize(
    ("step", "subject", "figure"),
    [
        ("first-polarity", "24", "24: 4.8 to 36.0 V"),  # a fifth of 24 V, and half as much again
        ("low-mains", "", "207 V"),  # 230 V less 10 %
        ("high-mains", "", "253 V"),
        ("lamp-first", "", "a tenth is 97.83 mA"),  # 225 VA / 230 V / 10
        ("limiter-ready", "", "a lamp of 100 W"),  # up to 225 VA, as the step says
        # 24 V / 6 A and 24 V x 6 A, and shares of 6 A as the step has them
        ("load-set-up", "", "24: 600 mA (40 Ω, 14.4 W); 1.5 A (16 Ω, 36 W); 3 A (8 Ω, 72 W);"),
        ("load-set-up", "", "6 A (4 Ω, 144 W) / resistors rated for twice the watts or more"),
        ("load-points.output", "24 @ 50 %", "3 A (8 Ω, 72 W); resistors rated for twice the watts"),
        ("ripple.output", "24 @ 100 %", "6 A (4 Ω, 144 W); resistors rated for twice"),
        ("soak-set-up", "", "rated: 24 6 A (4 Ω, 144 W); resistors rated"),
        ("variac-climb", "", "23 V, 57.5 V, 115 V, 172.5 V, 230 V"),
        ("probe-null", "", "24: flat within 600 mV"),  # a fifth of 3 V
        ("fuse-value", "", "T 2 A H"),
        # EN 50106 asks for 10 A; 1.5 times 2 A
        ("earth-bond", "", "10 A or more, as the limit asks; the fuse of 2 A alone: 3 A"),
        ("earth-bond", "", "earth pin of the INLET, cord unplugged"),  # its limit leaves the cord out
        ("hot-earth", "", "earth pin of the INLET, cord unplugged"),
    ],
)
def test_what_a_step_asks_for_is_said_in_volts_and_amperes(
    state: LiveRun, step: str, subject: str, figure: str
) -> None:
    assert figure in shown(state, step, subject)[1]


@pytest.mark.parametrize(
    ("cord", "limit", "path"),
    [
        # IEC 61010-1 6.5.2.4: 0.1 Ω, cord excluded; CTL 363 and EN 50106: 0.1 Ω and a fixed cord of 1.5 m
        ("true", 0.1, "from the earth pin of the INLET, cord unplugged"),
        ("false", 0.139, "from the earth pin of the PLUG, cord included"),
    ],
)
def test_earth_is_measured_over_the_path_that_its_limit_holds_for(
    tmp_path: Path, cord: str, limit: float, path: str
) -> None:
    sheet = CR_11.replace("detachable = true", f"detachable = {cord}")
    with walked(begun(tmp_path, sheet), lambda item: item.spec.id == "earth") as live:
        item = next(each for each in live.state.items if each.spec.id == "earth")
        said = card(live.state, item, None, pending=False, meter="")
        assert item.limit is not None
        assert item.limit.high == pytest.approx(limit, abs=6e-4)
        assert path in said.here
        assert "plug to" not in said.do
        assert "cord included" not in said.method


def test_connecting_up_under_mains_says_to_switch_off_first(state: LiveRun) -> None:
    for step in ("load-set-up", "probe-null", "soak-set-up"):
        assert "x switches off first" in shown(state, step)[1]
    assert "x is not for this" in shown(state, "direct-start")[1]
    assert "x switches off" not in shown(state, "idle-quiet")[1]


def test_hot_outputs_are_held_against_what_was_read_cold(state: LiveRun) -> None:
    entry = state.state.entries["load-points.output", "24 @ 100 %"]
    assert isinstance(entry.event, Reading)
    cold = entry.event.judged.net or 0.0
    _, here = shown(state, "hot-outputs.output", "24 @ 100 %")
    assert "within 3 % is" in here
    low, _, high = here.split("within 3 % is ")[1].split(" V")[0].partition(" to ")
    assert float(low) == pytest.approx(0.97 * cold, abs=0.01)
    assert float(high) == pytest.approx(1.03 * cold, abs=0.01)


def test_a_reading_less_its_leads_keeps_the_figures_of_the_leads(tmp_path: Path) -> None:
    with walked(begun(tmp_path), lambda item: item.step == "earth", {("lead-null", ""): "0.26"}) as live:
        item = live.state.by_key["earth", "case"]
        assert "0.26 Ω is taken off by the tool" in " ".join(
            card(live.state, item, None, pending=False, meter="").here
        )
        live.read("earth", "case", "0.3")
        event = live.state.entries["earth", "case"].event
        assert isinstance(event, Reading)
        assert judged_text(event, item) == "0.04 Ω"  # 0.3 Ω less 0.26 Ω, and not 0.0 Ω
        assert leads_words(event, item) == "Read 0.3 Ω, less 0.26 Ω of the test leads."


def test_what_is_read_again_says_which_attempt_it_is_and_what_stood_before(tmp_path: Path) -> None:
    with walked(begun(tmp_path), lambda item: item.step == "earth") as live:
        item = live.state.by_key["earth", "case"]
        assert next_attempt_words(live.state, item) == ""
        live.read("earth", "case", "0.95")
        assert attempt_words(live.state, item) == ""
        assert next_attempt_words(live.state, item).startswith("attempt 2; before it: 0.75 Ω, FAIL")
        live.read("earth", "case", "0.23")
        found = outcome(live.state, item)
        assert found is not None
        assert found.words[0].startswith("Attempt 2; before it: 0.75 Ω, FAIL")
        walk(live, lambda _: True)


def test_a_stop_a_reading_without_a_limit_and_a_meter_are_said_plainly(state: LiveRun) -> None:
    def of(step: str, subject: str = "", meter: str = "") -> Card:
        return card(state.state, state.state.by_key[step, subject], None, pending=False, meter=meter)

    assert of("case-voltage").stop == "above 30 V: switch off at once"
    assert of("output-no-load", "24").stop.startswith("below -1 V or above ")
    assert of("load-points.reservoir", "24 @ 50 %").limit.startswith("none: it is recorded")
    assert of("load-points.mains", "24 @ 50 %").severity is NEVER_FAILS
    assert of("load-points.reservoir", "24 @ 50 %").severity is ONLY_PAST_STOP
    assert of("case-voltage", meter="multimeter").meter == "multimeter"
    assert of("case-voltage", meter="red one").meter == "multimeter: red one"


def test_what_is_undecided_is_not_counted_as_failed() -> None:
    state = b.folded(b.opened(), b.reading("lead-null", "", "0.2", verdict="undecided"))
    stage = next(each for each in progress(state) if each.name == "earth")
    assert (stage.failed, stage.undecided) == (0, 1)
    failed = b.folded(b.opened(), b.reading("lead-null", "", "9", verdict="fail"))
    stage = next(each for each in progress(failed) if each.name == "earth")
    assert (stage.failed, stage.undecided) == (1, 0)


def test_hot_readings_are_held_against_the_cold_ones_of_ordinary_mains(tmp_path: Path) -> None:
    """The highest part is named, and copper: 0.393 % for each kelvin (IEC 60028), 40 K: 15.7 %."""
    read = {
        ("low-mains-outputs.output", "24 @ 100 %"): "22.1",
        ("earth", "lid"): "0.28",
        ("lead-null", ""): "0.2",
    }
    with walked(begun(tmp_path), lambda item: item.step == "soak-set-up", read) as live:
        cold, primary = (
            live.state.entries[key].event
            for key in (("load-points.output", "24 @ 100 %"), ("primary-resistance", ""))
        )
        assert isinstance(cold, Reading)
        assert isinstance(primary, Reading)
        assert cold.judged.net is not None
        assert primary.judged.net is not None
        here = shown(live, "hot-outputs.output", "24 @ 100 %")[1]
        assert float(here.split("cold it read ")[1].split(" V")[0]) == pytest.approx(
            cold.judged.net, abs=0.01
        )
        assert "highest so far: lid, 80 mΩ" in shown(live, "hot-earth")[1]
        hotter = float(shown(live, "hot-primary")[1].split("hotter it reads ")[1].split(" ")[0])
        assert hotter == pytest.approx(1.157 * primary.judged.net, rel=2e-3)
