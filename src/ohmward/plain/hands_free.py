"""Readings taken one after another without a word typed: the probe is lifted and set down, that is all."""

from __future__ import annotations

import threading

from ohmward.bench.messages import MeterFailed
from ohmward.bench.settled import Measured
from ohmward.desk.hands_free import by_hand
from ohmward.desk.place import next_after
from ohmward.errors import OhmwardError
from ohmward.plain.desk import held
from ohmward.plain.session import Session
from ohmward.plain.taking import beside
from ohmward.procedure.model import Item
from ohmward.quantity import Value, show_value
from ohmward.run.state import Standing
from ohmward.taking.at_hand import MetersAtHand

FIRST, AGAIN = "Hands free: set the probe down.", "Hands free: lift the probe and set it down."
ENDS = "Enter, or stop, ends it."


def hands_free(session: Session, meters: MetersAtHand) -> None:
    """Take reading after reading until one is for the person: said why, when it ends.

    It ends at what no meter reads, at a test voltage, under load, at what may be left out, where open leads
    would pass, at a reading that did not settle or did not pass, and at a line typed.
    """
    before: Value | None = None
    while True:
        item = session.item
        why = "" if item is None else by_hand(session.live.state, item, session.in_use.chosen(item))
        if item is None or why:
            session.say(f"hands free ends: {why or 'nothing is in hand'}.")
            return
        session.show_card()
        session.say(f"{FIRST if before is None else AGAIN} It is taken when it has settled. {ENDS}")
        found = _settled(session, item, meters, before)
        if found is None or not _recorded(session, item, found):
            return
        before = found.settled.value
        following = next_after(session.live.state, item.key)
        if following is None:
            session.say("hands free ends: nothing more is to do.")
            return
        session.go(following.key)


def _settled(session: Session, item: Item, meters: MetersAtHand, before: Value | None) -> Measured | None:
    """Have a meter read; None where it gave nothing that can be taken unasked, which is said."""
    state, chosen, stop = session.live.state, session.in_use.chosen(item), threading.Event()
    try:
        found = beside(
            session,
            lambda: meters.reading_for(state, item, chosen, unasked=True, lifted_from=before, stop=stop),
            stop,
        )
    except MeterFailed as error:
        failed = error
        held(session.record(lambda _: session.live.attempts_failed(*item.key, failed.meter, failed.attempts)))
        session.say(f"{error}. Hands free ends.")
        return None
    except OhmwardError as error:
        session.say(f"{error}. Hands free ends.")
        return None
    if found is None:
        session.say("hands free ends; nothing was read.")
    elif not found.settled.settled:
        session.say(f"still moving after {found.settled.took_s:.0f} s: hands free ends; read takes it.")
        return None
    return found


def _recorded(session: Session, item: Item, found: Measured) -> bool:
    """Record a reading; return whether hands free goes on."""
    session.lines.say(f"'{found.meter}' reads {show_value(found.settled.value)}.")
    session.known(item)
    done = held(
        session.record(
            lambda sure: session.live.measure(
                item.step, item.subject, found.settled, meter=found.meter, identity=found.identity,
                function=found.function, confirmed=sure, after_s=found.held_s,
            )
        )
    )  # fmt: skip
    if done and session.live.state.standing(item) is Standing.PASSED:
        return True
    session.say("hands free ends here.")
    return False
