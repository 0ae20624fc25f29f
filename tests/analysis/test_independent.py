"""Supplies in parts that share no transformer: what is shared, what is found, how much is computed for it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks import diagnosis as study
from benchmarks.diagnosis_rails import equal_rails, read
from ohmward.analysis import _crowded, _pairs, _screening, _whole
from ohmward.analysis._hypotheses import HEALTHY_UNIT, Hypothesis, Levels, singles
from ohmward.analysis._independent import independent, own
from ohmward.analysis._observations import Observation
from ohmward.analysis._predictions import Bench
from ohmward.analysis._results import Diagnosis
from ohmward.analysis._sharing import Said, rest, said
from ohmward.analysis._whole import Whole
from ohmward.analysis.diagnose import diagnose
from ohmward.physics.condition import Unit
from ohmward.physics.faults import apply
from ohmward.supply.model import Supply
from support.supplies import rail, supply, transformer

SOUND_SIX = equal_rails(6, on_one=3)


def read_with(sheet: Supply, *faults: tuple[str, str], seed: int = 4) -> list[Observation]:
    unit = Unit(sheet=sheet)
    for name, where in faults:
        unit = apply(name, unit, where)
    seen = study.asked(sheet, 231.0, 22.0)
    return study.shown(np.random.default_rng(seed), seen, study.true_readings(unit, seen, seed))


# --- parts


def test_rails_on_one_transformer_are_one_part_and_the_sheet_itself_where_there_is_but_one() -> None:
    parts = independent(equal_rails(7, on_one=3))
    assert [[each.name for each in part.rails] for part in parts] == [
        ["+0", "+1", "+2"],
        ["+3", "+4", "+5"],
        ["+6"],
    ]
    assert [[each.name for each in part.transformers] for part in parts] == [["T0"], ["T1"], ["T2"]]
    whole = supply()
    assert independent(whole) == (whole,)


def test_a_rail_without_a_stated_winding_is_a_part_and_one_known_by_its_nameplate_is_in_none() -> None:
    unknown = rail("+9", 9.0, sources=())
    plate = rail("+3", 3.0, regulated=False, sources=(), rectifier=None, reservoir=None)
    parts = independent(supply(rails=(rail(), unknown, plate), transformers=(transformer(),)))
    assert sorted([each.name for each in part.rails] for part in parts) == [["+15"], ["+9"]]


def test_a_part_sees_its_own_readings_with_its_own_loads_and_those_at_the_plug() -> None:
    first, second = independent(SOUND_SIX)
    loads = tuple((each.name, 0.2) for each in SOUND_SIX.rails)
    output = Observation(key="output_v", subject="+4", value=15.0, loads=loads)
    assert own(first, output) is None
    seen = own(second, output)
    assert seen is not None
    assert [name for name, _ in seen.loads] == ["+3", "+4", "+5"]
    mains = Observation(key="mains_a", value=0.5, loads=loads, unit="A")
    assert all(own(part, mains) is not None for part in (first, second))


# --- what they share


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 4), st.integers(0, 2))
def test_what_parts_say_of_each_other_is_what_one_whole_covariance_says(
    seed: int, count: int, plug: int
) -> None:
    # independent route: the joint Gaussian of all readings, its block of the last part given the others
    rng = np.random.default_rng(seed)
    shared = 3
    sizes = [int(n) for n in rng.integers(2, 6, size=count + 1)]
    total = sum(sizes) + plug
    by, cov, y = np.zeros((total, shared)), np.zeros((total, total)), rng.normal(size=total) * 2
    there = np.arange(sum(sizes), total)
    cov[there, there] = 0.1
    spoke: list[Said] = []
    start = 0
    for at, size in enumerate(sizes):
        rows = np.concatenate([np.arange(start, start + size), there])
        root = rng.normal(size=(len(rows), len(rows) + 2))
        block, slopes = root @ root.T + np.eye(len(rows)), rng.normal(size=(len(rows), shared))
        cov[np.ix_(rows, rows)] += block
        by[rows] += slopes
        if at < count:
            at_plug = np.arange(len(rows)) >= size
            residual = np.where(at_plug, 0.0, y[rows])
            spoke.append(said(residual=residual, cov=block, slopes=slopes, at_plug=at_plug, ripple=0.0))
        else:
            mine, own_block, own_slopes = rows, block.copy(), slopes
            own_block[size:, size:] += 0.1 * np.eye(plug)
        start += size
    whole = cov + by @ by.T
    found = rest(spoke, shared, plug)
    to = np.concatenate([own_slopes, np.eye(len(mine))[:, len(mine) - plug :]], axis=1)
    mean, given_them = found.applied(np.zeros(len(mine)), own_block + own_slopes @ own_slopes.T, to)
    others = np.setdiff1d(np.arange(total), mine)
    gain = np.linalg.solve(whole[np.ix_(others, others)], whole[np.ix_(others, mine)]).T
    assert mean == pytest.approx(gain @ y[others], rel=1e-6, abs=1e-6)
    expected = whole[np.ix_(mine, mine)] - gain @ whole[np.ix_(others, mine)]
    assert given_them == pytest.approx(expected, rel=1e-6, abs=1e-6)
    distance = float(y[others] @ np.linalg.solve(whole[np.ix_(others, others)], y[others]))
    assert found.distance == pytest.approx(distance, rel=1e-6, abs=1e-6)
    determinant = np.linalg.slogdet(whole[np.ix_(others, others)])[1] / 2
    assert found.logdet == pytest.approx(float(determinant), rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("faults", [(), (("open-diode", "+4"),), (("low-mains", ""),)])
def test_parts_simulated_apart_score_as_the_supply_simulated_whole(
    faults: tuple[tuple[str, str], ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    seen = read_with(SOUND_SIX, *faults)
    same = [each for each in singles(SOUND_SIX) if each.name == faults]
    true = min(same, key=lambda h: abs(h.parts[0].size - h.parts[0].fault.size), default=HEALTHY_UNIT)
    apart = Whole(SOUND_SIX, seen)
    monkeypatch.setattr(_whole, "independent", lambda sheet: (sheet,))
    together = Whole(SOUND_SIX, seen)
    assert len(apart.parts) == 2
    assert len(together.parts) == 1
    one, other = apart.fit(true).fit.log_likelihood, together.fit(true).fit.log_likelihood
    # a factor of e to the 3 either way; wrong faults are off by tens
    assert one == pytest.approx(other, abs=3.0)


# --- what is found


@pytest.mark.parametrize(
    "faults",
    [
        (("open-diode", "+4"),),
        (("reservoir-open", "+1"),),
        (("low-mains", ""),),
        (("open-diode", "+1"), ("reservoir-dried", "+5")),
    ],
)
def test_faults_are_named_whichever_part_they_sit_in(faults: tuple[tuple[str, str], ...]) -> None:
    best = diagnose(SOUND_SIX, read_with(SOUND_SIX, *faults)).causes[0]
    assert set(best.fault.split(" & ")) == {name for name, _ in faults}
    assert set(best.subject.split(" & ")) == {where for _, where in faults}


def test_twelve_sound_rails_are_called_healthy() -> None:
    found = diagnose(equal_rails(12), read(equal_rails(12), "healthy"))
    assert found.healthy
    assert found.fits


# --- how much is computed


class Counted:
    """Hypotheses scored in full, and nominal units simulated."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.full, self.nominal = 0, 0
        fit, nominals = Whole.fit, Bench._nominals

        def counting_fit(whole: Whole, hypothesis: Hypothesis) -> Any:
            self.full += 1
            return fit(whole, hypothesis)

        def counting_nominals(bench: Bench, units: Sequence[Unit]) -> Any:
            self.nominal += len(units)
            return nominals(bench, units)

        monkeypatch.setattr(Whole, "fit", counting_fit)
        monkeypatch.setattr(Bench, "_nominals", counting_nominals)


@pytest.mark.parametrize("kind", ["healthy", "open-diode", "odd"])
@pytest.mark.parametrize("count", [3, 6, 20])
def test_what_is_computed_is_bounded_whatever_the_rails(
    count: int, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    counted = Counted(monkeypatch)
    sheet = equal_rails(count)
    diagnose(sheet, read(sheet, kind))
    alone = _screening.MOST + _screening.MORE_SIZES + _screening.AGAIN + _screening.NEXT
    pairs = _pairs.PAIRS + 2 * _pairs.ROUGH
    assert counted.full <= 1 + alone + pairs == 42
    kinds = len({(each.name[0][0], each.parts[0].size) for each in singles(sheet)})
    assert counted.nominal <= kinds * len(independent(sheet)) + _pairs.SEEDS * _pairs.ENTANGLED


def test_of_a_crowded_transformer_the_rails_that_are_off_are_weighed_and_that_is_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(_crowded, "RAILS", 5)
    monkeypatch.setattr(_crowded, "LEAST", 1)
    sheet = equal_rails(6, on_one=6)
    seen = read_with(sheet, ("open-diode", "+4"))
    whole = Whole(sheet, seen)
    (part,) = whole.parts
    assert len(part.left_out) == 2
    assert "+4" not in part.left_out
    assert {each.subject for each in part.bench.seen}.isdisjoint(part.left_out)
    found = diagnose(sheet, seen)
    assert (found.causes[0].fault, found.causes[0].subject) == ("open-diode", "+4")
    assert any("T0 feeds 6 rails: only the 4" in words and "the other 2" in words for words in found.left_out)


def test_quantities_of_rails_that_are_not_weighed_are_held_and_the_others_drawn_as_ever() -> None:
    levels, whole = Levels(16, still=(2, 4)), Levels(16)
    drawn = [levels.uniform(-1.0, 1.0, 16) for _ in range(6)]
    usual = [whole.uniform(-1.0, 1.0, 16) for _ in range(4)]
    assert not np.any(drawn[2:4])
    assert np.array_equal([drawn[0], drawn[1], drawn[4], drawn[5]], usual)
    assert (levels.used, levels.asked) == (4, 6)


def test_nothing_is_said_to_be_left_out_of_a_small_supply() -> None:
    found: Diagnosis = diagnose(SOUND_SIX, read_with(SOUND_SIX, ("open-diode", "+4")))
    assert found.left_out == ()


def test_an_assessment_says_what_was_left_out() -> None:
    from ohmward.analysis.assessment import assess, to_json
    from ohmward.analysis.facts import RunFacts
    from ohmward.analysis.summary import _other_causes

    cause = diagnose(SOUND_SIX, read_with(SOUND_SIX, ("open-diode", "+4"))).causes[0]
    bare = assess(
        RunFacts(run="CR-07/1", tag="CR-07", simulated=True, supply=SOUND_SIX, items=(), entries={})
    )
    words = "T0 feeds more than 10 rails: only 10 were weighed"
    shown = msgspec.structs.replace(bare, causes=(cause,), causes_left_out=(words,))
    assert list(_other_causes(shown))[-1] == f"Of causes: {words}."
    assert to_json(shown)["causes_left_out"] == [words]
