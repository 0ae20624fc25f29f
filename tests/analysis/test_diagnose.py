"""Causes named from readings: simulated supplies, supplies read by ngspice, whole runs, and the parts.

Here a part of the study in `tests/benchmarks/diagnosis.py` (the first 24 of its 300 supplies with a fault
and 12 without), and all 56 supplies whose readings ngspice made.
"""

from __future__ import annotations

import json
import math
import time
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from benchmarks import diagnosis as study
from benchmarks import diagnosis_ngspice as spice
from ohmward.analysis._dead import answer_terms, dead_terms
from ohmward.analysis._gather import gather
from ohmward.analysis._hypotheses import Levels, singles
from ohmward.analysis._likelihood import LIMIT, Scale, _boxed, fit, student
from ohmward.analysis._observations import DEAD_KEYS, CheckAnswer, Observation
from ohmward.analysis._predictions import Bench
from ohmward.analysis._priors import CHECKS, HEALTHY, UNKNOWN, WEIGHTS
from ohmward.analysis._readings import reading
from ohmward.analysis.assessment import assess, to_json
from ohmward.analysis.diagnose import diagnose, diagnose_run
from ohmward.logbook import read
from ohmward.physics.condition import Unit
from ohmward.physics.design import build
from ohmward.physics.faults import FAULTS, apply, subjects
from ohmward.run import state
from ohmward.run.assess import facts_of
from ohmward.supply.model import Mains, Rail, Supply
from physics import ngspice

FAULTY, HEALTHY_UNITS = 24, 12
DEAD = {name for name, entry in FAULTS.items() if entry.moves.keys() & DEAD_KEYS}
"""Faults of dead tests, whose reasons are worded otherwise."""
RUNS = Path(__file__).parents[2] / "sample_logs" / "runs" / "CR-07"


# --- how often it is right ---------------------------------------------------------------------------


def test_the_true_fault_is_named() -> None:
    ranks = []
    for seed in range(FAULTY):
        case = study.case(seed)
        found = diagnose(case.supply, case.observations, case.answers)
        if case.shows:
            ranks.append(study.rank(found, case.fault, case.subject))
    assert len(ranks) > FAULTY / 2
    # asked for: first in 85 %, in the first three in 97 %; of so few one may miss
    assert np.mean(np.array(ranks) == 1) >= 0.85, ranks
    assert sum(rank > 3 for rank in ranks) <= 1, ranks


def test_healthy_supplies_are_called_healthy() -> None:
    cases = [study.case(10000 + seed, healthy=True) for seed in range(HEALTHY_UNITS)]
    healthy = [diagnose(case.supply, case.observations, case.answers).healthy for case in cases]
    # asked for: 97 %; of so few one may miss
    assert sum(healthy) >= HEALTHY_UNITS - 1


def test_faults_in_supplies_read_by_ngspice_are_named() -> None:
    cases: list[dict[str, Any]] = json.loads(spice.STORE.read_text(encoding="ascii"))
    assert len(cases) >= 40
    ranks = []
    for case in cases:
        found = diagnose(spice.supply(case), *spice.readings(case))
        ranks.append(study.rank(found, case["fault"], spice.subject(case)))
    assert np.mean(np.array(ranks) == 1) >= 0.80, ranks


@pytest.mark.parametrize("seed", [1, 10])
def test_the_stored_readings_are_what_ngspice_says(seed: int) -> None:
    ngspice.require()
    stored = json.loads(spice.STORE.read_text(encoding="ascii"))[seed]
    again = spice.made(seed, (1.0,))
    assert stored["rails"] == again["rails"]
    for name, value in again["readings"]["1"].items():
        # versions of ngspice differ in their steps
        assert value == pytest.approx(stored["readings"]["1"][name], rel=2e-3, abs=2e-3)


def test_two_faults_at_once_are_named_together() -> None:
    right = 0
    pairs = [
        ("reservoir-dried", "ac-joint"),
        ("open-diode", "output-joint"),
        ("reservoir-esr", "bleeder-missing"),
    ]
    for seed, (one, other) in enumerate(pairs):
        case = study.case(3, healthy=True)
        first, second = (rail.name for rail in case.supply.rails[:2])
        unit = apply(
            other,
            apply(one, Unit(sheet=case.supply), first),
            second,
            size=FAULTS[other].sizes[-1] if FAULTS[other].sizes else None,
        )
        seen = study.asked(case.supply, 230.0, 23.0)
        shown = study.shown(np.random.default_rng(seed), seen, study.true_readings(unit, seen, seed))
        best = diagnose(case.supply, shown).causes[0]
        right += set(best.fault.split(" & ")) == {one, other} and set(best.subject.split(" & ")) == {
            first,
            second,
        }
    assert right >= 2


def test_nothing_fits_what_no_fault_can_do() -> None:
    case = study.case(3, healthy=True)
    odd = [
        msgspec.structs.replace(seen, value=seen.value * (1.35 if seen.key == "output_v" and n % 2 else 1.0))
        for n, seen in enumerate(case.observations)
    ]
    found = diagnose(case.supply, odd)
    assert not found.fits
    assert found.causes[0].fault == "unknown"
    assert found.causes[0].title.startswith("Nothing here fits")
    # every second output reads 1.35 times what it is: those are named, with what they should be
    named = found.causes[0].because
    assert 1 < len(named) <= 5
    shifted = {
        wrong.title or wrong.key
        for wrong, sound in zip(odd, case.observations, strict=True)
        if wrong.value != sound.value
    }
    assert all(line.partition(":")[0] in shifted for line in named)
    assert all(" if sound" in line for line in named)


def test_a_three_rail_diagnosis_is_quick() -> None:
    case = next(c for c in (study.case(seed) for seed in range(8)) if len(c.supply.rails) == 3)
    diagnose(case.supply, case.observations, case.answers)
    began = time.process_time()
    diagnose(case.supply, case.observations, case.answers)
    # asked for: 3 s; processor time, so that a busy machine does not decide
    assert time.process_time() - began < 3.0


# --- what it says --------------------------------------------------------------------------------------


def test_a_cause_comes_with_its_reasons_and_the_way_to_make_sure() -> None:
    case = next(each for each in map(study.case, range(1, 9)) if each.moved > 6.0 and not DEAD & {each.fault})
    found = diagnose(case.supply, case.observations, case.answers)
    best = found.causes[0]
    entry = FAULTS[case.fault]
    assert (best.fault, best.subject) == (case.fault, case.subject)
    assert best.because
    assert all("sound" in reason and "with this" in reason for reason in best.because[:1])
    assert best.confirm == entry.confirm
    assert best.alike == entry.alike
    assert best.make_safe == entry.make_safe
    assert sum(cause.probability for cause in found.causes) == pytest.approx(1.0, abs=1e-6)


def test_what_speaks_against_a_cause_is_told_with_it() -> None:
    """By hand: with an open diode 'all ripple at twice the mains' passes in 1 of 10, without in 98 of 100."""
    case = study.case(78)
    assert case.fault == "open-diode"
    told = {}
    for rail in (each.name for each in case.supply.rails):
        passed = CheckAnswer(step="ripple-frequency", subject=rail, failed=False, title="Ripple frequency")
        best = diagnose(case.supply, case.observations, [*case.answers, passed]).causes[0]
        assert best.names("open-diode", case.subject)
        told[rail] = best.against
    assert told.pop(case.subject) == (f"Ripple frequency ({case.subject}): passed",)
    assert set(told.values()) == {()}  # of another rail it says nothing


def test_a_good_earth_reading_speaks_against_a_loose_one() -> None:
    case = study.case(3, healthy=True)
    seen = [o for o in case.observations if o.key == "no_load_v"]
    earth = Observation(key="earth_ohm", value=0.055, unit="Ω", title="Earth")
    moved = CheckAnswer(step="earth-wiggle", failed=True, title="Steady while the cord is moved")
    found = diagnose(case.supply, [*seen, earth], [moved])
    loose = next(each for each in found.causes if each.fault == "loose-earth")
    assert loose.because == ("Steady while the cord is moved: failed",)
    assert len(loose.against) == 1
    assert loose.against[0].startswith("Earth: 55 mΩ, where ")


def test_a_failed_ripple_frequency_check_points_at_the_diode() -> None:
    case = study.case(3, healthy=True)
    rail = case.supply.rails[0].name
    seen = [o for o in case.observations if o.key == "no_load_v"]
    passed, failed = (
        diagnose(case.supply, seen, [CheckAnswer(step="ripple-frequency", subject=rail, failed=fails)])
        for fails in (False, True)
    )
    assert failed.probability("open-diode", rail) > 20 * passed.probability("open-diode", rail)
    assert passed.healthy


def test_an_open_earth_is_told_from_a_loose_one() -> None:
    case = study.case(3, healthy=True)
    seen = [o for o in case.observations if o.key == "no_load_v"]
    for ohm, bound, name in ((0.6, "exact", "loose-earth"), (1e3, "above", "earth-core-broken")):
        earth = Observation(key="earth_ohm", value=ohm, bound=bound, unit="Ω", title="Earth")  # type: ignore[arg-type]
        best = diagnose(case.supply, [*seen, earth]).causes[0]
        assert best.fault == name
        assert any("Earth" in reason for reason in best.because)


def test_a_cord_is_no_excuse_where_the_earth_was_measured_without_it() -> None:
    case = study.case(3, healthy=True)
    earth = Observation(key="earth_ohm", value=1.9, unit="Ω", title="Earth")
    through, without = (diagnose(case.supply, [earth], through_cord=each).causes[0] for each in (True, False))
    assert (through.fault, without.fault) == ("loose-earth", "loose-earth")
    assert "cord" in through.alike
    assert without.alike == ""


def test_without_papers_dead_tests_and_checks_still_speak() -> None:
    bare = Supply(
        tag="CR-02", title="no papers", protection_class="I", mains=Mains(voltage_v=230.0, frequency_hz=50.0),
        rails=(Rail(name="+5", nominal_v=5.0, rated_current_a=3.0),),
    )  # fmt: skip
    earth = Observation(key="earth_ohm", value=0.8, unit="Ω", title="Earth")
    assert diagnose(bare, [earth]).causes[0].fault == "loose-earth"


def _bleeder(fitted_ohm: float | None, read_ohm: float, *answers: CheckAnswer) -> Any:
    """Diagnose a sound unit whose first rail has, by the sheet, this bleeder, and where one was read."""
    case = study.case(3, healthy=True)
    first = case.supply.rails[0]
    assert first.reservoir is not None
    rail = msgspec.structs.replace(
        first, reservoir=msgspec.structs.replace(first.reservoir, bleeder_ohm=fitted_ohm)
    )
    sheet = msgspec.structs.replace(case.supply, rails=(rail, *case.supply.rails[1:]))
    seen = [
        msgspec.structs.replace(each, value=read_ohm)
        if each.key == "bleeder_ohm" and each.subject == rail.name
        else each
        for each in case.observations
    ]
    return diagnose(sheet, seen, answers), rail


@pytest.mark.parametrize(("fitted_ohm", "read_ohm"), [(None, 4700.0), (None, 22e3), (22e3, 4700.0)])
def test_a_bleeder_that_is_not_the_sheets_is_not_taken_for_a_reservoir_that_leaks(
    fitted_ohm: float | None, read_ohm: float
) -> None:
    found, rail = _bleeder(fitted_ohm, read_ohm)
    best = found.causes[0]
    assert (best.fault, best.subject) == ("bleeder-unlisted", rail.name)
    assert "put it on the sheet" in best.confirm
    assert best.harmless
    assert best.severity == "improvement"
    assert found.probability("reservoir-leaky", rail.name) < 0.4
    # together they are no fault of the unit, and nothing is called likely
    assert sum(cause.probability for cause in found.causes if cause.harmless) > 0.5


def test_a_can_that_was_seen_to_bulge_makes_the_same_reading_a_leak() -> None:
    # as low as a leak of a twentieth of the rated current would read
    case = study.case(3, healthy=True)
    rail = case.supply.rails[0]
    low = abs(rail.nominal_v) / (0.05 * rail.rated_current_a)
    bulged = CheckAnswer(step="electrolytics", subject=rail.name, failed=True)
    without, with_it = (_bleeder(None, low, *said)[0] for said in ((), (bulged,)))
    assert 0.05 < without.probability("reservoir-leaky", rail.name) < 0.5
    assert with_it.causes[0].names("reservoir-leaky", rail.name)


def test_a_leak_of_watts_is_no_bleeder() -> None:
    # 30 Ω on a rail of 9 V: nearly three watts
    case = study.case(3, healthy=True)
    rail = case.supply.rails[0]
    leaky = apply("reservoir-leaky", Unit(sheet=case.supply), rail.name, size=0.15)
    seen = study.asked(case.supply, 230.0, 23.0)
    shown = study.shown(np.random.default_rng(3), seen, study.true_readings(leaky, seen, 3))
    best = diagnose(case.supply, shown).causes[0]
    assert (best.fault, best.subject) == ("reservoir-leaky", rail.name)
    assert best.probability > 0.9


def test_a_bleeder_as_on_the_sheet_is_sound() -> None:
    found, _ = _bleeder(4700.0, 4700.0)
    assert found.healthy
    assert found.probability("bleeder-unlisted") < 0.02


def test_one_heat_sink_that_is_far_too_hot_while_all_voltages_are_right_is_named_with_its_rail() -> None:
    """By hand: 26 K over the room as predicted, 50 K as read: nearly twice its thermal resistance."""
    facts = _facts("2026-03-02-01-commissioning")
    seen = gather(facts, facts.supply).observations
    (sink,) = [each for each in seen if (each.key, each.subject) == ("heatsink_c", "+15")]
    assert diagnose(facts.supply, seen).healthy
    hot = sink.ambient_c + 2.0 * (sink.value - sink.ambient_c)
    found = diagnose(
        facts.supply, [msgspec.structs.replace(each, value=hot) if each is sink else each for each in seen]
    )
    best = found.causes[0]
    assert (best.fault, best.subject) == ("sink-sheds-badly", "+15")
    assert best.probability > 0.9
    assert "smaller than listed" in best.alike
    assert "dry interface" in best.alike


@pytest.mark.parametrize("of_usual_a", [1.0, 12.0])
def test_a_hot_transformer_has_shorted_turns_only_where_its_current_without_load_is_high(
    of_usual_a: float,
) -> None:
    """Shorted turns: 'no-load current ×5-50', voltages 2 to 10 % down (workshop experience, no source)."""
    facts = _facts("2026-03-02-01-commissioning")
    hot, down = [], []
    for seen in gather(facts, facts.supply).observations:
        value = seen.value
        if (seen.key, seen.subject) == ("surface_c", "T1"):
            value = seen.ambient_c + 2.0 * (seen.value - seen.ambient_c)
        if seen.key == "mains_no_load_a":
            value *= of_usual_a
            down.append(seen)
        hot.append(msgspec.structs.replace(seen, value=value))
    assert len(down) == 1
    found = diagnose(facts.supply, hot)
    shorted = found.probability("shorted-turns") + found.probability("core-bolt-turn")
    if of_usual_a > 1.0:
        assert shorted > found.probability("transformer-sheds-badly")
    else:
        assert (found.causes[0].fault, found.causes[0].subject) == ("transformer-sheds-badly", "T1")
        assert shorted < 0.05


# --- whole runs ------------------------------------------------------------------------------------------


def _facts(name: str) -> Any:
    return facts_of(state(read(RUNS / f"{name}.jsonl")))


def test_a_run_with_an_open_diode_says_so() -> None:
    found = assess(_facts("2026-03-03-01-commissioning"))
    best = found.causes[0]
    assert (best.fault, best.subject) == ("open-diode", "24")
    assert best.probability > 0.9
    assert any(line.startswith("Most likely") for line in found.summary)
    shown: Any = to_json(found)
    assert {"fault", "probability", "because", "confirm"} <= shown["causes"][0].keys()
    assert "characterised" in shown["rails"]["24"]
    json.dumps(shown, allow_nan=False)
    assert set(found.frames()["causes"]["fault"]) >= {"open-diode"}


def test_a_healthy_run_asks_for_no_cause_and_tells_its_hidden_parts() -> None:
    facts = _facts("2026-03-02-01-commissioning")
    found = assess(facts)
    assert found.causes == ()
    assert not any("likely" in line for line in found.summary)
    for name, farad in (("+15", 6.8e-3), ("-15", 6.8e-3), ("+48", 1e-3), ("24", 10e-3)):
        parts = found.rails[name].characterised
        assert parts is not None
        # the sheet's own tolerance, and what the readings leave open
        assert parts.capacitance_f == pytest.approx(farad, rel=0.2 + parts.capacitance_f_uncertainty / farad)
    # asked all the same, it is called healthy
    answer = diagnose_run(facts)
    assert answer is not None
    assert answer.healthy


# --- the parts -------------------------------------------------------------------------------------------


def test_the_library_has_a_weight_for_every_fault_and_no_other() -> None:
    assert set(WEIGHTS) == set(FAULTS)
    assert {name for tell in CHECKS.values() for name in tell.faults} <= set(FAULTS)


def test_every_fault_stands_in_every_place_it_can_sit_in() -> None:
    supply = study.case(3, healthy=True).supply
    hypotheses = singles(supply)
    names = {h.name[0] for h in hypotheses}
    assert names == {(name, place) for name, entry in FAULTS.items() for place in subjects(entry, supply)}
    chance = sum(math.exp(h.prior) for h in hypotheses)
    assert chance == pytest.approx(1 - HEALTHY - UNKNOWN)


def test_levels_spread_like_random_units() -> None:
    # the covariance over the rows of the Hadamard matrix against that of a plain Monte Carlo
    supply = study.case(3, healthy=True).supply
    seen = [
        o for o in study.asked(supply, 230.0, 25.0) if o.key in ("no_load_v", "primary_ohm", "bleeder_ohm")
    ]
    bench = Bench(supply, seen)
    units = build(Unit(sheet=supply), rng=np.random.default_rng(5), draws=20000)
    random = np.stack([reading(units, None, each) for each in seen], axis=1)[1:]
    assert bench.sound[1:].std(axis=0) == pytest.approx(random.std(axis=0), rel=0.05)
    assert bench.sound[1:].mean(axis=0) == pytest.approx(random.mean(axis=0), rel=0.01)


def test_levels_are_orthogonal_columns_of_one_variance() -> None:
    levels = Levels(64)
    columns = np.stack([levels.uniform(-1.0, 1.0, 64) for _ in range(40)], axis=1)
    # a rectangle from -1 to 1 has a variance of a third (GUM 4.3.7)
    assert columns.T @ columns / 64 == pytest.approx(np.eye(40) / 3, abs=1e-12)


def test_limits_on_tolerances_against_a_bounded_least_squares() -> None:
    from scipy.optimize import lsq_linear

    rng = np.random.default_rng(2)
    for _ in range(20):
        a, b = rng.normal(size=(30, 12)), 8 * rng.normal(size=30)
        whole, right = np.vstack([a, np.eye(12)]), np.concatenate([b, np.zeros(12)])
        inside = lsq_linear(whole, right, bounds=(-LIMIT, LIMIT), method="bvls", tol=1e-12).cost
        free = np.square(whole @ np.linalg.lstsq(whole, right, rcond=None)[0] - right).sum() / 2
        assert _boxed(a.T @ a + np.eye(12), a.T @ b) == pytest.approx(inside - free, rel=1e-3, abs=1e-6)


def test_the_joint_density_is_a_multivariate_t() -> None:
    from scipy.stats import multivariate_t

    from ohmward.analysis._likelihood import TAILS

    rng = np.random.default_rng(4)
    seen = [Observation(key="output_v", subject="a", value=v, own=0.05) for v in (10.0, 11.0, 12.5)]
    scale = Scale(seen, frozenset())
    predicted = np.array([10.1, 11.0, 12.3]) + rng.normal(size=(65, 3)) * 0.2
    found = fit(scale, predicted, terms=True)
    x = predicted[1:]
    cov = np.cov(x.T, bias=True) + scale.noise
    expected = multivariate_t(x.mean(axis=0), cov, df=int(TAILS)).logpdf(scale.y)
    assert found.log_likelihood == pytest.approx(float(expected), rel=1e-9)
    assert found.terms.sum() == pytest.approx(found.log_likelihood, rel=1e-9)
    assert student(0.0, 0) == 0.0


def test_answers_and_dead_tests_weigh_the_way_they_point() -> None:
    fails = CheckAnswer(step="ripple-frequency", subject="+15", failed=True)
    assert answer_terms(fails, {"open-diode": "+15"}) > answer_terms(fails, {}) + 3
    assert answer_terms(fails, {"open-diode": "-15"}) == answer_terms(fails, {})
    assert answer_terms(CheckAnswer(step="label", failed=True), {}) == 0.0
    low = Observation(key="insulation_ohm", value=3e6, unit="Ω")
    damp = FAULTS["damp-insulation"]
    assert dead_terms(low, [damp], {damp.name: 5e6}) > dead_terms(low, [], {}) + 3
    good = Observation(key="insulation_ohm", value=200e6, unit="Ω", bound="above")
    assert dead_terms(good, [damp], {damp.name: 5e6}) < dead_terms(good, [], {}) - 3


def test_places_that_nothing_tells_apart_are_one_cause() -> None:
    # a lamp that stays bright says that something is shorted, not where
    supply = study.case(3, healthy=True).supply
    found = diagnose(supply, [], [CheckAnswer(step="lamp-first", failed=True)])
    named = [cause for cause in found.causes if cause.fault == "shorted-diode"]
    assert len(named) == 1
    assert all(rail.name in named[0].subject for rail in supply.rails)
    assert found.causes[0].fault == "shorted-diode"
    assert {c.fault for c in found.causes[:4]} >= {"shorted-turns", "core-bolt-turn"}


def test_a_failed_danger_check_is_never_called_healthy() -> None:
    supply = study.case(3, healthy=True).supply
    for step in (
        "lamp-first",
        "fuse-in-line",
        "cord-cores",
        "earth-wiggle",
        "voltage-selector",
        "toroid-bolt",
    ):
        found = diagnose(supply, [], [CheckAnswer(step=step, failed=True)])
        assert not found.healthy, step


@pytest.mark.parametrize("before_s", [0.0, 3600.0])
@pytest.mark.parametrize("fault", ["shorted-turns", "wrong-tap"])
def test_a_unit_warm_from_what_was_read_before_is_told_as_well(fault: str, before_s: float) -> None:
    # what stood on the rails before is not told; the windings are as warm as it made them
    supply = study.case(3, healthy=True).supply
    name = supply.transformers[0].name
    seen = study.asked(supply, 231.0, 22.0)
    true = study.true_readings(apply(fault, supply, name), seen, 5, before_s=before_s, wander=study.WANDER)
    found = diagnose(supply, study.shown(np.random.default_rng(5), seen, true))
    assert (fault, name) in {(c.fault, c.subject) for c in found.causes[:3]}
    assert found.fits


def test_a_reading_at_another_mains_is_foretold_at_that() -> None:
    # readings at nearly the same mains are computed at one, and moved; against computing them at their own,
    # to a third of what the model is taken to be off by
    supply = study.case(3, healthy=True).supply
    seen = study.asked(supply, 230.0, 22.0)
    moved = [msgspec.structs.replace(each, mains_read_v=230.5) for each in seen]
    own = [msgspec.structs.replace(each, mains_v=230.5) for each in seen]
    one, other = (Bench(supply, each).sound[0] for each in (moved, own))
    regulated = {rail.name for rail in supply.rails if rail.regulator is not None}
    follows = [
        n
        for n, each in enumerate(seen)
        if each.key in ("no_load_v", "reservoir_v")
        or (each.key == "output_v" and each.subject not in regulated)
    ]
    assert one[follows] == pytest.approx(other[follows], rel=5e-4)
    assert Bench(supply, seen).sound[0][follows] != pytest.approx(other[follows], rel=1e-3)


def test_a_rail_without_voltage_tells_of_the_transformer_that_feeds_it() -> None:
    supply = study.case(3, healthy=True).supply
    rail = supply.rails[0]
    found = diagnose(supply, [], [CheckAnswer(step="first-polarity", subject=rail.name, failed=True)])
    fed_by = rail.sources[0].split(".")[0]
    named = [cause for cause in found.causes[:3] if cause.fault == "secondaries-antiphase"]
    assert [cause.subject for cause in named] == [fed_by]
    assert not found.healthy


def test_screening_leaves_a_neighbour_on_the_same_transformer_alone() -> None:
    # all places have the fault at once while screening; against each unit computed by itself
    supply = study.case(4, healthy=True).supply
    feeds = [s.split(".")[0] for rail in supply.rails if rail.regulator is not None for s in rail.sources]
    assert max(feeds.count(name) for name in feeds) > 1
    bench = Bench(supply, study.asked(supply, 230.0, 22.0))
    drifts = [each for each in singles(supply) if each.parts[0].fault.name == "reference-drift"]
    together, alone = bench.screen(drifts), bench.nominals(drifts)
    outputs = [n for n, each in enumerate(bench.seen) if each.key == "output_v"]
    assert together[:, outputs] == pytest.approx(alone[:, outputs], rel=2e-3)
