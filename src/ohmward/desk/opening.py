"""Opening a run: again when its disk failed, and what has to be said of it first."""

from __future__ import annotations

from pathlib import Path

from ohmward import __version__
from ohmward.desk.place import operator_of
from ohmward.desk.who_tests import Who
from ohmward.logbook import Clock, open_run, read
from ohmward.logbook.events import Recovered
from ohmward.run import LiveRun, RunState
from ohmward.run import state as fold
from ohmward.run.mains_on import MAINS_ON

TOOL = f"ohmward {__version__}"


def opened(path: Path, who: Who, clock: Clock, *, resumed: bool) -> tuple[LiveRun, Who]:
    """Open a run for writing, and write down that a new sitting begins where it is `resumed`.

    Also returned is who goes on with it. Raises as `open_run` does, with nothing left open. A closed run
    comes back as it is.
    """
    live = LiveRun(open_run(path, clock=clock))
    if resumed and not live.journal.closed:
        try:
            who = who.going_on(operator_of(live.journal.records))
            live.resume(who.name, TOOL)
        except BaseException:
            live.close_file()
            raise
    return live, who


def to_be_asked(path: Path, who: Who) -> bool:
    """Return whether who tests is asked before a run is gone on with; raises as `logbook.read` does.

    Not where the run itself says it; and where mains may be on, that is asked first, and no name before it.
    """
    if who.known:
        return False
    records = read(path)
    return not operator_of(records) and fold(records).phase not in MAINS_ON


def looked_into(path: Path) -> RunState:
    """Return where a run stands without opening it for writing; raises as `logbook.read` does."""
    return fold(read(path))


def open_again(live: LiveRun, who: Who, clock: Clock) -> None:
    """Open the journal of a run in hand anew, after its disk failed; raises as `open_run` does."""
    live.close_file()
    live.journal = open_run(live.journal.path, clock=clock)
    live.state = fold(live.journal.records)
    if not live.journal.closed:
        live.resume(who.name, TOOL)


def remarks(live: LiveRun) -> list[str]:
    """Return what was found when the journal was opened, in words."""
    records = live.journal.records
    torn = [record.event for record in records[-2:] if isinstance(record.event, Recovered)]
    said = [
        f"The last line of the journal was cut off when it was last open. Its {event.torn_bytes} bytes were "
        f"never acknowledged; they are set aside in {event.set_aside}."
        for event in torn
    ]
    said += [
        f"Record {seq} could not have been made through the gates: {words}"
        for seq, words in live.state.violations
    ]
    return [*live.journal.shortcomings, *said]
