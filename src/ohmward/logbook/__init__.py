"""What was done: the journal (durable log of one run) and the folder of runs."""

from __future__ import annotations

from ohmward.logbook.clock import Clock, SystemClock
from ohmward.logbook.files import Contents, contents, read
from ohmward.logbook.journal import Journal
from ohmward.logbook.opening import create_run, open_run
from ohmward.logbook.runs import Logbook, RunEntry, entry
from ohmward.logbook.verify import Verification, verify

__all__ = [
    "Clock",
    "Contents",
    "Journal",
    "Logbook",
    "RunEntry",
    "SystemClock",
    "Verification",
    "contents",
    "create_run",
    "entry",
    "open_run",
    "read",
    "verify",
]
