"""The meters of a logbook as something that can be asked: one session an instrument, made when wanted."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Self

from ohmward.bench.left_on import Guard
from ohmward.bench.messages import Notice
from ohmward.bench.meters import Meter
from ohmward.bench.profile import load
from ohmward.bench.reading import Channel
from ohmward.bench.session import Session
from ohmward.errors import InputError, Mistake
from ohmward.fields import closest

_DRIVEN = ("load", "source")


class Inventory:
    """Sessions by resource: meters that share an instrument share its owner. Opens nothing by itself.

    Parameters
    ----------
    meters : iterable of Meter
    logbook : Path, optional
        Where what is switched on is remembered, and a person's own profiles are (``profiles/*.toml``).
    notify : callable, optional
        Called with each `Notice`, on the owner threads.
    """

    def __init__(
        self,
        meters: Iterable[Meter],
        logbook: Path | None = None,
        notify: Callable[[Notice], None] | None = None,
    ) -> None:
        self.meters = {each.name: each for each in meters}
        self._own = None if logbook is None else logbook / "profiles"
        self._guard = Guard(logbook)
        self._notify = notify
        self._sessions: dict[str, Session] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def session(self, name: str) -> Session:
        """Return the session of a meter.

        Raises
        ------
        InputError
            When there is no such meter, it cannot be read by the tool, or another entry has the same
            instrument as another one.
        """
        meter = self.meters.get(name)
        if meter is None or not meter.resource:
            why = "no meter has that name" if meter is None else "it has no resource: it is read by hand"
            mend = "Type its reading, or add a resource"
            if meter is None:
                mend = closest(name, self.meters) if self.meters else "The list of meters is empty"
            raise InputError([Mistake(where="meters", field="name", value=name, why=why, mend=mend)])
        if meter.resource not in self._sessions:
            idn = self._one_instrument(meter)
            self._sessions[meter.resource] = Session(
                name, meter.resource, load(meter.profile, self._own), idn=idn, channel=meter.channel,
                visa=meter.visa or "@py", guard=self._guard, notify=self._notify,
            )  # fmt: skip
        return self._sessions[meter.resource]

    def driven(self, name: str) -> Session:
        """Return the session of a load or source that is to be set and switched.

        A session sets and switches one channel of its instrument.

        Raises
        ------
        InputError
            As `session`; and when another entry has another channel of it, or is a load or source too.
        """
        session, meter = self.session(name), self.meters[name]
        for each in self._sharing(meter):
            if each.name != name and (each.channel != meter.channel or each.kind in _DRIVEN):
                raise _wrong(
                    name, "resource", meter.resource,
                    f"it is also that of '{each.name}', and which of the two is driven would not be sure",
                    "Leave one of the two entries without a resource: what it drives is then set by hand",
                )  # fmt: skip
        return session

    def channel(
        self, name: str, measure: str = "", called: str = "", *, volts: float | None = None
    ) -> Channel:
        """Return a place to read: a meter, what it measures there, and what that is called in the record.

        Raises
        ------
        InputError
            When it does not measure that, or would put a voltage on the unit that is not known to be
            allowed: `volts` [V] at most.
        """
        session, meter = self.session(name), self.meters[name]
        session.profile.measure(measure).test_v(volts)  # refuses now what cannot be
        return Channel(
            name=called or name, session=session, measure=measure, channel=meter.channel, meter=meter,
            volts=volts,
        )  # fmt: skip

    def _sharing(self, meter: Meter) -> list[Meter]:
        return [each for each in self.meters.values() if each.resource and each.resource == meter.resource]

    def _one_instrument(self, meter: Meter) -> str:
        """Return what the instrument calls itself; refused where its entries make two instruments of it."""
        known: dict[str, tuple[str, str]] = {}
        for each in self._sharing(meter):
            said = {"profile": each.profile, "visa": each.visa or "@py", "idn": each.idn}
            for field, value in said.items():
                other, before = known.setdefault(field, (each.name, value)) if value else ("", value)
                if value != before:
                    why = f"'{other}' is the same instrument by its resource, and has '{before}' here"
                    raise _wrong(each.name, field, value, why, f"Give both entries the same {field}")
        return known["idn"][1] if "idn" in known else ""

    def close(self, limit_s: float = 10.0) -> tuple[str, ...]:
        """Leave every meter; return the names of those that may still be on."""
        for each in self._sessions.values():
            each.begin_leaving()
        return tuple(each.name for each in self._sessions.values() if not each.close(limit_s))


def _wrong(name: str, field: str, value: str, why: str, mend: str) -> InputError:
    return InputError([Mistake(where=f"meters: {name}", field=field, value=value, why=why, mend=mend)])
