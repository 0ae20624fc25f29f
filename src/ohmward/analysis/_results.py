"""What characterising and diagnosing say: plain data."""

from __future__ import annotations

from typing import Literal

import msgspec

from ohmward.procedure.model import Severity

NO_FAULT = frozenset({"healthy", "bleeder-unlisted"})
"""Causes by which nothing is wrong with the unit: at most with its sheet."""
NAMES = ("open_circuit_v", "source_ohm", "capacitance_f", "esr_ohm")


class RailPoint(msgspec.Struct, frozen=True, kw_only=True):
    """A rail at one load: mean voltage at the reservoir [V], ripple p-p [V] where it was read, magnitudes.

    Of an unregulated rail the output will do; see `wiring_ohm` of `characterise`.
    """

    load_a: float
    mean_v: float | None = None
    ripple_pp_v: float | None = None
    mains_v: float | None = None
    u_mean_v: float = 0.0
    """Standard uncertainty of this reading alone: digits, noise."""
    u_ripple_v: float = 0.0


class Characterised(msgspec.Struct, frozen=True, kw_only=True):
    """A rail as it is; uncertainties are half the width of the 95 % interval."""

    open_circuit_v: float
    """RMS of the secondary without load, of one half in centre-tap, at nominal mains; as its crest is [V]."""
    open_circuit_v_uncertainty: float
    source_ohm: float
    """All resistance between an ideal winding and the rectifier: both windings, fuse, wiring [Ω]."""
    source_ohm_uncertainty: float
    capacitance_f: float
    capacitance_f_uncertainty: float
    esr_ohm: float
    esr_ohm_uncertainty: float
    correlation: tuple[tuple[float, ...], ...]
    """Of the logarithms, in the order of `NAMES`."""
    low: tuple[float, ...]
    high: tuple[float, ...]
    """The 95 % intervals, which are wider upwards, in the order of `NAMES`."""
    chi2: float
    readings: int
    dof: int = 0
    conducts: Literal["both half-cycles", "one half-cycle"] = "both half-cycles"
    """What the figures hold for: see `halves` for how that was told."""
    warnings: tuple[str, ...] = ()

    def interval(self, name: str) -> tuple[float, float]:
        """Return the 95 % interval of one of `NAMES`."""
        at = NAMES.index(name)
        return self.low[at], self.high[at]


class Cause(msgspec.Struct, frozen=True, kw_only=True):
    """One explanation of the readings."""

    fault: str
    """Name in the library; two joined by ' & '; ``healthy``; ``unknown`` where nothing fits."""
    subject: str
    """Rail or transformer, empty for the unit; those of two faults joined by ' & '. Places that nothing tells
    apart are one cause: '+15, -15 or 24'."""
    title: str
    probability: float
    because: tuple[str, ...] = ()
    """The readings that decided, in words, the weightiest first."""
    against: tuple[str, ...] = ()
    """Readings and checks that speak against it, in words, the weightiest first."""
    confirm: str = ""
    make_safe: str = ""
    alike: str = ""
    """What reads the same and is not this fault, in a sentence; empty where nothing is known to."""
    severity: Severity = "fault"
    fits: bool = True
    """False where even this explanation is poor in absolute terms."""

    def names(self, fault: str, subject: str) -> bool:
        """Whether it is a fault in a place: also as one of two, or in one of places nothing tells apart."""
        places = {
            place
            for two in self.subject.split(" & ")
            for one in two.split(" or ")
            for place in one.split(", ")
        }
        return fault in self.fault.split(" & ") and subject in places

    @property
    def harmless(self) -> bool:
        """Whether nothing is wrong with the unit by it."""
        return self.fault in NO_FAULT

    @property
    def from_one_reading(self) -> bool:
        """Whether one reading alone speaks for it."""
        return self.fault != "healthy" and len(self.because) == 1


class Diagnosis(msgspec.Struct, frozen=True, kw_only=True):
    """Explanations of a run's readings, the likeliest first."""

    causes: tuple[Cause, ...]
    fits: bool
    """False: nothing in the library fits the readings."""
    readings: int
    """Readings that were weighed."""
    notes: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    """What was not looked into so that it takes seconds and not minutes, in words."""

    @property
    def healthy(self) -> bool:
        """Whether 'nothing is wrong' is the likeliest."""
        return bool(self.causes) and self.causes[0].fault == "healthy"

    def probability(self, fault: str, subject: str = "") -> float:
        """Return the probability of one explanation, 0 where it is not listed."""
        same = (c for c in self.causes if c.fault == fault and subject in ("", c.subject))
        return sum(cause.probability for cause in same)
