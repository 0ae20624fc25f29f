"""The electronic load and the digitiser of the simulated bench."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from ohmward.bench.meters import Meter
from ohmward.bench.simulated import scpi
from ohmward.bench.simulated.meters import SimulatedMeter
from ohmward.bench.simulated.points import NoPoint, Points
from ohmward.bench.simulated.scpi import ScpiError

Array = npt.NDArray[np.float64]

LOAD_TOP_A, LOAD_TOP_OHM = 30.0, 1e5
MOST_SAMPLES = 200_000
SPANS_V = (0.02, 0.2, 2.0, 20.0, 200.0)
"""Ranges of the digitiser, peak [V]."""
LEVELS = 4096
"""Of its converter, over the whole of a range."""


class ElectronicLoad(SimulatedMeter):
    """An electronic load at constant current or resistance: FUNCtion, CURRent, RESistance, INPut, MEASure.

    The words are common practice among loads that speak SCPI (no standard covers them). It loads the rail
    that its terminals are on: ``PROBe:AT "rail +15 output"``.
    """

    def __init__(self, meter: Meter, points: Points, *, seed: int, at: str) -> None:
        super().__init__(meter, points, seed=seed, at=at, settling=False)
        self._mode, self._amps, self._ohm, self._on = "CURR", 0.0, LOAD_TOP_OHM, False
        self.add(
            {
                "[SOURce]:FUNCtion": self._set_mode,
                "[SOURce]:FUNCtion?": lambda _: self._mode,
                "[SOURce]:CURRent[:LEVel][:IMMediate]": self._set_amps,
                "[SOURce]:CURRent[:LEVel][:IMMediate]?": lambda _: scpi.nr3(self._amps, 1e-4),
                "[SOURce]:RESistance[:LEVel][:IMMediate]": self._set_ohm,
                "[SOURce]:RESistance[:LEVel][:IMMediate]?": lambda _: scpi.nr3(self._ohm, 1e-2),
                "INPut[:STATe]": self._switch,
                "INPut[:STATe]?": lambda _: str(int(self._on)),
                "MEASure[:SCALar]:VOLTage[:DC]?": lambda _: self.text(self.show("dc volts")),
                "MEASure[:SCALar]:CURRent[:DC]?": lambda _: self.text(self.show("dc amps")),
                "MEASure[:SCALar]:POWer[:DC]?": lambda _: scpi.nr3(self._watt(), 1e-3),
            }
        )

    def reset(self) -> None:
        """Do ``*RST``: input off, no current, constant current."""
        self._mode, self._amps, self._ohm, self._on = "CURR", 0.0, LOAD_TOP_OHM, False
        self._draw()

    def move(self, point: str, channel: int = 1) -> None:
        """Join the terminals to another rail; only with the input off (-221)."""
        if self._on:
            raise ScpiError(-221, "switch the input off before the load is moved")
        try:
            found = self.points.find(point)
        except NoPoint as error:
            raise ScpiError(-224, point) from error
        if found.kind != "rail" or found.where != "output":
            raise ScpiError(-224, point)
        super().move(point, channel)

    def _watt(self) -> float:
        return abs(self.true("dc volts")) * self.true("dc amps")

    def _set_mode(self, parameters: list[str]) -> None:
        word = scpi.one(parameters).strip("\"'").upper()
        modes = {"CURR": "CURR", "CURRENT": "CURR", "RES": "RES", "RESISTANCE": "RES"}
        if word not in modes:
            raise ScpiError(-224, parameters[0])
        self._mode = modes[word]
        self._draw()

    def _set_amps(self, parameters: list[str]) -> None:
        value = scpi.number(scpi.one(parameters), "A", MINimum=0.0, MAXimum=LOAD_TOP_A, DEFault=0.0)
        if not 0 <= value <= LOAD_TOP_A:
            raise ScpiError(-222, parameters[0])
        self._amps = value
        self._draw()

    def _set_ohm(self, parameters: list[str]) -> None:
        value = scpi.number(
            scpi.one(parameters), "OHM", MINimum=0.05, MAXimum=LOAD_TOP_OHM, DEFault=LOAD_TOP_OHM
        )
        if not 0.05 <= value <= LOAD_TOP_OHM:
            raise ScpiError(-222, parameters[0])
        self._ohm = value
        self._draw()

    def _switch(self, parameters: list[str]) -> None:
        self._on = scpi.boolean(scpi.one(parameters))
        self._draw()

    def _draw(self) -> None:
        """Draw what is set, a little off as its own specification allows."""
        rail, unit = self.probes[1].what, self.points.unit
        if not self._on:
            unit.set_load(rail, 0.0)
            return
        if self._mode == "CURR":
            unit.set_load(rail, self._set(self._amps))
            return
        amps = 0.0
        for _ in range(6):  # output over resistance, until they agree: an output falls little with its load
            unit.set_load(rail, amps)
            amps = 0.5 * amps + 0.5 * min(abs(unit.rail(rail).output_v) / self._ohm, LOAD_TOP_A)
        unit.set_load(rail, amps)

    def _set(self, amps: float) -> float:
        found = self.errors.specification(amps, "dc amps")
        if found is None or amps == 0:
            return amps
        return max(amps + self.errors.share("setting", LOAD_TOP_A) * found.accuracy.half_width(amps), 0.0)


class Digitiser(SimulatedMeter):
    """A digitising instrument: peak to peak as a number, a waveform as a definite-length block.

    MEASure:VOLTage:PTPeak?, CONFigure:ARRay:VOLTage, FETCh:ARRay:VOLTage? of SCPI-99 volume 2 chapter 3,
    FORMat of volume 2 chapter 9, from memory. One channel, ``(@1)``.
    """

    def __init__(self, meter: Meter, points: Points, *, seed: int, at: str) -> None:
        super().__init__(meter, points, seed=seed, at=at, settling=False)
        self._rng = np.random.default_rng(seed)
        self._what = "PTP"
        self.reset()
        self.add(
            {
                "CONFigure[:SCALar]:VOLTage:PTPeak": lambda p: self._configure("PTP", p),
                "CONFigure[:SCALar]:VOLTage[:DC]": lambda p: self._configure("DC", p),
                "CONFigure[:SCALar]:VOLTage:AC": lambda p: self._configure("AC", p),
                "MEASure[:SCALar]:VOLTage:PTPeak?": lambda p: self._measure("PTP", p),
                "MEASure[:SCALar]:VOLTage[:DC]?": lambda p: self._measure("DC", p),
                "MEASure[:SCALar]:VOLTage:AC?": lambda p: self._measure("AC", p),
                "CONFigure:ARRay:VOLTage[:DC]": self._configure_array,
                "READ?": self._read,
                "INITiate[:IMMediate]": self._initiate,
                "ABORt": scpi.none,
                "FETCh:ARRay:VOLTage[:DC]?": self._fetch,
                "READ:ARRay:VOLTage[:DC]?": self._read_array,
                "FORMat[:DATA]": self._set_format,
                "FORMat[:DATA]?": lambda _: self._format,
                "FORMat:BORDer": self._set_order,
                "FORMat:BORDer?": lambda _: "SWAP" if self._swapped else "NORM",
                "[SENSe]:SWEep:POINts": self._set_points,
                "[SENSe]:SWEep:POINts?": lambda _: str(self._points),
                "[SENSe]:SWEep:TINTerval": self._set_interval,
                "[SENSe]:SWEep:TINTerval?": lambda _: f"{self._interval_s:.6E}",
                "[SENSe]:VOLTage[:DC]:RANGe[:UPPer]": self._set_span,
                "INPut:COUPling": self._set_coupling,
                "INPut:COUPling?": lambda _: "AC" if self._ac else "DC",
            }
        )

    def reset(self) -> None:
        """Do ``*RST``: 5000 samples over 100 ms, direct coupling, range by itself, 32-bit floats."""
        self._points, self._interval_s = 5000, 20e-6
        self._format, self._swapped, self._ac = "REAL,32", False, False
        self._span: float | None = None
        self._taken: Array | None = None

    def _sample(self, *, ac: bool) -> Array:
        """Return samples with the errors of the instrument: gain, noise, levels of its converter."""
        waves, where = self.points.waves(self.probes[1])
        phase = self.points.unit.clock.now_s()
        times = np.asarray(phase + np.arange(self._points) * self._interval_s, dtype=np.float64)
        volts = waves.at(where, times, self._rng)
        if ac:
            volts = volts - volts.mean()
        top = float(np.abs(volts).max())
        span = self._span or next((each for each in SPANS_V if top <= each), math.inf)
        if math.isinf(span):
            return np.full(self._points, float(scpi.INFINITY))
        found = self.errors.specification(span, "dc volts")
        assert found is not None
        # Gain within 2 % and noise of 0.05 % of range: inside '2 % rdg + 1 % range' for the peak to peak.
        volts = volts * (1 + 0.02 * self.errors.share("dc volts", span))
        volts = volts + self._rng.uniform(-5e-4, 5e-4, len(volts)) * span
        step = 2 * span / LEVELS
        shown = np.round(volts / step) * step
        return np.asarray(np.where(np.abs(shown) > span, np.sign(shown) * span, shown))

    def _configure(self, what: str, parameters: list[str]) -> None:
        if parameters and scpi.channels(parameters[-1]) != [1]:
            raise ScpiError(-222, parameters[-1])
        self._what = what

    def _measure(self, what: str, parameters: list[str]) -> str:
        self._configure(what, parameters)
        return self._read([])

    def _read(self, parameters: list[str]) -> str:
        scpi.none(parameters)
        volts = self._sample(ac=self._ac or self._what != "DC")
        if abs(volts[0]) > 1e37:
            return scpi.INFINITY
        value = {"PTP": np.ptp(volts), "DC": volts.mean(), "AC": volts.std()}[self._what]
        return scpi.nr3(float(value), 1e-6)

    def _configure_array(self, parameters: list[str]) -> None:
        if not 1 <= len(parameters) <= 2:
            raise ScpiError(-108 if parameters else -109)
        self._set_points(parameters[:1])
        self._configure(self._what, parameters[1:])
        self._taken = None

    def _initiate(self, parameters: list[str]) -> None:
        scpi.none(parameters)
        self._taken = self._sample(ac=self._ac)

    def _read_array(self, parameters: list[str]) -> str | bytes:
        self._initiate([])
        return self._fetch(parameters)

    def _fetch(self, parameters: list[str]) -> str | bytes:
        if parameters and scpi.channels(parameters[-1]) != [1]:
            raise ScpiError(-222, parameters[-1])
        if self._taken is None:
            raise ScpiError(-230)
        if self._format == "ASC":
            return ",".join(f"{volts:+.6E}" for volts in self._taken)
        order, width = "<" if self._swapped else ">", self._format[-2:]
        return scpi.block(self._taken.astype(f"{order}f{int(width) // 8}").tobytes())

    def _set_format(self, parameters: list[str]) -> None:
        words = [part.upper() for part in parameters]
        if words in (["ASC"], ["ASCII"]):
            self._format = "ASC"
        elif words[:1] == ["REAL"] and words[1:] in ([], ["32"], ["64"]):
            self._format = "REAL," + (words[1] if words[1:] else "32")
        else:
            raise ScpiError(-224 if parameters else -109, ",".join(parameters))

    def _set_order(self, parameters: list[str]) -> None:
        word = scpi.one(parameters).upper()
        if word not in {"NORM", "NORMAL", "SWAP", "SWAPPED"}:
            raise ScpiError(-224, word)
        self._swapped = word.startswith("SWAP")

    def _set_points(self, parameters: list[str]) -> None:
        value = round(scpi.number(scpi.one(parameters), MINimum=2.0, MAXimum=float(MOST_SAMPLES)))
        if not 2 <= value <= MOST_SAMPLES:
            raise ScpiError(-222, parameters[0])
        self._points = value

    def _set_interval(self, parameters: list[str]) -> None:
        value = scpi.number(scpi.one(parameters), "S", MINimum=1e-7, MAXimum=1.0)
        if not 1e-7 <= value <= 1.0:
            raise ScpiError(-222, parameters[0])
        self._interval_s = value

    def _set_span(self, parameters: list[str]) -> None:
        value = scpi.number(scpi.one(parameters), "V", MINimum=SPANS_V[0], MAXimum=SPANS_V[-1])
        fitting = [span for span in SPANS_V if value <= span]
        if value < 0 or not fitting:
            raise ScpiError(-222, parameters[0])
        self._span = fitting[0]

    def _set_coupling(self, parameters: list[str]) -> None:
        word = scpi.one(parameters).upper()
        if word not in {"AC", "DC"}:
            raise ScpiError(-224, word)
        self._ac = word == "AC"
