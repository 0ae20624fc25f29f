r"""The hidden parts of a rail, from voltages and ripples at several loads; no papers needed.

The rectifier model (`physics.rectifier`) is fitted to the mean voltages and the peak-to-peak ripples of a
reservoir: no-load RMS voltage of the secondary, series resistance behind the rectifier, capacitance, ESR.
What is not known but matters is fitted along with them, each within its own limits: the drop of
the diodes, the current that flows without a load, the error that a meter makes at all readings alike, and
that of the load current. So the uncertainties own up to it.

Gauss-Newton in the logarithms of the four; with residuals r in standard uncertainties and Jacobian A
(limits of the unknowns as further rows) the error of the answer is :math:`(A^T A)^{-1} A^T e`, whose 95 %
interval is found by drawing e from what each error is: rectangles for meters and limits.

References
----------
.. [1] JCGM 100:2008 (GUM) 4.3.7, rectangular distributions; JCGM 101:2008, propagation by drawing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from ohmward.analysis._results import NAMES, Characterised, RailPoint
from ohmward.physics.rectifier import Diode, steady_state
from ohmward.supply.model import RectifierKind

Array = npt.NDArray[np.float64]

_WORDS = {
    "open_circuit_v": "open-circuit voltage",
    "source_ohm": "source resistance",
    "capacitance_f": "reservoir capacitance",
    "esr_ohm": "ESR",
}
LEVEL = 0.95
TOGETHER = 0.9
"""Two answers more strongly correlated than this cannot be told apart by these readings."""
LOOSE = 0.6
"""An answer whose standard uncertainty is above this share of its prior's tells next to nothing."""
PRIOR = {"open_circuit_v": 3.0, "source_ohm": 2.5, "capacitance_f": 2.0, "esr_ohm": 0.6}
"""Standard deviations of what is taken beforehand, in the natural logarithm: next to nothing for the first
three; an ESR within a factor of about three of that of a usual electrolytic (loss tangent 0.15; common
practice, no source), which readings that tell it overrule."""
LOSS_TANGENT = 0.15
FORWARD_V, FORWARD_HALF_V = 0.9, 0.1
"""Drop of one diode at rated current and its limits (common practice, no source) [V]."""
WARM = 0.02
"""Standard uncertainty of each sag under load, as a share of it: between two points of a sweep the copper
warms by up to ten kelvins, 0.39 % of its resistance each (common practice, no source)."""
BULK_V = 0.05
SLOPE_V = 1.8 * 1.380649e-23 * 300.15 / 1.602176634e-19
IDLE_A, IDLE_FACTOR = 2e-3, 10.0
"""Current that flows from the reservoir without a load, where no bleeder is known, and its limits as a
factor either way."""
_ROUNDS = 60
_COLLAPSED = 1e6
"""Residual of a rail that would collapse under its load."""
SETTLED = 1e-4
"""Gain in chi-squared, absolute or as a share, below which iterating stops: a hundredth of a sigma."""
_DRAWS = 20000


def characterise(
    points: Sequence[RailPoint],
    *,
    kind: RectifierKind = "bridge",
    frequency_hz: float = 50.0,
    mains_nominal_v: float | None = None,
    rated_a: float | None = None,
    gain_v: float = 0.005,
    gain_ripple: float = 0.03,
    gain_a: float = 0.01,
    gain_mains: float = 0.005,
    bleeder_ohm: float | None = None,
    idle_a: float = 0.0,
    wiring_ohm: float = 0.0,
    forward_v: float | None = None,
    open_half: bool = False,
) -> Characterised:
    """Fit the hidden parts of a rail.

    Parameters
    ----------
    points : sequence of RailPoint
        At least three voltages at different loads and one ripple under load.
    kind : {'bridge', 'centre-tap', 'half-wave'}
    frequency_hz : float
    mains_nominal_v : float, optional
        What `open_circuit_v` is referred to; None: as the mains stood.
    rated_a : float, optional
        Rated current, at which a diode's drop is stated; the largest load when left out.
    gain_v, gain_ripple, gain_a, gain_mains : float
        Half-widths of the errors common to all readings of voltage, ripple, load and mains, as shares.
    bleeder_ohm : float, optional
        Across the reservoir; unknown when left out.
    idle_a : float
        Current that flows at every load besides: a regulator's own [A].
    wiring_ohm : float
        Between the reservoir and where the voltage was read, both ways.
    forward_v : float, optional
        Drop of one diode at rated current.
    open_half : bool
        One half-cycle of a bridge or centre tap does not conduct; see `halves` for which of both fits.

    Raises
    ------
    ValueError
        When there are too few readings, or no sound rail of that kind gives such readings.
    """
    return _Fit(
        points,
        kind=kind,
        frequency_hz=frequency_hz,
        mains_nominal_v=mains_nominal_v,
        rated_a=rated_a,
        gains=(gain_v, gain_ripple, gain_a, gain_mains),
        bleeder_ohm=bleeder_ohm,
        idle_a=idle_a,
        wiring_ohm=wiring_ohm,
        forward_v=forward_v,
        open_half=open_half,
    ).result()


@dataclass(frozen=True, slots=True)
class _Answer:
    theta: Array
    jacobian: Array
    chi2: float


class _Fit:
    """Parameters: logarithms of the four, then the nuisances in units of their standard deviation.

    The nuisances: diode drop, idle current (logarithm), gain of voltmeter, of ripple meter, of ammeter,
    of mains meter.
    """

    def __init__(
        self,
        points: Sequence[RailPoint],
        *,
        kind: RectifierKind,
        frequency_hz: float,
        mains_nominal_v: float | None,
        rated_a: float | None,
        gains: tuple[float, float, float, float],
        bleeder_ohm: float | None,
        idle_a: float,
        wiring_ohm: float,
        forward_v: float | None,
        open_half: bool = False,
    ) -> None:
        self.open_half = open_half
        self.kind, self.frequency_hz, self.bleeder_ohm = kind, frequency_hz, bleeder_ohm
        self.wiring_ohm, self.idle_a = wiring_ohm, idle_a
        kept = [p for p in points if p.mean_v is not None or p.ripple_pp_v is not None]
        self.load = np.array([p.load_a for p in kept])
        self.mains = np.array(
            [1.0 if not (p.mains_v and mains_nominal_v) else p.mains_v / mains_nominal_v for p in kept]
        )
        self.mean = np.array([np.nan if p.mean_v is None else p.mean_v for p in kept])
        self.ripple = np.array([np.nan if p.ripple_pp_v is None else p.ripple_pp_v for p in kept])
        own = np.array([max(p.u_mean_v, 5e-4 * (p.mean_v or 1.0)) for p in kept])
        self.u_mean = np.hypot(own, WARM * np.nan_to_num(np.nanmax(self.mean, initial=0.0) - self.mean))
        self.u_ripple = np.array([max(p.u_ripple_v, 5e-3 * (p.ripple_pp_v or 1.0)) for p in kept])
        self._enough()
        self.rated = rated_a or float(self.load.max())
        self.forward = FORWARD_V if forward_v is None else forward_v
        self.drops = 2 if kind == "bridge" else 1
        root = math.sqrt(3.0)
        idle = math.log(IDLE_FACTOR) / root if bleeder_ohm is None else math.log(7.0) / root
        half = FORWARD_HALF_V if forward_v is None else 0.06 * forward_v
        self.nuisance = np.array([half / root, idle, *(gain / root for gain in gains)])
        self.start = self._guess()
        self.prior_sd = np.array([PRIOR[name] for name in NAMES])

    def _enough(self) -> None:
        known = np.isfinite(self.mean)
        if len(np.unique(self.load[known])) < 3:
            raise ValueError("voltages at three different loads at least are needed")
        if not (np.isfinite(self.ripple) & (self.load > 0)).any():
            raise ValueError("a ripple under load is needed: without one nothing tells the capacitance")
        top = float(np.nanmax(self.mean))
        if not top > 0 or (known & (self.load == self.load[known].max())).sum() == 0:
            raise ValueError("the voltages must be above zero")
        sag = top - float(self.mean[known & (self.load == self.load[known].max())].min())
        if sag < 0.005 * top:
            raise ValueError(
                "the voltage does not fall with the load: a regulated output tells nothing of what feeds it "
                "(read the reservoir), or the load is not connected"
            )

    def _guess(self) -> Array:
        known = np.isfinite(self.mean)
        light, heavy = self.load[known].argmin(), self.load[known].argmax()
        volts, loads = self.mean[known], self.load[known]
        emf = (volts[light] + 0.65 * self.drops) / math.sqrt(2)
        slope = (volts[light] - volts[heavy]) / (loads[heavy] - loads[light])
        rippled = np.flatnonzero(np.isfinite(self.ripple) & (self.load > 0))
        at = rippled[self.load[rippled].argmax()]
        pulses = 1 if self.kind == "half-wave" or self.open_half else 2
        farad = 0.8 * self.load[at] / (pulses * self.frequency_hz * self.ripple[at])
        # the mean falls by some four to six times the resistance times the current
        ohm = max(0.15 * slope, 0.01 * emf / self.load.max())
        esr = LOSS_TANGENT / (2 * np.pi * 2 * self.frequency_hz * farad)
        return np.log([emf, ohm, farad, esr])

    # --- the model

    def model(self, theta: Array) -> Array:
        """Return residuals, in standard uncertainties, of rows of parameters: shape (rows, residuals)."""
        rows = np.atleast_2d(theta)
        emf, ohm, farad, esr = np.exp(rows[:, :4]).T[:, :, None]
        drop, idle, gain_v, gain_ripple, gain_a, gain_mains = (rows[:, 4:] * self.nuisance).T[:, :, None]
        saturation = self.rated * np.exp(-(self.forward + drop - BULK_V) / SLOPE_V)
        load = self.load * (1 + gain_a)
        idle_a = (IDLE_A if self.bleeder_ohm is None else 1e-4) * np.exp(idle)
        if self.bleeder_ohm is not None:
            volts = np.where(np.isfinite(self.mean), self.mean, np.nanmax(self.mean))
            idle_a = idle_a + volts / self.bleeder_ohm
        found = steady_state(
            kind=self.kind,
            source_rms_v=emf * self.mains * (1 + gain_mains),
            frequency_hz=self.frequency_hz,
            source_ohm=ohm,
            capacitance_f=farad,
            esr_ohm=esr,
            diode=Diode(saturation_a=saturation, emission=1.8, bulk_ohm=BULK_V / self.rated),
            load_a=load + idle_a + self.idle_a,
            open_half=self.open_half,
        )
        mean = (found.mean_v - load * self.wiring_ohm) * (1 + gain_v)
        ripple = found.ripple_pp_v * (1 + gain_ripple)
        seen = np.concatenate(
            [
                ((self.mean - mean) / self.u_mean)[:, np.isfinite(self.mean)],
                ((self.ripple - ripple) / self.u_ripple)[:, np.isfinite(self.ripple)],
            ],
            axis=1,
        )
        prior = (self._usual(rows) - rows[:, :4]) / self.prior_sd
        return np.concatenate([seen, prior, -rows[:, 4:]], axis=1)

    def _usual(self, rows: Array) -> Array:
        """Return what is taken beforehand: the guess, and an ESR that goes with the capacitance."""
        usual = np.tile(self.start, (len(rows), 1))
        usual[:, 3] = np.log(LOSS_TANGENT / (2 * np.pi * 2 * self.frequency_hz)) - rows[:, 2]
        return usual

    def _linear(self, theta: Array) -> tuple[Array, Array]:
        """Return residuals and their derivatives by two-sided differences, in one call of the model."""
        steps = np.full(len(theta), 1e-3)
        steps[4:] = 1e-2
        shifts = np.diag(steps)
        found = self.model(np.concatenate([theta[None, :], theta + shifts, theta - shifts]))
        n = len(theta)
        return found[0], ((found[1 : n + 1] - found[n + 1 :]) / (2 * steps[:, None])).T

    def solve(self) -> _Answer:
        """Fit by a trust region.

        Raises
        ------
        ValueError
            When there is no steady state near the answer.
        """
        theta = np.concatenate([self.start, np.zeros(len(self.nuisance))])
        for _ in range(6):
            if np.isfinite(self.model(theta)).all():
                break
            theta[1] -= 0.7

        def rest_of(at: Array) -> Array:
            rest = self.model(at)[0]
            return rest if np.isfinite(rest).all() else np.full_like(rest, _COLLAPSED)

        def slopes_of(at: Array) -> Array:
            return self._linear(at)[1]

        found = least_squares(
            rest_of, theta, jac=slopes_of, x_scale="jac", ftol=SETTLED, xtol=1e-6,
            max_nfev=_ROUNDS,
        )  # fmt: skip
        rest, jacobian = self._linear(found.x)
        if not (np.isfinite(rest).all() and np.isfinite(jacobian).all()):
            raise ValueError("no rail of this kind gives such readings: it would collapse under its load")
        return _Answer(found.x, jacobian, float(rest @ rest))

    def result(self) -> Characterised:
        """Return the answer with its intervals and what must be said of it."""
        answer = self.solve()
        inverse = np.linalg.pinv(answer.jacobian)
        covariance = (inverse @ inverse.T)[:4, :4]
        sd = np.sqrt(np.diag(covariance))
        half = self._half_widths(np.asarray(inverse[:4], dtype=float))
        values = np.exp(answer.theta[:4])
        correlation = covariance / np.outer(sd, sd)
        seen = int(np.isfinite(self.mean).sum() + np.isfinite(self.ripple).sum())
        uncertainty = values * np.sinh(half)
        fields = {}
        for name, value, u in zip(NAMES, values, uncertainty, strict=True):
            fields[name], fields[f"{name}_uncertainty"] = float(value), float(u)
        return Characterised(
            **fields,
            correlation=tuple(tuple(float(c) for c in row) for row in correlation),
            low=tuple(float(v) for v in values * np.exp(-half)),
            high=tuple(float(v) for v in values * np.exp(half)),
            chi2=answer.chi2,
            dof=max(seen - 4, 0),
            conducts="one half-cycle" if self.kind == "half-wave" or self.open_half else "both half-cycles",
            readings=seen,
            warnings=tuple(self._warnings(answer, sd, correlation, seen)),
        )

    def _half_widths(self, gains: Array) -> Array:
        """Return the 95 % half-widths of the logarithms by drawing every error from its own shape."""
        rng = np.random.default_rng(0)
        root = math.sqrt(3.0)
        errors = rng.uniform(-root, root, (_DRAWS, gains.shape[1]))
        # what is taken of the four beforehand is a normal distribution
        first = gains.shape[1] - len(self.nuisance) - 4
        errors[:, first : first + 4] = rng.normal(size=(_DRAWS, 4))
        return np.asarray(np.quantile(np.abs(errors @ gains.T), LEVEL, axis=0))

    def _warnings(self, answer: _Answer, sd: Array, correlation: Array, seen: int) -> list[str]:
        from scipy.special import chdtrc

        found = []
        for i in range(4):
            for j in range(i):
                if abs(correlation[i, j]) > TOGETHER:
                    one, other = _WORDS[NAMES[j]], _WORDS[NAMES[i]]
                    found.append(
                        f"{one} and {other} cannot be told apart by these readings: only together are they "
                        f"known (correlation {correlation[i, j]:+.2f}); a wider range of loads parts them"
                    )
        for name, spread, prior in zip(NAMES, sd, self.prior_sd, strict=True):
            if spread > LOOSE * prior:
                usual = "; the figure is little more than what is usual" if name == "esr_ohm" else ""
                found.append(f"{_WORDS[name]}: these readings hardly tell it{usual}")
        dof = seen - 4
        if dof <= 0:
            found.append("as many unknowns as readings: nothing tests the answer")
        elif chdtrc(dof, answer.chi2) < 0.01:
            found.append(
                "the readings do not agree with a sound rectifier and reservoir "
                f"(chi-squared {answer.chi2:.3g} with {dof} degrees of freedom): a fault, or readings taken "
                "under other conditions"
            )
        return found


__all__ = ["NAMES", "Characterised", "RailPoint", "characterise"]
