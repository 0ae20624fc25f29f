"""A meter that can be asked: readings, settings, switching, waveforms, health; each is a request."""

from __future__ import annotations

import time
from collections.abc import Callable

from ohmward.bench import patience
from ohmward.bench.attempt import Attempt
from ohmward.bench.conversation import Block, Conversation
from ohmward.bench.messages import Health
from ohmward.bench.owner import Owner
from ohmward.bench.request import Request
from ohmward.errors import InputError, Mistake
from ohmward.quantity import Value

Enough = Callable[[Value, tuple[Attempt, ...]], bool]
"""Told a reading and what failed before it; says whether that is enough."""

_Kept = tuple[
    tuple[str, str | None, float | None, float | None], str, Callable[[Conversation], Value], float, float
]
"""What was asked for; its name, how it is read, and what one attempt, and all attempts, may take [s]."""


class Session(Owner):
    """A meter with its owner thread; see `owner.Owner` for how it is made and what goes on in it."""

    _kept: _Kept | None = None
    """What was asked for last, as the next is mostly the same."""

    def measure(
        self,
        what: str = "",
        *,
        channel: str | None = None,
        top: float | None = None,
        volts: float | None = None,
    ) -> Request[Value]:
        """Ask for one reading; `what` is a measure or function of the profile, its first when empty.

        Parameters
        ----------
        what : str
        channel : str, optional
            The meter's own when left out.
        top : float, optional
            Top of the range: an over-range reading is then 'above' it.
        volts : float, optional
            Test voltage of an insulation tester [V].

        Raises
        ------
        InputError
            When the profile measures no such thing, or would put a voltage on the unit that is not known
            or above `volts`.
        """
        _, name, read, _, whole_s = self._reading(what, channel, top, volts)
        return self._ask(Request(self.name, read, name, patience.ATTEMPTS, whole_s))

    def burst(
        self,
        count: int,
        what: str = "",
        *,
        channel: str | None = None,
        top: float | None = None,
        volts: float | None = None,
        heard: Callable[[Value], None] | None = None,
    ) -> Request[tuple[Value, ...]]:
        """Ask for so many readings, one right behind the other, without handing over in between.

        Two changes of thread cost about as much as a reading on a fast line. What was read before a fault
        is kept, and each reading has all its attempts; on leaving, the burst ends with what it has.

        Parameters
        ----------
        heard : callable, optional
            Called with each reading, on the owner thread: pass it on, and return.
        """
        taken: list[Value] = []

        def enough(value: Value, _: tuple[Attempt, ...]) -> bool:
            taken.append(value)
            if heard is not None:
                heard(value)
            return len(taken) >= count or self._leaving.is_set()

        _, name, read, limit_s, _ = self._reading(what, channel, top, volts)

        def several(conversation: Conversation) -> tuple[Value, ...]:
            while len(taken) < count and not self._leaving.is_set() and self._one(read, conversation, enough):
                pass
            return tuple(taken)

        return self.submit(several, what=f"{count} times {name}", limit_s=limit_s)

    def until(
        self,
        enough: Enough,
        what: str = "",
        *,
        channel: str | None = None,
        top: float | None = None,
        volts: float | None = None,
    ) -> Request[bool]:
        """Ask for readings, one right behind the other, until `enough` says so.

        It ends sooner when something else is asked of the meter, which then has its turn, and on leaving:
        the answer is whether `enough` said so. At least one reading is had.

        Parameters
        ----------
        enough : callable
            Called with each reading and the attempts that failed before it, on the owner thread: it
            thinks, and returns.
        """
        _, name, read, limit_s, _ = self._reading(what, channel, top, volts)

        def several(conversation: Conversation) -> bool:
            while self._one(read, conversation, enough):
                if not self._wanted():
                    return False
            return True

        return self.submit(several, what=name, limit_s=limit_s)

    def _reading(self, what: str, channel: str | None, top: float | None, volts: float | None) -> _Kept:
        asked = (what, channel, top, volts)
        kept = self._kept
        if kept is None or kept[0] != asked:
            found = self.profile.measure(what)
            where, test_v = self.channel if channel is None else channel, found.test_v(volts)

            def read(conversation: Conversation) -> Value:
                return conversation.measure(found, where, top, test_v)

            limit_s = found.timeout_s + found.settling_s
            whole_s = patience.limit_s(patience.ATTEMPTS, self._once_s + limit_s)
            kept = self._kept = asked, found.name, read, limit_s, whole_s
        return kept

    def _one(self, read: Callable[[Conversation], Value], conversation: Conversation, enough: Enough) -> bool:
        """Take one reading of several; return whether another is wanted."""
        value = read(conversation)
        failed = self._had_one()
        return failed is not None and not enough(value, failed)

    def set(self, what: str, value: float) -> Request[None]:
        """Set a quantity [its unit]; never tried twice, for the connection's loss switches it off."""
        found = self.profile.setting(what)
        return self.submit(
            lambda conversation: conversation.set(found, value, self.channel),
            what=f"set {found.name} to {value:g} {found.unit}",
            repeatable=False,
            limit_s=found.settling_s,
        )

    def switch(self, *, on: bool) -> Request[None]:
        """Switch its output, or a load's input."""
        return self.submit(
            lambda conversation: self._switch(conversation, on=on),
            what=f"switch {'on' if on else 'off'}",
            repeatable=not on,
        )

    def capture(self, channel: str | None = None) -> Request[Block]:
        """Ask for one waveform; of the meter's own channel when it is left out.

        Raises
        ------
        InputError
            When the profile has no capture.
        """
        how = self.profile.capture
        if how is None:
            raise InputError(
                [
                    Mistake(
                        where=f"profile {self.profile.name}", field="capture", value="",
                        why="the instrument hands over no waveform", mend="Take a profile that has [capture]",
                    )
                ]
            )  # fmt: skip
        where = self.channel if channel is None else channel
        return self.submit(
            lambda conversation: conversation.waveform(how, where),
            what="capture",
            limit_s=how.timeout_s * (2 + len(how.prepare)),
        )

    def check(self) -> Request[Health]:
        """Ask whether it is well: identity, error queue, round-trip time."""
        return self.submit(self._check, what="check", limit_s=30 * self.profile.timeout_s)

    def _check(self, conversation: Conversation) -> Health:
        errors = conversation.drain()
        began = time.monotonic()
        question = self.profile.error or "*OPC?"
        conversation.query(question, self.profile.timeout_s)
        return Health(
            identity=self.identity, backend=conversation.transport.backend,
            stamped=bool(conversation.stamped), errors=errors, round_trip_s=time.monotonic() - began,
        )  # fmt: skip
