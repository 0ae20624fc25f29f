"""What each command does to a run in hand, and the way from a line to its command."""

from __future__ import annotations

from collections.abc import Callable

from ohmward.desk.by_itself import NO_METER, wanted
from ohmward.desk.not_now import why_not_driven
from ohmward.desk.place import next_after, stepped, to_do
from ohmward.desk.waveforms import waveform
from ohmward.errors import OhmwardError
from ohmward.plain import describe
from ohmward.plain.commands import COMMANDS, HOW, help_line, understood
from ohmward.plain.desk import held
from ohmward.plain.hands_free import hands_free
from ohmward.plain.session import Session
from ohmward.plain.taking import STOPPED_BY, by_itself, from_meter, taken
from ohmward.procedure.model import Item
from ohmward.run import assess_state, guidance
from ohmward.taking.choosing import can_read, drivable, too_weak
from ohmward.taking.soak_plan import sensor_of

Doing = Callable[[Session, str], None]
_GO_ON = frozenset(
    {"pass", "fail", "not applicable", "read", "by itself", "hands free", "waveform", "skip", "override",
     "amend", "parts", "case", "repair", "as before", "energise", "off"}
)  # fmt: skip
"""Commands after which the next entry to do is taken in hand, where the one in hand is done."""


def obey(session: Session, text: str) -> None:
    """Do what a line says; a line that is no command is the value of the reading in hand."""
    typed, session.typed = session.typed, None
    if not text and typed is not None and typed[0] == session.at:
        text = typed[1]
    found, item, before = understood(text), session.item, session.live.state.last_seq
    if found is not None:
        command, rest = found
        session.queued = ""
        DOING[command.name](session, rest)
        if session.queued:
            session.lines.say(f"Not used: '{session.queued}'. 'note' and words writes a note.")
            session.queued = ""
        if command.name not in _GO_ON:
            return
    elif not text:
        session.follow()
    elif item is not None and item.read is not None:
        session.take(item, text)
    else:
        session.lines.say(f"Not understood: '{text}'. Type help for what can be typed.")
        return
    if not text or session.live.state.last_seq > before:
        session.on()


def _help(session: Session, rest: str) -> None:
    one = understood(rest)
    if one is not None:
        session.lines.say(help_line(one[0]))
    else:
        state, item = session.live.state, session.item
        here = describe.here_line(
            state, item, can_read=session.rehearsal is not None or can_read(state, item)
        )
        session.lines.say(here, HOW, *(help_line(command) for command in COMMANDS))


def _repeat(session: Session, _: str) -> None:
    session.show_state()


def _why(session: Session, _: str) -> None:
    item = session.item
    if item is not None:
        session.lines.say(*describe.why_lines(session.card(item), item))


def _where(session: Session, _: str) -> None:
    live = session.live
    session.lines.say(session.status())
    session.lines.say(*describe.where_lines(live.state, live.journal.records, session.name, session.item))


def _answer(given: str) -> Doing:
    def do(session: Session, rest: str) -> None:
        session.queued = rest
        if session.item is not None:
            session.answer(session.item, given)

    return do


def _move(name: str) -> Doing:
    def do(session: Session, rest: str) -> None:
        session.queued = rest
        session.move(name)

    return do


def _case(session: Session, rest: str) -> None:
    said, _, why = rest.partition(" ")
    now = "open" if session.live.state.case_open else "shut"
    if said.lower() in {"open", "shut"}:
        if said.lower() == now:
            session.lines.say(f"The run says that the case is {now} already.")
            return
        rest = why
    session.queued = rest.strip()
    session.move("case")


def _meter(session: Session, rest: str) -> None:
    names = {meter.name.lower(): meter.name for meter in session.live.state.meters}
    if rest.lower() in names:
        session.use_meter(names[rest.lower()])
    else:
        session.move("meter")


def _read(session: Session, rest: str) -> None:
    item, meters, rehearsal = session.item, session.meters, session.rehearsal
    if item is None or item.is_waveform:
        _waveform(session, rest)
    elif item.read is not None and rehearsal is None and not can_read(session.live.state, item):
        session.say(too_weak(session.live.state, item) or f"{NO_METER}; or type the value.")
    elif meters is not None and item.read is not None:
        shows = rehearsal.reading_for if rehearsal is not None else lambda *_: None
        while True:
            found = held(from_meter(session, item, meters, shows))
            if isinstance(found, str):
                session.lines.say(f"The rehearsal shows {found}.")
                session.take(item, found, given=True)
            if found is None or isinstance(found, str):
                return
            session.known(item)
            if held(taken(session, item, found)) is not None:
                return
    elif rehearsal is not None:
        shown = _shown(session, item, rehearsal.reading_for)
        if shown is not None and item.read is None:
            session.answer(item, shown)
        elif shown is not None:
            session.take(item, shown, given=True)
    else:
        session.lines.say("No meter is read for this: answer it yourself.")


def _shown(session: Session, item: Item, ask: Callable[..., str | None]) -> str | None:
    try:
        found = ask(session.live.state, item)
    except OhmwardError as error:
        session.lines.say(str(error))
        return None
    session.lines.say(
        "Nothing shows this: answer it yourself." if found is None else f"The rehearsal shows {found}."
    )
    return found


def _by_itself(session: Session, _: str) -> None:
    item, meters = session.item, session.meters
    if item is None or not drivable(item):
        session.say(why_not_driven(session.live.state, item))
    elif meters is None:
        session.say(f"{NO_METER}.")
    else:
        planned = held(wanted(session, item, meters, stay=STOPPED_BY))
        if planned is not None:
            by_itself(session, planned, meters, sensor_of(item) if item.kind == "soak" else "")
            session.show_state()


def _hands_free(session: Session, _: str) -> None:
    if session.meters is None:
        session.say(f"{NO_METER}.")
    else:
        hands_free(session, session.meters)
        session.show_state()


def _waveform(session: Session, _: str) -> None:
    if session.item is not None:
        found = held(waveform(session, session.item, session.meters))
        if found:
            session.lines.say(f"Recorded: {found}.")


def _points(session: Session, _: str) -> None:
    found, _problem = session.known(session.item)
    session.lines.say(*describe.points_lines(session.live.state, session.item, found))


def _step(by: int) -> Doing:
    def do(session: Session, _: str) -> None:
        there = stepped(session.live.state, session.at, by)
        if there is not None:
            session.show_state()
            session.go(there.key)

    return do


def _next(session: Session, _: str) -> None:
    state = session.live.state
    at = state.items.index(session.item) if session.item in state.items else -1
    later = (item for item in state.items[at + 1 :] if to_do(state, item))
    there = next_after(state, session.at) or next(later, None) or guidance(state).item
    if there is None:
        session.lines.say("Nothing else is to do.")
    else:
        session.show_state()
        session.go(there.key)


def _list(session: Session, rest: str) -> None:
    state = session.live.state
    found = describe.entries(state, rest, session.item)
    session.lines.say(*(describe.entry_line(state, *each) for each in found) if found else ["No such entry."])


def _jump(session: Session, rest: str) -> None:
    state, text = session.live.state, rest
    while True:
        if not text:
            asked = "Number in the list, or words of its title"
            given = held(session.ask("Jump", label=asked, needed=True))
            if given is None:
                return
            text = given
        if text.isascii() and text.isdigit():
            found = [(n, item) for n, item in enumerate(state.items, 1) if n == int(text)]
        else:
            found = describe.entries_named(state, text)
        if len(found) == 1:
            session.show_state()
            session.go(found[0][1].key)
            return
        for each in found[: describe.MOST_FOUND]:
            session.lines.say(describe.entry_line(state, *each))
        more = len(found) - describe.MOST_FOUND
        if more > 0:
            session.lines.say(f"And {more} more: use more words.")
        if not found:
            session.lines.say(f"No entry is called '{text}'.")
        text = ""  # asked for here, so that a number is no value of the reading in hand


def _assessment(session: Session, rest: str) -> None:
    session.lines.say("Working it out.")
    result = assess_state(session.live.state, session.folder)
    session.lines.say(*describe.assessed_lines(result, everything=rest.lower() == "all"))


def _quit(session: Session, _: str) -> None:
    session.leave()


_MOVES = (
    "note",
    "who",
    "skip",
    "override",
    "amend",
    "cautions",
    "parts",
    "repair",
    "as before",
    "energise",
    "off",
    "close",
    "test voltage",
    "begin",
)
DOING: dict[str, Doing] = {
    "help": _help,
    "repeat": _repeat,
    "why": _why,
    "where": _where,
    **{given: _answer(given) for given in ("pass", "fail", "not applicable")},
    "read": _read,
    "by itself": _by_itself,
    "hands free": _hands_free,
    "waveform": _waveform,
    "points": _points,
    "meter": _meter,
    "previous": _step(-1),
    "forward": _step(1),
    "next": _next,
    "list": _list,
    "jump": _jump,
    **{name: _move(name) for name in _MOVES},
    "case": _case,
    "assessment": _assessment,
    "quit": _quit,
}
"""What each command of the table does, by its name."""
