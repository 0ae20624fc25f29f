"""Supplies built in code, for tests of what lies above the design sheet."""

from __future__ import annotations

from ohmward.supply.model import (
    Cord,
    HeatSink,
    Mains,
    ProtectionClass,
    Rail,
    Rectifier,
    Regulator,
    Reservoir,
    Secondary,
    Supply,
    Targets,
    Transformer,
)

CORD_2M = Cord(length_m=2.0, area_mm2=0.75)


def rail(name: str = "+15", nominal_v: float = 15.0, *, regulated: bool = True, **changes: object) -> Rail:
    """Return a rail in the manner of CR-07; `changes` are fields of `Rail`."""
    fields: dict[str, object] = {
        "name": name,
        "nominal_v": nominal_v,
        "rated_current_a": 1.2,
        "sources": ("T1.a",),
        "rectifier": Rectifier(kind="bridge"),
        "reservoir": Reservoir(capacitance_f=6.8e-3, voltage_rating_v=35.0, bleeder_ohm=2200.0),
        "regulator": Regulator(tolerance_pct=4.0) if regulated else None,
        "heatsink": HeatSink(thermal_resistance_kpw=2.5, time_constant_s=720.0) if regulated else None,
        "targets": Targets(load_regulation_pct=1.0, ripple_pp_v=0.005, ripple_bandwidth_hz=20e6),
    }
    return Rail(**(fields | changes))  # type: ignore[arg-type]


def transformer(name: str = "T1", **changes: object) -> Transformer:
    """Return an 80 VA transformer with two secondaries; `changes` are fields of `Transformer`."""
    secondaries = (Secondary(name="a", voltage_v=18.0), Secondary(name="b", voltage_v=18.0))
    fields: dict[str, object] = {"name": name, "secondaries": secondaries, "rating_va": 80.0}
    return Transformer(**(fields | changes))  # type: ignore[arg-type]


def supply(
    *,
    protection_class: ProtectionClass = "I",
    cord: Cord | None = CORD_2M,
    rails: tuple[Rail, ...] | None = None,
    transformers: tuple[Transformer, ...] | None = None,
    parts: tuple[str, ...] = (),
) -> Supply:
    """Return a supply in the manner of CR-07: +15 V and -15 V regulated, 24 V unregulated."""
    own = (rail(), rail("-15", -15.0), rail("+24", 24.0, regulated=False))
    return Supply(
        tag="CR-07",
        title="Mixing-console supply (simulated example)",
        protection_class=protection_class,
        mains=Mains(voltage_v=230.0, frequency_hz=50.0, cord=cord),
        rails=own if rails is None else rails,
        transformers=(transformer(),) if transformers is None else transformers,
        parts=parts,
    )
