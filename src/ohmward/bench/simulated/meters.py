"""The instruments of the simulated bench that show one number at a time, and what all of them share.

Beside the SCPI-99 words each knows words of our own for what a person's hands do:
``PROBe:AT "rail +15 reservoir"`` (on a scanner ``PROBe:AT "case",(@102)``), ``PROBe:AT?`` and
``PROBe:CATalog?``. After a probe has moved, the display takes a moment of bench time to follow.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import ClassVar

from ohmward.bench.meters import Meter
from ohmward.bench.simulated import scpi
from ohmward.bench.simulated.inventory import Errors, Shown
from ohmward.bench.simulated.points import NoPoint, Point, Points
from ohmward.bench.simulated.scpi import INFINITY, NOT_A_NUMBER, Instrument, ScpiError

SETTLING_S = 0.15
SENSOR_SETTLING_S = 6.0
"""Time constants of a display after its probe has moved, and of a temperature sensor (made up, no source)."""
DC_ONLY_V = 250.0, 500.0, 1000.0
"""Voltages an insulation tester can be set to."""

UNITS = {
    "dc volts": "V", "ac volts": "V", "dc amps": "A", "ac amps": "A", "ohms": "OHM", "low ohms": "OHM",
    "insulation": "OHM", "temperature": "CEL", "frequency": "HZ", "capacitance": "F", "power": "W",
    "apparent power": "VA",
}  # fmt: skip


class SimulatedMeter(Instrument):
    """What all meters have: a probe (or several), a session's errors, a display that settles.

    Parameters
    ----------
    meter : Meter
        Its entry in the meters file: name, identity, accuracies.
    points : Points
        The unit it may be probed on.
    seed : int
        Of its errors.
    at : str
        Where its probe is to begin with.
    settling : bool
        False for a display that follows its probe at once.
    """

    def __init__(self, meter: Meter, points: Points, *, seed: int, at: str, settling: bool = True) -> None:
        super().__init__(meter.idn)
        self.meter, self.points, self.settling = meter, points, settling
        self.errors = Errors(meter, seed)
        self.probes: dict[int, Point] = {1: points.find(at)}
        self._moved: dict[int, tuple[float, float]] = {}
        """By channel: when its probe moved [bench s] and what the display was off by then."""
        self.add({"PROBe:AT": self._probe, "PROBe:AT?": self._probed, "PROBe:CATalog?": self._catalogue})

    def show(self, function: str, channel: int = 1, span: float | None = None) -> Shown | None:
        """Return what the display shows now; None where the function makes no sense at that point."""
        true = self.true(function, channel)
        if math.isnan(true):
            return None
        return self.errors.show(self._settled(true, function, channel), function, span)

    def true(self, function: str, channel: int = 1) -> float:
        """Return what an ideal meter would show; NaN where the function makes no sense."""
        if channel not in self.probes:
            raise ScpiError(-222, f"(@{channel})")
        return self.points.value(self.probes[channel], function)

    def text(self, shown: Shown | None) -> str:
        """Write what is shown: NR3, 9.9E37 over range, 9.91E37 for no reading."""
        if shown is None:
            return NOT_A_NUMBER
        return INFINITY if shown.value is None else scpi.nr3(shown.value, shown.resolution)

    def move(self, point: str, channel: int = 1) -> None:
        """Put a probe somewhere else (-224 where the unit has no such point)."""
        try:
            found = self.points.find(point)
        except NoPoint as error:
            raise ScpiError(-224, point) from error
        if channel not in self.probes:
            raise ScpiError(-222, f"(@{channel})")
        if found != self.probes[channel]:
            self._moved[channel] = (self.points.unit.clock.now_s(), self._left(channel))
            self.probes[channel] = found

    def _left(self, channel: int) -> float:
        """Return what the display still shows when the probe has just left."""
        return 0.0

    def _settled(self, true: float, function: str, channel: int) -> float:
        if not self.settling or channel not in self._moved or math.isinf(true):
            return true
        moved_s, left = self._moved[channel]
        tau = SENSOR_SETTLING_S if function == "temperature" else SETTLING_S
        gone = math.exp(-(self.points.unit.clock.now_s() - moved_s) / tau)
        if gone < 1e-6:
            del self._moved[channel]
        return true + (left - true) * gone

    def _probe(self, parameters: list[str]) -> None:
        if not 1 <= len(parameters) <= 2:
            raise ScpiError(-108 if parameters else -109)
        where = scpi.channels(parameters[1]) if len(parameters) == 2 else [min(self.probes)]
        for channel in where:
            self.move(scpi.string(parameters[0]), channel)

    def _probed(self, parameters: list[str]) -> str:
        where = scpi.channels(scpi.one(parameters)) if parameters else [min(self.probes)]
        if any(channel not in self.probes for channel in where):
            raise ScpiError(-222, parameters[0])
        return ",".join(f'"{self.probes[channel].name}"' for channel in where)

    def _catalogue(self, parameters: list[str]) -> str:
        scpi.none(parameters)
        return ",".join(f'"{name}"' for name in self.points.names)


class Configurable(SimulatedMeter):
    """A meter with CONFigure, READ?, INITiate, FETCh? and MEASure? for the functions it has.

    SCPI-99 volume 2 chapter 3 (measurement instructions), from memory: CONFigure sets up and triggers
    nothing; READ? is ABORt, INITiate, FETCh?; MEASure? is CONFigure and READ?; FETCh? asks for what was
    last taken, -230 where nothing was.
    """

    HEADERS: ClassVar[Mapping[str, str]] = {}
    """Function by its SCPI word, such as ``VOLTage[:DC]``."""

    def __init__(self, meter: Meter, points: Points, *, seed: int, at: str, settling: bool = True) -> None:
        super().__init__(meter, points, seed=seed, at=at, settling=settling)
        self._function = next(iter(self.HEADERS.values()))
        self._span: float | None = None
        self._count = 1
        self._taken: list[str] = []
        for word, function in self.HEADERS.items():
            self._add_function(word, function)
        self.add(
            {
                "READ?": self._read,
                "INITiate[:IMMediate]": self._initiate,
                "FETCh?": self._fetch,
                "ABORt": self._abort,
                "CONFigure?": self._configured,
                "SAMPle:COUNt": self._set_count,
                "SAMPle:COUNt?": lambda _: str(self._count),
            }
        )

    def reset(self) -> None:
        """Do ``*RST``: first function, range by itself, nothing taken; the probe stays where it is."""
        self._function = next(iter(self.HEADERS.values()))
        self._span, self._count, self._taken = None, 1, []

    def _add_function(self, word: str, function: str) -> None:
        def configure(parameters: list[str]) -> None:
            self._configure(function, parameters)

        def measure(parameters: list[str]) -> str:
            self._configure(function, parameters)
            return self._read([])

        def set_range(parameters: list[str]) -> None:
            self._span = self._range(function, scpi.one(parameters))

        def set_auto(parameters: list[str]) -> None:
            if scpi.boolean(scpi.one(parameters)):
                self._span = None
            elif self._span is None:
                self._span = self._top(function)

        self.add(
            {
                f"CONFigure[:SCALar]:{word}": configure,
                f"MEASure[:SCALar]:{word}?": measure,
                f"[SENSe]:{word}:RANGe[:UPPer]": set_range,
                f"[SENSe]:{word}:RANGe[:UPPer]?": lambda _: f"{self._span or self._top(function):E}",
                f"[SENSe]:{word}:RANGe:AUTO": set_auto,
                f"[SENSe]:{word}:RANGe:AUTO?": lambda _: str(int(self._span is None)),
            }
        )

    def _configure(self, function: str, parameters: list[str]) -> None:
        if len(parameters) > 2:
            raise ScpiError(-108, parameters[2])
        span = self._range(function, parameters[0]) if parameters else None
        if len(parameters) == 2:  # a resolution is taken and has no effect: the range decides it
            scpi.number(parameters[1], UNITS[function], MAXimum=0.0, MINimum=0.0, DEFault=0.0)
        self._function, self._span, self._taken = function, span, []

    def _range(self, function: str, text: str) -> float | None:
        top = self._top(function)
        value = scpi.number(text, UNITS[function], AUTO=-1.0, DEFault=-1.0, MINimum=0.0, MAXimum=top)
        if value == -1.0:
            return None
        if not 0 <= value <= top:
            raise ScpiError(-222, text)
        return value

    def _top(self, function: str) -> float:
        return max(each.high for each in self.meter.specifications if each.function == function)

    def _take(self) -> None:
        self._taken = [self.text(self.show(self._function, span=self._span)) for _ in range(self._count)]

    def _initiate(self, parameters: list[str]) -> None:
        scpi.none(parameters)
        self._take()

    def _read(self, parameters: list[str]) -> str:
        self._initiate(parameters)
        return self._fetch([])

    def _fetch(self, parameters: list[str]) -> str:
        scpi.none(parameters)
        if not self._taken:
            raise ScpiError(-230)
        return ",".join(self._taken)

    def _abort(self, parameters: list[str]) -> None:
        scpi.none(parameters)

    def _configured(self, parameters: list[str]) -> str:
        scpi.none(parameters)
        word = next(key for key, function in self.HEADERS.items() if function == self._function)
        short = "".join(letter for letter in word.partition("[")[0] if letter.isupper() or letter == ":")
        return f'"{short} {self._span or self._top(self._function):E}"'

    def _set_count(self, parameters: list[str]) -> None:
        count = round(scpi.number(scpi.one(parameters), MINimum=1.0, MAXimum=1000.0, DEFault=1.0))
        if not 1 <= count <= 1000:
            raise ScpiError(-222, parameters[0])
        self._count = count


class Multimeter(Configurable):
    """A multimeter; its ohms are two-wire, so that the leads count."""

    HEADERS: ClassVar[Mapping[str, str]] = {
        "VOLTage[:DC]": "dc volts",
        "VOLTage:AC": "ac volts",
        "CURRent[:DC]": "dc amps",
        "CURRent:AC": "ac amps",
        "RESistance": "ohms",
        "FREQuency": "frequency",
        "CAPacitance": "capacitance",
        "TEMPerature": "temperature",
    }

    def true(self, function: str, channel: int = 1) -> float:
        """Return what is at the probe, with the leads in series on the ohms ranges."""
        leads = self.points.dead.lead_ohm if function == "ohms" else 0.0
        return super().true(function, channel) + leads


class LowOhm(Configurable):
    """A low-ohm meter used with two clips: the leads count, hence the lead null."""

    HEADERS: ClassVar[Mapping[str, str]] = {"FRESistance": "low ohms", "RESistance": "low ohms"}

    def true(self, function: str, channel: int = 1) -> float:
        """Return what lies between the clips, leads in series."""
        return super().true(function, channel) + self.points.dead.lead_ohm


class InsulationTester(Configurable):
    """An insulation tester: ``CONFigure:INSulation 500`` sets the test voltage [V]."""

    HEADERS: ClassVar[Mapping[str, str]] = {"INSulation": "insulation", "RESistance": "insulation"}

    def __init__(self, meter: Meter, points: Points, *, seed: int, at: str, settling: bool = True) -> None:
        self.test_v: float | None = None
        """What it was last told to apply; it is on the unit only while a reading is taken."""
        super().__init__(meter, points, seed=seed, at=at, settling=settling)

    def reset(self) -> None:
        """Do ``*RST``: no test voltage."""
        super().reset()
        self.test_v = None

    def true(self, function: str, channel: int = 1) -> float:
        """Return the insulation at the test voltage."""
        if self.test_v is None:
            raise ScpiError(-221, "no test voltage")
        return self.points.insulation_ohm(self.probes[channel], self.test_v)

    def _configure(self, function: str, parameters: list[str]) -> None:
        volts = scpi.number(scpi.one(parameters), "V", DEFault=DC_ONLY_V[0])
        if volts not in DC_ONLY_V:
            raise ScpiError(-222, parameters[0])
        super()._configure(function, [])
        self.test_v = volts


class PowerMeter(Configurable):
    """A power meter in the mains lead."""

    HEADERS: ClassVar[Mapping[str, str]] = {
        "VOLTage:AC": "ac volts",
        "CURRent:AC": "ac amps",
        "POWer[:AC]": "power",
        "POWer:AC:APParent": "apparent power",
        "FREQuency": "frequency",
    }


class Thermometer(SimulatedMeter):
    """A thermometer of several channels: ``MEASure:TEMPerature? (@101:104)``, ``ROUTe:SCAN``, READ?."""

    def __init__(
        self, meter: Meter, points: Points, *, seed: int, at: Mapping[int, str], settling: bool = True
    ) -> None:
        super().__init__(meter, points, seed=seed, at="room air", settling=settling)
        self.probes = {channel: points.find(name) for channel, name in at.items()}
        self._scan = list(self.probes)
        self._taken: list[str] = []
        self.add(
            {
                "MEASure[:SCALar]:TEMPerature?": self._measure,
                "CONFigure[:SCALar]:TEMPerature": self._set_scan,
                "ROUTe:SCAN": self._set_scan,
                "ROUTe:SCAN?": lambda _: f"(@{','.join(str(channel) for channel in self._scan)})",
                "READ?": self._read,
                "INITiate[:IMMediate]": self._initiate,
                "FETCh?": self._fetch,
                "UNIT:TEMPerature?": lambda _: "C",
            }
        )

    def reset(self) -> None:
        """Do ``*RST``: every channel is scanned."""
        self._scan, self._taken = list(self.probes), []

    def _left(self, channel: int) -> float:
        return self.points.value(self.probes[channel], "temperature")

    def _set_scan(self, parameters: list[str]) -> None:
        wanted = scpi.channels(scpi.one(parameters)) if parameters else list(self.probes)
        if any(channel not in self.probes for channel in wanted):
            raise ScpiError(-222, parameters[0])
        self._scan, self._taken = wanted, []

    def _measure(self, parameters: list[str]) -> str:
        self._set_scan(parameters)
        return self._read([])

    def _initiate(self, parameters: list[str]) -> None:
        scpi.none(parameters)
        self._taken = [self.text(self.show("temperature", channel)) for channel in self._scan]

    def _read(self, parameters: list[str]) -> str:
        self._initiate(parameters)
        return self._fetch([])

    def _fetch(self, parameters: list[str]) -> str:
        scpi.none(parameters)
        if not self._taken:
            raise ScpiError(-230)
        return ",".join(self._taken)


def make(kind: str) -> Callable[..., Configurable]:
    """Return the class of a meter of that kind."""
    return {
        "multimeter": Multimeter,
        "low-ohm": LowOhm,
        "insulation": InsulationTester,
        "power": PowerMeter,
    }[kind]
