"""What every reading ought to be: the result of `physics.expect`, as plain data in SI units."""

from __future__ import annotations

import msgspec

LATE_S = 1800.0
"""From when in a soak a heat sink is foretold whose time constant is not stated [s]: two of a usual one
(10 to 20 min, common practice, no source)."""
SINK_C = 70.0
"""Hottest heat sink where the sheet states none [°C] (common practice, no source)."""
ALL_HOT = "all hot"
"""What `RailExpectation.together` holds for, beside a figure."""
_ALL_HOT_WORDS = (
    f"{ALL_HOT}: every rail at its rated current, at the end of a soak; any other load is on that rail "
    "alone, ten minutes after switch-on from cold"
)


class Band(msgspec.Struct, frozen=True, kw_only=True):
    """An expected value with its 95 % band; low <= value <= high."""

    value: float
    low: float
    high: float


class LoadedPoint(msgspec.Struct, frozen=True, kw_only=True):
    """A rail at one load current (magnitude, [A]); `values` by the keys of `RAIL_LOADED_KEYS`."""

    load_a: float
    values: dict[str, Band]


class RailExpectation(msgspec.Struct, frozen=True, kw_only=True):
    """One rail. Voltages carry the rail's sign; ripples, currents and powers are magnitudes."""

    no_load: dict[str, Band]
    loaded: tuple[LoadedPoint, ...]
    together: dict[str, Band]
    """As a loaded point, with every rail of the supply at its rated current at once, at the end of a soak."""
    heatsink_late_c: Band | None = None
    """Its heat sink from half an hour of a soak on, whatever its time constant (`LATE_S`) [°C]."""
    discharge_s: Band | None = None
    """Time for the reservoir to fall to the safe residual voltage through its bleeder [s]."""
    notes: tuple[str, ...] = ()
    """Margins and problems in words ('valley 1.1 V above dropout at 230 V, 0.9 V short at 207 V')."""
    guessed: bool = False
    """Whether only the nameplate is known: its bands are guesses from it, and nothing is computed."""


class RailExtremes(msgspec.Struct, frozen=True, kw_only=True):
    """A regulated rail at the ends of what it must work in, all rails at rated current and warm; nominal."""

    headroom_v: float
    """Valley of the reservoir over set point and dropout, at nominal mains [V]; negative where short."""
    low_headroom_v: float
    """The same at the lowest mains of the sheet's band."""
    heatsink_c: float | None = None
    """At the highest mains in the hottest room [°C]; None without a heat sink on the sheet."""
    junction_c: float | None = None


class Extremes(msgspec.Struct, frozen=True, kw_only=True):
    """The unit at the ends of the mains band and in the hottest room."""

    mains_low_v: float
    mains_high_v: float
    room_c: float
    rails: dict[str, RailExtremes]
    """Regulated rails that can be computed, by name."""
    windings_c: dict[str, float]
    """By transformer of the sheet, at the highest mains in the hottest room [°C]."""


class Expectation(msgspec.Struct, frozen=True, kw_only=True):
    """Every reading the procedures ask for, at one mains voltage and room temperature."""

    mains_v: float
    ambient_c: float
    rails: dict[str, RailExpectation]
    secondaries: dict[str, dict[str, Band]]
    """By source name such as ``T1.a``; keys of `SECONDARY_KEYS`."""
    transformers: dict[str, dict[str, Band]]
    """By transformer name; keys of `TRANSFORMER_KEYS`."""
    unit: dict[str, Band]
    """The supply as a whole; keys of `UNIT_KEYS`."""
    assumptions: tuple[str, ...] = ()
    """What the sheet left out and what was taken instead, in words."""
    problems: tuple[str, ...] = ()
    """Impossible or missing physics, in words."""
    extremes: Extremes | None = None
    """None where nothing is modelled, or margins were not asked for."""

    @property
    def all_hot_words(self) -> str:
        """Why a reading of all rails is not that of one rail alone; empty where all are guesses."""
        return _ALL_HOT_WORDS if any(not rail.guessed for rail in self.rails.values()) else ""

    def band(
        self,
        key: str,
        subject: str = "",
        *,
        load_a: float | None = None,
        together: bool = False,
    ) -> Band | None:
        """Return the band of reading `key`, or None where nothing can be said.

        Parameters
        ----------
        key : str
            One of the keys below.
        subject : str
            Rail, secondary (``T1.a``) or transformer name; empty for the whole unit.
        load_a : float, optional
            Load current [A] of a loaded reading; the computed point within 1 % of it (or 1 mA) is used.
        together : bool
            All rails at rated current at once.
        """
        rail = self.rails.get(subject)
        if rail is not None:
            if together or key == "heatsink_late_c":
                return rail.together.get(key) if key != "heatsink_late_c" else rail.heatsink_late_c
            if load_a is None or abs(load_a) < 1e-9:
                return rail.discharge_s if key == "discharge_s" else rail.no_load.get(key)
            for point in rail.loaded:
                if abs(point.load_a - load_a) <= max(0.01 * load_a, 1e-3):
                    return point.values.get(key)
            return None
        for group in (self.secondaries, self.transformers):
            if subject in group:
                return group[subject].get(key)
        return self.unit.get(key)


RAIL_NO_LOAD_KEYS = ("output_v", "reservoir_v", "reservoir_ripple_pp_v", "output_ripple_pp_v", "bleeder_ohm")
RAIL_LOADED_KEYS = (
    "output_v",
    "reservoir_mean_v",
    "reservoir_valley_v",
    "reservoir_ripple_pp_v",
    "output_ripple_pp_v",
    "secondary_v",
    "secondary_rms_a",
    "dissipation_w",
    "headroom_v",
    "heatsink_c",
    "junction_c",
)
SECONDARY_KEYS = ("no_load_v", "winding_ohm")
TRANSFORMER_KEYS = ("primary_ohm", "magnetising_a", "surface_c")
UNIT_KEYS = ("mains_no_load_a", "mains_a", "input_va")
