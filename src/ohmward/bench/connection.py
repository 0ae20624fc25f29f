"""The connection to one meter: opened, spoilt, switched on and off; kept by whoever is its thread."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from concurrent.futures import Future
from functools import partial
from typing import Any

from ohmward.bench.attempt import Attempt
from ohmward.bench.conversation import Conversation, InstrumentRefused
from ohmward.bench.in_step import NoStamp
from ohmward.bench.inbox import Inbox
from ohmward.bench.left_on import Guard, entry_of
from ohmward.bench.messages import Notice, NoticeKind
from ohmward.bench.profile import Profile
from ohmward.bench.request import Request
from ohmward.bench.transport import OPEN_TIMEOUT_S, ConnectionLost, Transport, transport
from ohmward.text import one_line

_log = logging.getLogger("ohmward.bench")


class Connection:
    """What is said to one meter. Constructing opens nothing and starts nothing.

    Parameters
    ----------
    name : str
        The meter's name.
    resource : str
        Where it is reached (`transport.transport`).
    profile : Profile
    idn : str
        What it has to call itself; empty: what it calls itself first.
    channel : str
        Channel of the meter's entry.
    visa : str
        VISA library.
    guard : Guard, optional
        Remembers on disk what is switched on.
    notify : callable, optional
        Called with each `Notice`, on the owner thread.
    make : callable, optional
        Makes the transport; for tests.
    """

    def __init__(
        self,
        name: str,
        resource: str,
        profile: Profile,
        *,
        idn: str = "",
        channel: str = "",
        visa: str = "@py",
        guard: Guard | None = None,
        notify: Callable[[Notice], None] | None = None,
        make: Callable[[], Transport] | None = None,
        open_timeout_s: float = OPEN_TIMEOUT_S,
    ) -> None:
        self.name, self.resource, self.profile = name, resource, profile
        self.channel, self.visa = channel, visa
        self.on = False
        """Whether its output has been switched on and not seen to be off."""
        self.generation = 0
        self.identity = idn
        self.left: Future[bool] = Future()
        self._guard = guard or Guard(None)
        self._notify = notify
        self._make = make or (lambda: transport(resource, visa=visa, open_timeout_s=open_timeout_s))
        self._once_s = open_timeout_s + 8 * profile.timeout_s
        """What opening and short questions may take [s]."""
        self._requests: Inbox[Request[Any] | None] = Inbox()
        self._leaving = threading.Event()
        self._begin = threading.Lock()
        self._thread: threading.Thread | None = None
        self._conversation: Conversation | None = None
        self._open = False
        self._must_be_off = False
        """It is on, and should not be: tried again and again, and said each time."""
        self._misses = 0
        self._current: Request[Any] | None = None

    def _new_thread(self) -> None:
        self._open = False
        self._conversation = None
        self._requests.ready()
        self._thread = threading.Thread(target=self._run, name=f"meter {self.name}", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        """Do what is queued, until it is left or the thread is replaced."""
        raise NotImplementedError

    def _mine(self) -> bool:
        """Return whether the calling thread still owns the session (the wall clock may have ended that)."""
        return threading.current_thread() is self._thread

    def _opened(self) -> Conversation:
        """Return the conversation, opened where it is not; what was on is switched off first."""
        conversation = self._conversation
        if conversation is None:
            conversation = Conversation(
                self._make(), self.profile, expected=self.identity, wait=self._leaving.wait
            )
            self._conversation = conversation
        if self._open:
            return conversation
        while True:
            try:
                stale = conversation.open()
                break
            except NoStamp:
                conversation.transport.close()
            except Exception:
                if not self._mine():  # given up while it hung: nobody else closes this connection
                    conversation.transport.close()
                raise
        self._open = True
        self._misses = min(self._misses, 2)
        self.generation += 1
        self.identity = conversation.expected
        self._say("connected", f"{one_line(self.identity)} over {conversation.transport.backend}")
        if stale:
            said = "; ".join(str(each) for each in stale[:3])
            self._say("error queue", f"its error queue held {len(stale)}: {said}")
        if self.on:
            self._off(conversation, "the connection was lost while it was on")
        return conversation

    def _spoil(self, error: Exception) -> None:
        was_open, self._open = self._open, False
        # the long pauses are for one that is not there, not for one that answers nonsense
        self._misses = self._misses + 1 if isinstance(error, ConnectionLost) else min(self._misses + 1, 2)
        if self._conversation is not None:
            self._conversation.transport.close()
        self._must_be_off = self.on
        if was_open and self.on:
            self._say("lost", "the connection is lost while it is ON")

    def _switch(self, conversation: Conversation, *, on: bool) -> None:
        if not on:
            self._must_be_off = True
            self._off(conversation, "")
            return
        if self._must_be_off:
            self._off(conversation, "")
        self._guard.arm(partial(entry_of, self), self.name)
        self.on = True
        try:
            conversation.switch(on=True, channel=self.channel)
        except InstrumentRefused:
            self._must_be_off = True
            self._off(conversation, "it would not switch on")
            raise
        finally:
            if not self._mine():
                self._came_late()
        self._say("switched on", "on")

    def _came_late(self) -> None:
        """Have it switched off: it may have been switched on behind the back of who replaced this thread."""
        self._guard.arm(partial(entry_of, self), self.name)
        self.on = self._must_be_off = True
        if self._thread is not None and self._thread.is_alive():
            self._requests.put(None)
        else:  # it was left meanwhile
            self._new_thread()

    def _off(self, conversation: Conversation, why: str) -> None:
        conversation.switch(on=False, channel=self.channel)
        if not self._mine():
            return  # it came back too late: who replaced this thread finds out anew
        was, self.on = self.on, False
        self._must_be_off = False
        self._guard.clear(self.name)
        if was:
            self._say("switched off", f"off{': ' if why else ''}{why}")

    def _say(self, kind: NoticeKind, text: str, attempt: Attempt | None = None) -> None:
        if self._notify is None:
            return
        try:
            self._notify(Notice(meter=self.name, kind=kind, text=text, attempt=attempt))
        except Exception:  # noqa: BLE001 a listener's mistake must not keep a load on; it is logged
            _log.exception("a listener of meter %s failed", self.name)


def words(error: Exception) -> str:
    """Return what an error says, or its kind where it says nothing."""
    return one_line(str(error)) or type(error).__name__
