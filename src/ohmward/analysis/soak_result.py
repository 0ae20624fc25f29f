"""What is told of one temperature of a soak: where it settles, here and in the hottest room."""

from __future__ import annotations

import msgspec

from ohmward.quantity import show

TOO_SHORT, NO_CURVE = "too short to tell", "no one curve"
"""Why no number is given."""


class SoakResult(msgspec.Struct, frozen=True, kw_only=True):
    """One sensor; None where the record does not say. Intervals at 95 %."""

    sensor: str
    last_c: float
    final_c: float | None = None
    final_uncertainty_k: float | None = None
    """The larger half of the interval, the thermometer's own uncertainty in it."""
    time_constant_s: float | None = None
    at_max_ambient_c: float | None = None
    at_max_ambient_low_c: float | None = None
    at_max_ambient_high_c: float | None = None
    limit_c: float | None = None
    stabilised: bool | None = None
    rule: str = ""
    enough_data: bool = False
    withheld: bool = False
    """The record does not tell where it settles, and no number is given: it is too short, or `no_curve`."""
    no_curve: bool = False
    """Its readings follow no one curve of warming: a jump, a sensor moved, a load changed."""
    read_once: bool = False
    """It was read once, hot, and is no forecast: a terminal, a knob."""
    at_least_c: float | None = None
    """What the last reading alone comes to in the hottest room; None where the room was not read."""
    may_pass_untold: bool = False
    """It is withheld, and nothing in the record keeps it below its limit in the hottest room."""
    samples: int = 0
    """Samples of a series that it was fitted to; 0: the readings recorded point by point."""
    warnings: tuple[str, ...] = ()

    @property
    def untold(self) -> str:
        """Why no number is given, for the place of one; empty where it is."""
        return (NO_CURVE if self.no_curve else TOO_SHORT) if self.withheld else ""

    @property
    def too_hot_in_the_hottest_room(self) -> bool:
        """The forecast for the hottest room may pass the limit."""
        if self.limit_c is None:
            return False
        if self.withheld:
            return self.may_pass_untold or (self.at_least_c is not None and self.at_least_c > self.limit_c)
        if self.read_once:  # by more than the thermometer leaves open
            return self.at_max_ambient_low_c is not None and self.at_max_ambient_low_c > self.limit_c
        high = self.at_max_ambient_c if self.at_max_ambient_high_c is None else self.at_max_ambient_high_c
        return high is not None and high > self.limit_c

    @property
    def hottest_known_c(self) -> float:
        """What it comes to in the hottest room, as far as the record tells [°C]."""
        if self.enough_data and self.at_max_ambient_c is not None:
            return self.at_max_ambient_c
        return self.last_c if self.at_least_c is None else self.at_least_c

    @property
    def beyond_in_the_hottest_room(self) -> tuple[float, bool] | None:
        """What it comes to there [°C], and whether likely or only possible; None within its limit."""
        if not self.too_hot_in_the_hottest_room or self.at_max_ambient_c is None or self.limit_c is None:
            return None
        likely = self.at_max_ambient_c > self.limit_c
        return (self.at_max_ambient_c if likely else self.at_max_ambient_high_c or self.limit_c), likely

    @property
    def hottest_words(self) -> str:
        """The same in words; empty within its limit."""
        beyond, limit = self.beyond_in_the_hottest_room, show(self.limit_c or 0.0, "°C")
        if self.too_hot_in_the_hottest_room and not self.enough_data:
            why = "its readings follow no one curve" if self.no_curve else f"the soak was {TOO_SHORT}"
            return f"may pass its limit, {limit}, in the hottest room allowed: {why}"
        if beyond is None:
            return ""
        hot = show(beyond[0], "°C", decimals=0)
        return f"{'would' if beyond[1] else 'may'} reach {hot} in the hottest room allowed, limit {limit}"
