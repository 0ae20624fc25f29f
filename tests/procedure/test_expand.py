"""A procedure laid out for one supply: addresses, order, loads, limits, and laws over many supplies."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.procedure import Item, expand, load_limits, loads
from ohmward.supply.model import HeatSink, Secondary, Supply
from support.bench import PROCEDURE
from support.supplies import rail, supply, transformer

IEC = load_limits("iec")
HEAD = 'format = 1\nname = "own"\ntitle = "Own"\n'
LIVE = HEAD + '[[stage]]\nname = "live"\ntitle = "Live"\nenergised = true\n'
DEAD = HEAD + '[[stage]]\nname = "dead"\ntitle = "Dead"\nenergised = false\n'


def items(text: str, own: Supply | None = None, parts: tuple[str, ...] = ()) -> tuple[Item, ...]:
    return expand(loads(text), own or supply(), IEC, parts)


def subjects(text: str, own: Supply | None = None, parts: tuple[str, ...] = ()) -> list[str]:
    return [item.subject for item in items(text, own, parts)]


def one_step(stage: str, **fields: str) -> str:
    lines = {"id": '"one"', "title": '"One"'} | fields
    return stage + "[[stage.step]]\n" + "".join(f"{key} = {value}\n" for key, value in lines.items())


def reading(stage: str = DEAD, **fields: str) -> str:
    return one_step(stage, **({"kind": '"reading"', "quantity": '"q"', "unit": '"V"'} | fields))


def soak(**fields: str) -> str:
    own = {
        "kind": '"soak"',
        "quantity": '"temperature"',
        "unit": '"°C"',
        "times": '["0 min", "10 min", "60 min"]',
    }
    return one_step(LIVE, **(own | fields))


@pytest.mark.parametrize(
    ("each", "expected"),
    [
        ("", [""]),
        ("part", ["case"]),
        ("rail", ["+15", "-15", "+24"]),
        ("regulated-rail", ["+15", "-15"]),
        ("transformer", ["T1"]),
        ("secondary", ["T1.a", "T1.b"]),
    ],
)
def test_what_a_step_repeats_for(each: str, expected: list[str]) -> None:
    assert subjects(one_step(DEAD, kind='"check"', each=f'"{each}"')) == expected
    assert subjects(reading(each=f'"{each}"')) == expected


def test_parts_are_the_persons_else_the_sheets_else_the_case() -> None:
    text = one_step(DEAD, kind='"check"', each='"part"')
    own = supply(parts=("front panel", "lid"))
    assert subjects(text, own, ("lid", "heat sink")) == ["lid", "heat sink"]
    assert subjects(text, own) == ["front panel", "lid"]
    assert subjects(text) == ["case"]


def test_a_supply_without_papers_has_one_unknown_transformer() -> None:
    stranger = supply(transformers=(), rails=(rail("+5", 5.0, sources=(), regulator=None, reservoir=None),))
    assert subjects(one_step(DEAD, kind='"check"', each='"transformer"'), stranger) == ["transformer"]
    assert subjects(one_step(DEAD, kind='"check"', each='"secondary"'), stranger) == []
    assert subjects(one_step(DEAD, kind='"check"', each='"regulated-rail"'), stranger) == []


def test_a_sweep_is_rail_by_rail_point_by_point_read_by_read() -> None:
    text = one_step(
        LIVE, kind='"sweep"', each='"regulated-rail"', load='["0 %", "50 %", "100 %"]',
        reads='[{ name = "output", quantity = "v", unit = "V" }, '
        '{ name = "ripple", quantity = "v", unit = "V" }]',
    )  # fmt: skip
    laid = items(text)
    assert [item.key for item in laid[:7]] == [
        ("one.output", "+15 @ 0 %"),
        ("one.ripple", "+15 @ 0 %"),
        ("one.output", "+15 @ 50 %"),
        ("one.ripple", "+15 @ 50 %"),
        ("one.output", "+15 @ 100 %"),
        ("one.ripple", "+15 @ 100 %"),
        ("one.output", "-15 @ 0 %"),
    ]
    assert [item.load_a for item in laid[:6:2]] == pytest.approx([0.0, 0.6, 1.2])  # of 1.2 A rated
    assert {item.about for item in laid[:6]} == {"+15"}
    assert not any(item.together for item in laid)


def test_all_rails_together_are_read_at_rated_current() -> None:
    text = one_step(
        LIVE, kind='"sweep"', each='"rail"', together="true", load='["100 %"]',
        reads='[{ name = "output", quantity = "v", unit = "V" }]',
    )  # fmt: skip
    laid = items(text)
    assert [item.subject for item in laid] == ["+15 @ 100 %", "-15 @ 100 %", "+24 @ 100 %"]
    assert all(item.together and item.load_a == 1.2 for item in laid)
    whole = one_step(
        LIVE, kind='"sweep"', together="true", quantity='"mains_a"', unit='"A"', expect='"mains_a"',
    )  # fmt: skip
    (item,) = items(whole)
    assert (item.subject, item.about, item.together) == ("all rails @ 100 %", "", True)


def test_a_load_point_between_whole_percents_keeps_its_figures() -> None:
    text = reading(LIVE, kind='"sweep"', each='"regulated-rail"', load='["33.3 %"]')
    assert subjects(text) == ["+15 @ 33.3 %", "-15 @ 33.3 %"]


def test_a_soak_is_read_time_by_time_sensor_by_sensor() -> None:
    laid = items(soak(each='"regulated-rail"', sensors='["room air", "transformer"]'))
    assert [item.subject for item in laid[:5]] == [
        "room air @ 0 min", "transformer @ 0 min", "heat sink +15 @ 0 min", "heat sink -15 @ 0 min",
        "room air @ 10 min",
    ]  # fmt: skip
    assert [item.elapsed_s for item in laid[::4]] == [0.0, 600.0, 3600.0]
    assert laid[2].rail == "+15"
    assert laid[2].load_a == pytest.approx(1.2)
    assert all(item.together for item in laid)


def test_a_soak_may_watch_rails_volts_transformers_or_the_supply() -> None:
    assert subjects(soak(unit='"V"', each='"regulated-rail"', times='["90 s"]')) == [
        "+15 @ 90 s",
        "-15 @ 90 s",
    ]
    assert subjects(soak(each='"transformer"', times='["1 h"]')) == ["T1 @ 60 min"]
    assert subjects(soak(times='["1 min"]')) == ["supply @ 1 min"]
    two = supply(transformers=(transformer("T1"), transformer("T2")))
    assert subjects(soak(sensors='["transformer"]', times='["1 min"]'), two) == [
        "transformer T1 @ 1 min", "transformer T2 @ 1 min",
    ]  # fmt: skip


def test_each_sensor_of_a_soak_has_its_own_limit() -> None:
    laid = items(soak(each='"regulated-rail"', sensors='["room air", "transformer", "case", "fuse-holder"]',
                      limit='"heatsink_temperature"', times='["1 min"]'))  # fmt: skip
    limits = {item.subject: item.limit for item in laid}
    assert limits["room air @ 1 min"] is None
    transformer_limit, case = limits["transformer @ 1 min"], limits["case @ 1 min"]
    assert transformer_limit is not None
    assert transformer_limit.high == 85.0  # unmarked insulation, see test_limits
    assert case is not None
    assert case.high == 65.0  # IEC 61010-1 Table 19, from memory
    assert limits["fuse-holder @ 1 min"] is None
    sink = limits["heat sink +15 @ 1 min"]
    assert sink is not None
    assert sink.high == 70.0  # the sheet sets no target, see test_limits


@pytest.mark.parametrize("own_step", [False, True])
def test_the_room_is_read_once_as_a_soak_begins_and_is_the_condition_of_what_follows(
    own_step: bool,
) -> None:
    watched = soak(sensors='["room air", "case"]', plausible='["-5 °C", "150 °C"]')
    if own_step:  # as in a file of one's own, or in an older log
        before = one_step(
            LIVE, id='"air"', kind='"reading"', quantity='"ambient_c"', unit='"°C"', condition='"ambient_c"'
        )
        watched = before + watched[len(LIVE) :]
    reads = {item.subject: item.read for item in items(watched)}
    conditions = [subject for subject, read in reads.items() if read is not None and read.condition]
    assert conditions == ([""] if own_step else ["room air @ 0 min"])
    room, case = reads["room air @ 10 min"], reads["case @ 10 min"]
    assert room is not None
    assert case is not None
    assert (room.plausible_high, case.plausible_high) == (45.0, 150.0)  # common practice, no source


def test_the_air_of_the_room_stops_no_soak() -> None:
    stop = (
        '{ high = "100 °C", basis = "common practice, no source", obtained = "common practice, no source" }'
    )
    laid = items(soak(sensors='["room air", "transformer", "case"]', times='["1 min"]', stop=stop))
    stops = {item.subject: item.stop is not None for item in laid}
    assert stops == {"room air @ 1 min": False, "transformer @ 1 min": True, "case @ 1 min": True}


def test_a_temperature_is_compared_with_its_final_value_only_when_it_has_arrived() -> None:
    # 1 - exp(-t/τ) is 0.98 from four time constants on; the heat sink's is 12 min, so 48 min.
    laid = items(soak(each='"regulated-rail"', expect='"heatsink_c"', times='["0 min", "40 min", "50 min"]'))
    expected = [(item.subject, item.read.expect) for item in laid if item.read is not None]
    assert expected[::2] == [
        ("heat sink +15 @ 0 min", ""),
        ("heat sink +15 @ 40 min", ""),
        ("heat sink +15 @ 50 min", "heatsink_c"),
    ]


def test_a_heat_sink_of_unknown_time_constant_is_compared_once_a_usual_one_is_warm() -> None:
    """Usual are 10 to 20 min (common practice, no source): half an hour is two of them."""
    unknown = supply(rails=(rail(heatsink=HeatSink(thermal_resistance_kpw=2.5)),))
    times = '["0 min", "20 min", "30 min", "60 min"]'
    laid = items(soak(each='"regulated-rail"', expect='"heatsink_c"', times=times), unknown)
    found = [item.read.expect for item in laid if item.read is not None and item.rail]
    assert found == ["", "", "heatsink_late_c", "heatsink_late_c"]


def test_the_reservoir_is_expected_at_no_load_or_at_its_mean() -> None:
    for key in ("reservoir_v", "reservoir_mean_v"):
        text = reading(LIVE, kind='"sweep"', each='"rail"', load='["0 %", "100 %"]', expect=f'"{key}"')
        laid = items(text, supply(rails=(rail(),)))
        assert [item.read.expect for item in laid if item.read] == ["reservoir_v", "reservoir_mean_v"]


def test_what_is_expected_of_the_whole_supply_is_looked_up_under_no_name() -> None:
    (plain,) = items(reading(LIVE, expect='"mains_no_load_a"', unit='"A"'))
    assert plain.about == ""
    (primary,) = items(reading(expect='"primary_ohm"', unit='"Ω"'))
    assert primary.about == "T1"
    assert primary.subject == ""
    two = supply(transformers=(transformer("T1"), transformer("T2")))
    (several,) = items(reading(expect='"primary_ohm"', unit='"Ω"'), two)
    assert several.about == ""
    assert [item.about for item in items(reading(each='"secondary"', expect='"no_load_v"'))] == [
        "T1.a",
        "T1.b",
    ]


def test_limits_are_of_the_items_own_rail() -> None:
    text = reading(LIVE, each='"rail"', limit='"output_no_load"', stop='"output_stop"')
    plus, minus, raw = items(text)
    assert plus.limit is not None
    assert minus.limit is not None
    assert (plus.limit.low, plus.limit.high) == pytest.approx((14.4, 15.6))  # 15 V, 4 %
    assert (minus.limit.low, minus.limit.high) == pytest.approx((-15.6, -14.4))
    assert raw.limit is None
    assert raw.stop is not None
    assert raw.stop.high == 35.0  # rating of its reservoir


def test_a_limit_in_full_goes_to_the_item() -> None:
    text = reading(LIVE, limit='{ high = "3 V", basis = "house rules", obtained = "found" }',
                   stop='{ high = "9 V", basis = "house rules", obtained = "found" }')  # fmt: skip
    (item,) = items(text)
    assert item.limit is not None
    assert item.stop is not None
    assert (item.limit.high, item.stop.high) == (3.0, 9.0)


def test_a_wrong_sign_is_outside_the_plausible_range_of_a_rail() -> None:
    for plausible in ('["0 V", "60 V"]', '["-60 V", "60 V"]'):
        text = reading(LIVE, each='"regulated-rail"', expect='"output_v"', plausible=plausible)
        plus, minus = (item.read for item in items(text))
        assert plus is not None
        assert minus is not None
        assert (plus.plausible_low, plus.plausible_high) == (0.0, 60.0)
        assert (minus.plausible_low, minus.plausible_high) == (-60.0, 0.0)
    ripple = reading(LIVE, each='"regulated-rail"', expect='"output_ripple_pp_v"', plausible='["0 V", "5 V"]')
    assert all(item.read and item.read.plausible_low == 0.0 for item in items(ripple))


def test_the_procedure_of_the_gates_lays_out_in_its_own_order() -> None:
    laid = expand(loads(PROCEDURE), supply(), IEC, ("case", "front panel"))
    steps = list(dict.fromkeys(item.spec.id for item in laid))
    assert steps == [
        "plug", "label", "vents", "lead-null", "earth", "insulation", "lamp", "mains", "output",
        "load-points", "unplugged", "residual",
    ]  # fmt: skip
    earth = [item for item in laid if item.step == "earth"]
    assert [item.subject for item in earth] == ["case", "front panel"]
    assert all(item.limit and item.limit.high == pytest.approx(0.152) for item in earth)  # see test_limits
    assert [item.role for item in laid if item.step == "residual"] == ["make-safe"] * 3


# --- laws over many supplies and procedures --------------------------------------------------------------

EVERYTHING = (
    DEAD
    + "".join(
        f'[[stage.step]]\nid = "check-{n}"\nkind = "check"\ntitle = "C"\neach = "{each}"\n'
        f'[[stage.step]]\nid = "read-{n}"\nkind = "reading"\ntitle = "R"\neach = "{each}"\n'
        'quantity = "q"\nunit = "Ω"\n'
        for n, each in enumerate(["", "part", "rail", "regulated-rail", "transformer", "secondary"])
    )
    + LIVE.removeprefix(HEAD)
    + """
[[stage.step]]
id = "sweep"
kind = "sweep"
title = "S"
each = "rail"
load = ["0 %", "12.5 %", "50 %", "110 %"]
reads = [
  { name = "output", quantity = "q", unit = "V", limit = "output_loaded", stop = "output_stop" },
  { name = "ripple", quantity = "q", unit = "V", limit = "ripple" },
]
[[stage.step]]
id = "together"
kind = "sweep"
title = "S"
each = "rail"
together = true
quantity = "q"
unit = "V"
[[stage.step]]
id = "soak"
kind = "soak"
title = "S"
each = "regulated-rail"
times = ["0 s", "90 s", "5 min", "1 h"]
sensors = ["room air", "transformer"]
quantity = "q"
unit = "°C"
limit = "heatsink_temperature"
[[stage.step]]
id = "capture"
kind = "capture"
title = "S"
each = "rail"
load = ["100 %"]
quantity = "q"
unit = "V"
[[stage.step]]
id = "waveform"
kind = "capture"
title = "S"
each = "rail"
load = ["100 %"]
"""
)
NAMES = st.text("abcXYZ0189+-. ", min_size=1, max_size=6).map(str.strip).filter(bool)


@st.composite
def supplies(draw: st.DrawFn) -> Supply:
    names = draw(st.lists(NAMES, min_size=1, max_size=4, unique=True))
    rails = tuple(
        rail(name, draw(st.sampled_from([-48.0, -12.0, 5.0, 24.0])), regulated=draw(st.booleans()))
        for name in names
    )
    transformers = tuple(
        transformer(
            name,
            secondaries=tuple(
                Secondary(name=s, voltage_v=9.0) for s in ("a", "b")[: draw(st.integers(1, 2))]
            ),
        )
        for name in draw(st.lists(st.sampled_from(["T1", "T2", "T3"]), max_size=3, unique=True))
    )
    return supply(rails=rails, transformers=transformers, parts=tuple(draw(st.lists(NAMES, max_size=3))))


@given(own=supplies(), parts=st.lists(NAMES, max_size=4))
@settings(max_examples=60, deadline=None)
def test_addresses_are_unique_and_follow_the_file(own: Supply, parts: list[str]) -> None:
    procedure = loads(EVERYTHING)
    laid = expand(procedure, own, IEC, parts)
    keys = [item.key for item in laid]
    assert len(set(keys)) == len(keys)
    order = [step.id for stage in procedure.stages for step in stage.steps]
    places = [order.index(item.spec.id) for item in laid]
    assert places == sorted(places)
    assert expand(procedure, own, IEC, parts) == laid


@given(own=supplies())
@settings(max_examples=60, deadline=None)
def test_every_rail_is_covered_at_every_point(own: Supply) -> None:
    laid = expand(loads(EVERYTHING), own, IEC)
    for one in own.rails:
        swept = [item for item in laid if item.spec.id == "sweep" and item.rail == one.name]
        assert len(swept) == 4 * 2
        assert all(
            item.load_a == pytest.approx(f * 1.2)
            for item, f in zip(swept[::2], (0, 0.125, 0.5, 1.1), strict=True)
        )
        assert [item.rail for item in laid if item.spec.id == "together"].count(one.name) == 1
        soaked = [item for item in laid if item.spec.id == "soak" and item.rail == one.name]
        assert len(soaked) == (4 if one.regulator else 0)
        assert all(item.stop is not None for item in swept[::2])
        (wave,) = [item for item in laid if item.is_waveform and item.rail == one.name]
        assert (wave.subject, wave.read) == (f"{one.name} @ 100 %", None)
        assert wave.load_a == pytest.approx(1.2)
    for item in laid:
        for found in (item.limit, item.stop):
            if found is not None and found.low is not None and found.high is not None:
                assert found.low < found.high
        assert item.read is None or item.read.unit != "" or item.limit is None
