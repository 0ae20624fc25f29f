"""The meters of a logbook looked over: in calibration, reachable, what they read, and what answers where.

Nothing here looks for anything that was not named: no network is scanned.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import msgspec

from ohmward.bench.clock import Clock, WallClock
from ohmward.bench.inventory import Inventory
from ohmward.bench.messages import Health, MeterFailed, Notice
from ohmward.bench.meters import Meter, is_simulated
from ohmward.bench.reply import identity as identity_of
from ohmward.bench.request import Request, as_done
from ohmward.bench.settled import Measured, Sample, Settle
from ohmward.bench.transport import OPEN_TIMEOUT_S, PartMissing, Transport, transport
from ohmward.errors import InputError, Mistake, OhmwardError, Unreachable
from ohmward.quantity import show

Calibration = Literal["in date", "overdue", "no due date", "not stated"]
"""No due date: it was calibrated, and until when that holds is not stated."""

FIND_TIMEOUT_S = 2.0
"""What each place is given to say what it is [s]."""
SERIAL_S = 2.0
"""What a serial line is given to fall silent before it is asked [s]."""
_WAIT_S = 600.0
_NOT_KNOWN = (None, "", "n/a")
"""What pyserial says of a port that nothing is known of."""
_SLOW = {"insulation": Settle(count=2, limit_s=150.0)}
"""Functions whose single reading takes up to a minute."""


def calibration(meter: Meter, on: datetime.date) -> Calibration:
    """Return whether a meter's calibration holds on a day."""
    if meter.due is None:
        return "not stated" if meter.calibrated is None else "no due date"
    return "overdue" if meter.overdue(on) else "in date"


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """One meter that was opened, or could not be."""

    meter: Meter
    identity: str = ""
    backend: str = ""
    errors: tuple[str, ...] = ()
    """What its error queue held, oldest first; it is empty now."""
    round_trip_s: float | None = None
    problem: str = ""
    """Why it cannot be read; empty when it can."""

    @property
    def simulated(self) -> bool:
        """Whether it is an instrument of the simulated bench."""
        return is_simulated(self.identity or self.meter.idn)


def check(meters: Sequence[Meter], logbook: Path | None = None) -> tuple[Checked, ...]:
    """Open every meter that has a resource, all at once, and see whether it is the one of its entry."""
    drained: defaultdict[str, list[str]] = defaultdict(list)

    def heard(notice: Notice) -> None:
        if notice.kind == "error queue":
            drained[notice.meter].append(notice.text)

    reached = [each.name for each in meters if each.resource]
    with Inventory(meters, logbook, heard) as inventory:
        found = {each.meter.name: each for each in checked_in(inventory, reached, drained.__getitem__)}
    return tuple(found[name] for name in reached)


def checked_in(
    inventory: Inventory, names: Sequence[str], drained: Callable[[str], Sequence[str]]
) -> Iterator[Checked]:
    """Check meters over the sessions of an inventory, all at once; yield each as soon as it has answered.

    One that cannot even be asked, for want of a profile, is told of like one that does not answer.

    Parameters
    ----------
    inventory : Inventory
    names : sequence of str
        Meters, as in the meters file.
    drained : callable
        Gives what the error queue of a session, by its name, was heard to hold when it was opened.
    """
    asked: dict[Request[Health], Meter] = {}
    for name in names:
        meter = inventory.meters[name]
        try:
            asked[inventory.session(name).check()] = meter
        except OhmwardError as error:
            yield Checked(meter=meter, problem=str(error))
    for request in as_done(asked):
        meter = asked[request]
        yield _checked(meter, request, list(drained(inventory.session(meter.name).name)))


def _checked(meter: Meter, request: Request[Health], drained: list[str]) -> Checked:
    try:
        answer = request.result(_WAIT_S)
    except (MeterFailed, TimeoutError) as error:
        return Checked(meter=meter, problem=str(error) or "no answer")
    health = answer.result
    problem = ""
    if meter.idn and health.identity != meter.idn:
        problem = f"'{health.identity}' answers where '{meter.idn}' is expected"
    return Checked(
        meter=meter, identity=health.identity, backend=health.backend, problem=problem,
        errors=(*drained, *(str(each) for each in health.errors)), round_trip_s=health.round_trip_s,
    )  # fmt: skip


def how_settled(meter: Meter, unit: str, function: str, count: int | None = None) -> Settle:
    """Return when a reading of a meter counts as settled.

    The readings agree when they lie within 0.1 % and what the meter itself is sure of at zero on its
    smallest range (common practice, no source).

    Raises
    ------
    InputError
        When fewer than two readings are asked for.
    """
    if count is not None and not 2 <= count <= 1000:
        raise _wrong("--count", str(count), "it takes 2 to 1000 readings to see whether they agree", "Give 5")
    plain = _SLOW.get(function, Settle())
    return replace(
        plain, count=count or plain.count, absolute=meter.half_width(0.0, unit, function) or plain.absolute
    )


def read(
    inventory: Inventory,
    name: str,
    function: str = "",
    *,
    count: int | None = None,
    volts: float | None = None,
    clock: Clock | None = None,
    heard: Callable[[Sample], None] | None = None,
) -> Measured:
    """Take one settled reading; waits for it, so not to be called where a screen is drawn.

    Parameters
    ----------
    inventory : Inventory
    name : str
        Meter, as in the meters file.
    function : str
        Measure of its profile or function of a meter; the profile's first when empty.
    count : int, optional
        So many readings have to agree.
    volts : float, optional
        Test voltage of an insulation tester [V]; without one none is applied, and nothing read.
    clock : Clock, optional
    heard : callable, optional
        Called with each reading as it comes, on the meter's thread: pass it on, and return.

    Raises
    ------
    InputError
        When there is no such meter, it does not measure that, or the test voltage is not known.
    MeterFailed
        When a reading cannot be had.
    """
    channel = inventory.channel(name, function, volts=volts)
    measure = channel.session.profile.measure(function)
    meter = inventory.meters[name]
    how = how_settled(meter, measure.unit, measure.function, count)
    settled = channel.settle(how, clock or WallClock(), heard=heard, limit_s=_WAIT_S)
    test_v = measure.test_v(volts)
    if test_v is not None:
        settled = msgspec.structs.replace(settled, note=f"test voltage {show(test_v, 'V')}")
    return Measured(settled=settled, meter=name, function=measure.function, identity=channel.session.identity)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where an instrument may be."""

    resource: str
    what: str
    limit_s: float
    """What looking there takes at most [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What answered at a place."""

    place: Place
    identity: str = ""
    problem: str = ""

    @property
    def simulated(self) -> bool:
        """Whether it is an instrument of the simulated bench."""
        return is_simulated(self.identity)


def places(*, serial: bool = False, addresses: Sequence[str] = ()) -> tuple[Place, ...]:
    """Return the places that were named; nothing is opened.

    Parameters
    ----------
    serial : bool
        The serial ports of this computer.
    addresses : sequence of str
        Each ``HOST:PORT``.

    Raises
    ------
    InputError
        When none is named, or an address is not one.
    PartMissing
        When the part that lists serial ports is not installed.
    Unreachable
        When only the serial ports are named, and there is none.
    """
    if not serial and not addresses:
        raise _wrong("meters find", "", "no place is named", "Give --serial, or --address HOST:PORT")
    slow_s = OPEN_TIMEOUT_S + SERIAL_S + FIND_TIMEOUT_S
    found = [
        Place(resource=f"ASRL{device}::INSTR", what=words, limit_s=slow_s)
        for device, words in (_serial_ports() if serial else ())
    ]
    if not found and not addresses:
        raise Unreachable(
            "this computer has no serial port. Plug the adapter in, and see that its driver is there"
        )
    for each in addresses:
        resource = f"tcp://{each}"
        transport(resource)  # refuses what is no address; opens nothing
        found.append(Place(resource=resource, what=each, limit_s=OPEN_TIMEOUT_S + FIND_TIMEOUT_S))
    return tuple(found)


def find(where: Sequence[Place], make: Callable[[str], Transport] = transport) -> tuple[Found, ...]:
    """Ask at each place, one after another, what is there: ``*IDN?`` and nothing else."""
    return tuple(_found(place, make) for place in where)


def _found(place: Place, make: Callable[[str], Transport]) -> Found:
    wire = make(place.resource)
    try:
        wire.open()
        wire.write("*IDN?")
        return Found(place=place, identity=identity_of(wire.read_line(FIND_TIMEOUT_S)))
    except OhmwardError as error:
        return Found(place=place, problem=str(error))
    finally:
        wire.close()


def _serial_ports() -> list[tuple[str, str]]:
    try:
        from serial.tools import list_ports
    except ImportError as error:
        raise PartMissing("Serial instruments need pyserial (pip install pyserial)") from error
    return [
        (each.device, each.device if each.description in _NOT_KNOWN else each.description)
        for each in list_ports.comports()
    ]


def _wrong(field: str, value: str, why: str, mend: str) -> InputError:
    return InputError([Mistake(where="command line", field=field, value=value, why=why, mend=mend)])
