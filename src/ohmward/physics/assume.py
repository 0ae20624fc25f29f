"""The sheet made whole: every quantity the model needs, with its limits, and in words what was assumed.

Assumed figures are common practice without a source to cite unless one is named beside them; each
carries limits wide enough to own up to that.
"""

from __future__ import annotations

import msgspec
import numpy as np

from ohmward.physics.assume_transformer import transformer_facts
from ohmward.physics.facts import Facts, Nameplate, RailFacts, RegulatorFacts, TransformerFacts
from ohmward.physics.spread import Spread, between, exactly, within
from ohmward.supply.model import Rail, RectifierKind, Regulator, Secondary, Supply, Transformer

READING_PCT = 1.0
"""Mains reading and its wander while a value is read [± %]."""
LOAD_PCT = 1.0
"""How closely a load is set [± %]."""
CREST = Spread(value=1.0, low=0.975, high=1.0)
"""Crest of the mains over that of a sine: rectifiers in the neighbourhood flatten it."""
REGULATION_PCT = 10.0
VOLTAGE_PCT = 2.0
"""Of a transformer's stated regulation and secondary voltage [± %]."""
MEASURED_PCT = 3.0
"""Of a measured winding resistance [± %]."""
AC_OHM = between(0.005, 0.06, 0.02)
"""Wiring, connectors and fuse between secondary and rectifier [Ω]."""
WIRING_OHM = between(0.005, 0.05, 0.02)
FORWARD_V = between(0.8, 1.0, 0.9)
"""One diode at rated current [V]; about 0.6 at a few milliampere, 1 at full load."""
BULK_V = 0.05
"""Part of the forward drop at rated current that is bulk resistance [V]."""
EMISSION = 1.8
"""Emission coefficient of the diode law: 0.11 V a decade."""
CAPACITANCE_F_PER_A = between(1e-3, 5e-3, 2.2e-3, log=True)
LOSS_TANGENT = between(0.08, 0.25, 0.15, log=True)
"""Of a new electrolytic at twice 50 Hz; gives the ESR."""
LEAKAGE_A = between(0.02e-3, 1e-3, 0.1e-3, log=True)
"""Reservoir leakage and meter, which load an unloaded reservoir [A]."""
BLEEDER_PCT = 5.0
SET_POINT_PCT = 4.0
"""Three-terminal regulators: ±4 % (their data sheets)."""
DROPOUT_V = between(1.7, 3.0, 2.2)
REJECTION_DB = between(50.0, 72.0, 60.0)
OUTPUT_OHM = between(0.005, 0.05, 0.02, log=True)
QUIESCENT_A = between(3e-3, 10e-3, 6e-3)
NOISE_PP_V = between(0.3e-3, 4e-3, 1e-3, log=True)
"""Noise and pick-up on a regulated output at 20 MHz [V]."""
JUNCTION_KPW = between(1.0, 5.0, 2.0, log=True)
INTERFACE_KPW = between(0.3, 1.2, 0.6, log=True)
SINK_TAU_S = between(600.0, 1500.0, 900.0)
SINK_PCT = 20.0
AMBIENT_K = 1.0


def facts(supply: Supply) -> Facts:
    """Return the sheet made whole. Pure; impossible values pass through, `problems` names them."""
    words: list[str] = []
    rails, nameplates, invented = [], [], []
    for rail in supply.rails:
        sources, made = _sources(supply, rail, words)
        invented += made
        if sources:
            rails.append(_rail(supply, rail, sources, words))
        else:
            nameplates.append(
                Nameplate(
                    name=rail.name,
                    sign=rail.sign,
                    nominal_v=abs(rail.nominal_v),
                    rated_a=rail.rated_current_a,
                )
            )
            words.append(
                f"{rail.name}: only its nameplate is known; the bands cover plain and regulated rails alike"
            )
    known = [transformer_facts(supply, transformer, words) for transformer in supply.transformers]
    mains = supply.mains
    return Facts(
        mains_v=mains.voltage_v,
        mains_low_v=mains.low_v,
        mains_high_v=mains.high_v,
        frequency_hz=mains.frequency_hz,
        rails=tuple(rails),
        nameplates=tuple(nameplates),
        transformers=(*known, *invented),
        assumptions=tuple(words),
    )


# --- rails ----------------------------------------------------------------------------------------


def _rail(supply: Supply, rail: Rail, sources: tuple[str, ...], words: list[str]) -> RailFacts:
    regulator = None if rail.regulator is None else _regulator(rail, rail.regulator, words)
    kind, whole = _kind(supply, rail, sources, words)
    capacitance, esr = _reservoir(supply, rail, words)
    forward = rail.rectifier.forward_v if rail.rectifier else None
    if forward is None:
        words.append(f"{rail.name}: diode drop at rated current 0.9 V (0.8 to 1.0)")
    if rail.wiring_ohm is None:
        words.append(f"{rail.name}: output wiring 20 mΩ (5 to 50)")
    sink = rail.heatsink
    bleeder = rail.reservoir.bleeder_ohm if rail.reservoir else None
    return RailFacts(
        name=rail.name,
        sign=rail.sign,
        nominal_v=abs(rail.nominal_v),
        rated_a=rail.rated_current_a,
        kind=kind,
        windings=sources,
        whole_winding=whole,
        forward_v=FORWARD_V if forward is None else within(forward, 6.0),
        ac_ohm=AC_OHM,
        wiring_ohm=WIRING_OHM if rail.wiring_ohm is None else within(rail.wiring_ohm, 10.0),
        capacitance_f=capacitance,
        esr_ohm=esr,
        leakage_a=LEAKAGE_A,
        bleeder_ohm=None if bleeder is None else within(bleeder, BLEEDER_PCT),
        regulator=regulator,
        sink_kpw=None if sink is None else within(sink.thermal_resistance_kpw, SINK_PCT),
        sink_tau_s=SINK_TAU_S
        if sink is None or sink.time_constant_s is None
        else within(sink.time_constant_s, 20.0),
    )


def _sources(supply: Supply, rail: Rail, words: list[str]) -> tuple[tuple[str, ...], list[TransformerFacts]]:
    """Return the rail's secondaries; an invented one where the sheet tells only what it must feed."""
    if rail.sources:
        return rail.sources, []
    every = [f"{t.name}.{s.name}" for t in supply.transformers for s in t.secondaries]
    if len(every) == 1:
        words.append(f"{rail.name}: fed from {every[0]}, the only secondary")
        return (every[0],), []
    if rail.rectifier is None and rail.reservoir is None and rail.regulator is None:
        return (), []
    made = _invent(supply, rail)
    words.append(
        f"{rail.name}: its secondary is unknown; {made.secondaries[0].voltage_v.value:.1f} V ±15 %, "
        f"{made.rating_va:.0f} VA taken, as such a rail is usually wound"
    )
    return (f"{made.name}.a",), [made]


def _invent(supply: Supply, rail: Rail) -> TransformerFacts:
    """Return the transformer a winder would make for the rail.

    V_ac = 0.8 (V_dc + 2) and VA = 1.4 (W + 2 I_dc) for a bridge (a toroid winder's rule); a
    regulated rail wants its dropout, 2 V of ripple and 10 % of low mains on top.
    """
    need = abs(rail.nominal_v)
    if rail.regulator is not None:
        need = (need + (rail.regulator.dropout_v or DROPOUT_V.value) + 2.0) * 1.1
    volts, rating = 0.8 * (need + 2.0), 1.4 * (need + 2.0) * rail.rated_current_a
    centre_tapped = rail.rectifier is not None and rail.rectifier.kind == "centre-tap"
    sheet = Transformer(
        name=f"(transformer of {rail.name})",
        rating_va=rating,
        secondaries=(Secondary(name="a", voltage_v=volts, centre_tapped=centre_tapped),),
    )
    made = transformer_facts(supply, sheet, [])
    wide = msgspec.structs.replace(made.secondaries[0], voltage_v=within(volts, 15.0))
    return msgspec.structs.replace(made, secondaries=(wide,), invented=True)


def _kind(
    supply: Supply, rail: Rail, sources: tuple[str, ...], words: list[str]
) -> tuple[RectifierKind, bool]:
    """Return the kind of rectifier as one rail sees it, and whether it spans a whole centre-tapped winding.

    One bridge on a centre-tapped winding makes a rail of each sign: to each it is a centre-tap rectifier.
    """
    secondaries = {f"{t.name}.{s.name}": s for t in supply.transformers for s in t.secondaries}
    tapped = [source for source in sources if source in secondaries and secondaries[source].centre_tapped]
    if rail.rectifier is None:
        kind: RectifierKind = "centre-tap" if tapped or len(sources) == 2 else "bridge"
        words.append(f"{rail.name}: rectifier taken as {kind}")
        return kind, False
    if rail.rectifier.kind != "bridge" or not tapped:
        return rail.rectifier.kind, False
    if any(other.sign != rail.sign and set(other.sources) & set(tapped) for other in supply.rails):
        words.append(
            f"{rail.name}: with its opposite on {tapped[0]} the bridge works as a centre-tap rectifier"
        )
        return "centre-tap", False
    words.append(f"{rail.name}: bridge across the whole of {tapped[0]}")
    return "bridge", True


def _reservoir(supply: Supply, rail: Rail, words: list[str]) -> tuple[Spread, Spread]:
    """Return capacitance and ESR."""
    reservoir = rail.reservoir
    if reservoir is None:
        per = CAPACITANCE_F_PER_A
        size = max(rail.rated_current_a, 0.1)
        capacitance = between(per.low * size, per.high * size, per.value * size, log=True)
        words.append(
            f"{rail.name}: reservoir of {capacitance.value * 1e6:.0f} µF taken (1000 to 5000 µF an ampere)"
        )
    else:
        nominal = reservoir.capacitance_f
        capacitance = Spread(
            value=nominal,
            low=nominal * (1 + min(reservoir.tolerance_low_pct, 0.0) / 100),
            high=nominal * (1 + max(reservoir.tolerance_high_pct, 0.0) / 100),
        )
    if reservoir is not None and reservoir.esr_ohm is not None:
        return capacitance, within(reservoir.esr_ohm, 30.0)
    reactance = (
        1 / (2 * np.pi * 2 * supply.mains.frequency_hz * capacitance.value) if capacitance.value > 0 else 0.0
    )
    tangent = LOSS_TANGENT
    esr = Spread(
        value=tangent.value * reactance,
        low=tangent.low * reactance,
        high=tangent.high * reactance,
        shape="log",
    )
    if capacitance.value <= 0:
        return capacitance, exactly(0.0)
    words.append(
        f"{rail.name}: reservoir ESR {esr.value * 1e3:.0f} mΩ by a loss tangent of 0.15 (0.08 to 0.25)"
    )
    return capacitance, esr


def _regulator(rail: Rail, regulator: Regulator, words: list[str]) -> RegulatorFacts:
    set_point = abs(rail.set_point_v if rail.set_point_v is not None else rail.nominal_v)
    silent = [
        word
        for word, known in (
            ("set point within 4 %", regulator.tolerance_pct),
            ("dropout 2.2 V (1.7 to 3)", regulator.dropout_v),
            ("ripple rejection 60 dB (50 to 72)", regulator.ripple_rejection_db),
            ("output resistance 20 mΩ (5 to 50)", regulator.output_ohm),
            ("quiescent current 6 mA (3 to 10)", regulator.quiescent_a),
            ("junction to case 2 K/W (1 to 5)", regulator.junction_to_case_kpw),
            (
                "device to heat sink 0.6 K/W (0.3 to 1.2)",
                rail.heatsink.interface_kpw if rail.heatsink else None,
            ),
        )
        if known is None
    ]
    if silent:
        words.append(f"{rail.name}: regulator taken with {', '.join(silent)}")
    interface = rail.heatsink.interface_kpw if rail.heatsink else None
    rejection = regulator.ripple_rejection_db
    return RegulatorFacts(
        set_point_v=within(
            set_point, SET_POINT_PCT if regulator.tolerance_pct is None else regulator.tolerance_pct
        ),
        dropout_v=DROPOUT_V if regulator.dropout_v is None else within(regulator.dropout_v, 10.0),
        rejection_db=REJECTION_DB if rejection is None else between(rejection - 6, rejection + 6),
        output_ohm=OUTPUT_OHM if regulator.output_ohm is None else within(regulator.output_ohm, 30.0),
        quiescent_a=QUIESCENT_A if regulator.quiescent_a is None else within(regulator.quiescent_a, 25.0),
        noise_pp_v=NOISE_PP_V,
        junction_kpw=JUNCTION_KPW
        if regulator.junction_to_case_kpw is None
        else within(regulator.junction_to_case_kpw, 10.0),
        interface_kpw=INTERFACE_KPW if interface is None else within(interface, 25.0),
        limit_a=regulator.current_limit_a,
    )
