"""What every reading ought to be, from the design sheet.

Plain textbook relations for now: the no-load peak less two diode drops, ripple I/(2fC), one lumped
source resistance. The full model replaces this module's inside; its face stays.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ohmward.physics.discharge import time_to
from ohmward.physics.expectation import Band, Expectation, LoadedPoint, RailExpectation
from ohmward.supply.model import Rail, Secondary, Supply, Transformer

Array = npt.NDArray[np.float64]


def expect(
    supply: Supply,
    *,
    mains_v: float | None = None,
    ambient_c: float = 25.0,
    load_points: Sequence[float] = (0.1, 0.25, 0.5, 0.75, 1.0),
    seed: int = 0,
    draws: int = 2000,
) -> Expectation:
    """Return what every reading ought to be, with 95 % bands over the tolerances of the sheet.

    Parameters
    ----------
    supply : Supply
        The design sheet.
    mains_v : float, optional
        Mains voltage of the moment [V]; None takes the sheet's.
    ambient_c : float
        Room temperature [°C].
    load_points : sequence of float
        Fractions of each rail's rated current.
    seed : int
        Of the Monte Carlo; the same seed gives the same bands.
    draws : int
        Number of draws; 0 gives values with bands of no width.
    """
    mains = supply.mains.voltage_v if mains_v is None else mains_v
    rng = np.random.default_rng(seed)
    model = _Plain(supply, mains, ambient_c, rng, draws)
    return Expectation(
        mains_v=mains,
        ambient_c=ambient_c,
        rails={rail.name: model.rail(rail, load_points) for rail in supply.rails},
        secondaries={
            f"{t.name}.{s.name}": {
                "no_load_v": model.band(model.no_load_rms(t, s)),
                "winding_ohm": model.band(model.winding(t, s)),
            }
            for t in supply.transformers
            for s in t.secondaries
        },
        transformers={t.name: model.transformer(t) for t in supply.transformers},
        unit=model.unit(),
        assumptions=("plain textbook relations: no-load peak less two diode drops, ripple I/(2fC)",),
    )


class _Plain:
    """Textbook relations over a nominal design (row 0) and its draws."""

    def __init__(
        self, supply: Supply, mains_v: float, ambient_c: float, rng: np.random.Generator, draws: int
    ) -> None:
        self.supply, self.ambient_c, self.rng, self.draws = supply, ambient_c, rng, draws
        self.mains = mains_v * self.near(0.01)

    def near(self, sd: float) -> Array:
        return np.concatenate(([1.0], self.rng.normal(1.0, sd, self.draws)))

    def band(self, values: Array) -> Band:
        spread = values[1:] if self.draws else values
        low, high = np.quantile(spread, (0.025, 0.975))
        value = float(values[0])
        return Band(value=value, low=min(float(low), value), high=max(float(high), value))

    def regulation(self, transformer: Transformer) -> Array:
        known = transformer.regulation_pct
        percent = known if known is not None else 90.0 / max(transformer.rating_va or 50.0, 5.0) ** 0.45
        return percent / 100 * self.near(0.1)

    def no_load_rms(self, transformer: Transformer, secondary: Secondary) -> Array:
        rated = transformer.primary_voltage_v or self.supply.mains.voltage_v
        return secondary.voltage_v * (1 + self.regulation(transformer)) * self.mains / rated

    def source_ohm(self, transformer: Transformer, secondary: Secondary) -> Array:
        share = (transformer.rating_va or 50.0) / len(transformer.secondaries)
        current = secondary.current_a or share / secondary.voltage_v
        return self.regulation(transformer) * secondary.voltage_v / current

    def winding(self, transformer: Transformer, secondary: Secondary) -> Array:
        if secondary.resistance_ohm is not None:
            return secondary.resistance_ohm * self.near(0.05)
        return self.source_ohm(transformer, secondary) / 2 / 1.28

    def transformer(self, transformer: Transformer) -> dict[str, Band]:
        va = transformer.rating_va or 50.0
        volts = transformer.primary_voltage_v or self.supply.mains.voltage_v
        primary = self.regulation(transformer) / 2 * volts**2 / va / 1.28
        if transformer.primary_ohm is not None:
            primary = transformer.primary_ohm * self.near(0.05)
        return {
            "primary_ohm": self.band(primary),
            "magnetising_a": self.band(0.06 * va / volts * self.near(0.3)),
            "surface_c": self.band(self.ambient_c + 45 * self.near(0.15)),
        }

    def unit(self) -> dict[str, Band]:
        volts = self.supply.mains.voltage_v
        va = sum(t.rating_va or 50.0 for t in self.supply.transformers)
        watts = sum(abs(r.nominal_v) * r.rated_current_a for r in self.supply.rails) * 1.8
        full = np.hypot(watts, 0.0) / volts * self.near(0.1)
        return {
            "mains_no_load_a": self.band(0.06 * max(va, 5.0) / volts * self.near(0.3)),
            "mains_a": self.band(full),
            "input_va": self.band(full * self.mains),
        }

    def rail(self, rail: Rail, points: Sequence[float]) -> RailExpectation:
        raw = _Raw(self, rail)
        loaded = tuple(
            LoadedPoint(
                load_a=f * rail.rated_current_a, values=self.loaded(rail, raw, f * rail.rated_current_a)
            )
            for f in points
        )
        no_load = {
            "output_v": self.band(self.output(rail, raw, 0.0) * rail.sign),
            "output_ripple_pp_v": self.band(1e-3 * self.near(0.3)),
        }
        if raw.known:
            no_load |= {
                "reservoir_v": self.band(raw.mean(0.0) * rail.sign),
                "reservoir_ripple_pp_v": self.band(raw.ripple(0.01)),
            }
        bleeder = rail.reservoir.bleeder_ohm if rail.reservoir else None
        discharge = None
        if bleeder is not None and raw.known:
            no_load["bleeder_ohm"] = self.band(bleeder * self.near(0.03))
            discharge = self.band(time_to(raw.mean(0.0), bleeder, raw.capacitance))
        return RailExpectation(
            no_load=no_load,
            loaded=loaded,
            together=self.loaded(rail, raw, rail.rated_current_a),
            discharge_s=discharge,
        )

    def output(self, rail: Rail, raw: _Raw, load_a: float) -> Array:
        regulator, wiring = rail.regulator, (rail.wiring_ohm or 0.0) * load_a
        if regulator is None:
            return raw.mean(load_a) - wiring
        set_point = abs(rail.set_point_v or rail.nominal_v) * self.near(
            (regulator.tolerance_pct or 4.0) / 200
        )
        ideal = set_point - (regulator.output_ohm or 0.02) * load_a
        if raw.known:
            ideal = np.minimum(
                ideal, raw.mean(load_a) - raw.ripple(load_a) / 2 - (regulator.dropout_v or 2.0)
            )
        return np.asarray(ideal - wiring)

    def loaded(self, rail: Rail, raw: _Raw, load_a: float) -> dict[str, Band]:
        sign, output = rail.sign, self.output(rail, raw, load_a)
        values = {"output_v": self.band(output * sign)}
        if not raw.known:
            return values
        mean, ripple = raw.mean(load_a), raw.ripple(load_a)
        values |= {
            "reservoir_mean_v": self.band(mean * sign),
            "reservoir_valley_v": self.band((mean - ripple / 2) * sign),
            "reservoir_ripple_pp_v": self.band(ripple),
            "output_ripple_pp_v": self.band(ripple),
            "secondary_v": self.band(raw.no_load_rms - raw.source_ohm * 1.8 * load_a),
            "secondary_rms_a": self.band(1.8 * load_a * self.near(0.08)),
        }
        if rail.regulator is not None:
            heat = (mean - output) * load_a
            sink = self.ambient_c + heat * (
                rail.heatsink.thermal_resistance_kpw if rail.heatsink else 3.0
            ) * self.near(0.1)
            inner = (rail.regulator.junction_to_case_kpw or 2.0) + 0.5
            headroom = mean - ripple / 2 - abs(rail.nominal_v) - (rail.regulator.dropout_v or 2.0)
            values |= {
                "output_ripple_pp_v": self.band(
                    ripple * 10 ** (-(rail.regulator.ripple_rejection_db or 55.0) / 20)
                ),
                "dissipation_w": self.band(heat),
                "headroom_v": self.band(headroom),
                "heatsink_c": self.band(sink),
                "junction_c": self.band(sink + heat * inner),
            }
        return values


class _Raw:
    """Reservoir of one rail by the plain relations."""

    def __init__(self, model: _Plain, rail: Rail) -> None:
        self.known = bool(rail.sources) and bool(model.supply.transformers)
        if not self.known:
            self._nominal = abs(rail.nominal_v) * model.near(0.1)
            return
        transformer, secondary = model.supply.secondary(rail.sources[0])
        kind = rail.rectifier.kind if rail.rectifier else "bridge"
        self.drops = (2 if kind == "bridge" else 1) * (
            rail.rectifier.forward_v or 0.9 if rail.rectifier else 0.9
        )
        self.pulses = 1 if kind == "half-wave" else 2
        self.frequency = model.supply.mains.frequency_hz
        self.no_load_rms = model.no_load_rms(transformer, secondary)
        self.source_ohm = model.source_ohm(transformer, secondary)
        capacitance = rail.reservoir.capacitance_f if rail.reservoir else 2e-3 * rail.rated_current_a
        self.capacitance = capacitance * model.near(0.1)

    def ripple(self, load_a: float) -> Array:
        return np.asarray(0.7 * load_a / (self.pulses * self.frequency * self.capacitance))

    def mean(self, load_a: float) -> Array:
        if not self.known:
            return self._nominal
        drops = self.drops * (0.6 if load_a == 0 else 1.0)
        return np.asarray(
            self.no_load_rms * np.sqrt(2) - drops - 3.0 * self.source_ohm * load_a - self.ripple(load_a) / 2
        )
