"""One owner thread a meter: requests in by queue, answers out by message.

Nobody but the owner touches the connection, and no caller ever waits for it: `submit` returns a `Request`
at once. Whatever goes wrong on the wire (any exception, a timeout, a reply that is not exactly what was
asked) spoils the connection: it is closed and opened anew, ``*IDN?`` has to match, and the question is asked
again as a new attempt. Each failed attempt is told at once (`Notice`) and handed over with the answer, so
that the journal can show it. What was switched on is switched off as soon as a lost connection is back,
before anything else is said.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable
from typing import Any, TypeVar

from ohmward.bench import patience
from ohmward.bench.attempt import Attempt
from ohmward.bench.connection import Connection, words
from ohmward.bench.conversation import Conversation, InstrumentRefused
from ohmward.bench.leaving import look_after
from ohmward.bench.messages import Answer
from ohmward.bench.reply import NoReading, ReplyError, quoted
from ohmward.bench.request import Request
from ohmward.bench.transport import PartMissing
from ohmward.bench.watch import watch
from ohmward.errors import InputError

T = TypeVar("T")


class Owner(Connection):
    """A connection with a thread of its own; see `connection.Connection` for how it is made."""

    # called from any thread

    def submit(
        self,
        do: Callable[[Conversation], T],
        *,
        what: str,
        repeatable: bool = True,
        attempts: int = patience.ATTEMPTS,
        limit_s: float = 0.0,
    ) -> Request[T]:
        """Queue a request; returns at once.

        Parameters
        ----------
        do : callable
            Speaks to the instrument; called on the owner thread, once an attempt.
        what : str
            In words, for the record.
        repeatable : bool
            Whether it may be tried again.
        attempts : int
        limit_s : float
            What one attempt, or one reading of several, may take beyond opening and short questions [s].

        Returns
        -------
        Request
            Its `result` is the answer.
        """
        attempts = attempts if repeatable else 1
        whole_s = patience.limit_s(attempts, self._once_s + limit_s)
        return self._ask(Request(self.name, do, what, attempts, whole_s))

    def _ask(self, request: Request[T]) -> Request[T]:
        if self._leaving.is_set():
            request.fail("it has been left; nothing more is asked")
            return request
        self._requests.put(request)
        if self._thread is None:
            self._start()
        return request

    def begin_leaving(self) -> None:
        """Switch off, say goodbye and end, after the question in hand; `left` is done then.

        Only sets and puts: a signal handler may call it.
        """
        self._leaving.set()
        self._requests.put(None)
        if self._thread is None and not self.left.done():
            self.left.set_result(True)

    @property
    def leaving(self) -> bool:
        """Whether it is left, or about to be: nothing more is asked of it."""
        return self._leaving.is_set()

    def close(self, limit_s: float = 10.0) -> bool:
        """Leave and wait for it; return False when it may still be on."""
        self.begin_leaving()
        try:
            return self.left.result(limit_s)
        except TimeoutError:
            return not self.on

    # on the owner thread

    def _start(self) -> None:
        with self._begin:
            if self._thread is None:
                look_after(self)
                watch(self)
                self._new_thread()

    def _wanted(self) -> bool:
        """Return whether nobody else waits for the meter, and it is not to be left."""
        return self._requests.empty() and not self._leaving.is_set()

    def _had_one(self) -> tuple[Attempt, ...] | None:
        """Take note of one reading of several, and return what failed before it; None when given up."""
        request = self._current
        if request is None or not self._mine():
            return None
        failed: tuple[Attempt, ...] = ()
        if len(request.failed) > request.told:
            failed = tuple(request.failed[request.told :])
            request.told, request.in_a_row = len(request.failed), 0
        request.since = time.monotonic()
        self._misses = 0
        return failed

    def _run(self) -> None:
        while self._mine():
            request = self._next()
            if self._leaving.is_set():
                self._leave(request)
                return
            if request is None:
                self._put_off()
            else:
                self._work(request)

    def _next(self) -> Request[Any] | None:
        """Return the next request, or None when it is time to try again to switch off."""
        if not (self.on and self._must_be_off):
            return self._requests.get()
        try:
            return self._requests.get(timeout=patience.pause_s(self._misses))
        except queue.Empty:
            return None

    def _work(self, request: Request[Any]) -> None:
        if not request.begin():
            return
        self._current = request
        conversation: Conversation | None = None
        while self._mine():
            began = time.monotonic()
            try:
                conversation = self._opened()
                result = request.do(conversation)
            except Exception as error:  # noqa: BLE001 whatever it is, the connection is not to be trusted
                if not self._mine():
                    break
                if not self._again(request, error, time.monotonic() - began):
                    break
            else:
                if not self._mine():
                    break
                self._misses = 0
                self._current = None
                request.answer(
                    Answer(
                        result=result, meter=self.name, identity=self.identity, generation=self.generation,
                        failed=tuple(request.failed), took_s=time.monotonic() - request.began,
                    )
                )  # fmt: skip
                if self.on and self._must_be_off:
                    self._put_off()
                return
        if self._mine():
            self._current = None
            if self.on and self._must_be_off:
                self._put_off()
        elif conversation is not None:  # given up, as in `_opened`
            conversation.transport.close()

    def _again(self, request: Request[Any], error: Exception, took_s: float) -> bool:
        """Take note of a failed attempt; return whether to try again, after the pause for that."""
        sound = isinstance(error, NoReading | InstrumentRefused)
        reply = quoted(error.reply) if isinstance(error, ReplyError) else ""
        attempt = Attempt(what=request.what, why=words(error), reply=reply, took_s=took_s)
        request.failed.append(attempt)
        request.in_a_row += 1
        if not sound:
            self._spoil(error)
        self._say("attempt failed", f"{request.what}: {attempt.why}", attempt)
        final = isinstance(error, NoReading | InputError | PartMissing)
        if final or request.in_a_row >= request.attempts or self._leaving.is_set():
            request.fail(f"{request.what}: {attempt.why}")
            return False
        self._leaving.wait(patience.pause_s(self._misses))
        return True

    def _put_off(self) -> bool:
        """Try to switch off what is on, under the wall clock; return whether it is off."""

        def off(conversation: Conversation) -> None:
            if self.on:
                self._off(conversation, "")

        request: Request[None] = Request(
            self.name, off, "switching off", 1, patience.limit_s(1, self._once_s)
        )
        request.begin()
        self._current = request
        conversation: Conversation | None = None
        try:
            conversation = self._opened()
            request.do(conversation)
        except Exception as error:  # noqa: BLE001 whatever it is, it may still be on, and is tried again
            if self._mine():
                self._spoil(error)
                text = f"MAY STILL BE ON: {words(error)}. Switch it off by hand; it is tried again"
                self._say("still on", text)
        else:
            self._misses = 0
        if self._mine():
            self._current = None
        elif conversation is not None:  # given up, as in `_opened`
            conversation.transport.close()
        return not self.on

    def _leave(self, request: Request[Any] | None) -> None:
        while request is not None or not self._requests.empty():
            if request is not None:
                request.fail("it has been left")
            request = self._requests.get() if not self._requests.empty() else None
        off = not self.on or self._put_off() or self._put_off()
        if not self._mine():
            return  # who replaced this thread leaves
        conversation = self._conversation
        if conversation is not None:
            try:
                if self._open:
                    conversation.leave()
            except Exception as error:  # noqa: BLE001 it is off; what else it would not hear is only told
                self._say("attempt failed", f"on leaving: {words(error)}")
            conversation.transport.close()
        self._open = False
        self._say("left", "left" if off else "left, and it MAY STILL BE ON")
        if not self.left.done():
            self.left.set_result(off)

    # on the watch's thread

    def overdue(self, now: float) -> bool:
        """Return whether the request in hand has outlived every timeout it was given."""
        request = self._current
        return request is not None and now - request.since > request.limit_s

    def abandon(self) -> None:
        """Give up a thread that does not come back, answer its request as failed, and start another."""
        request, self._current = self._current, None
        if request is None:
            return
        request.failed.append(Attempt(what=request.what, why="it did not come back", took_s=request.limit_s))
        self._misses += 1
        self._must_be_off = self.on
        if self.on:
            self._say("lost", f"{request.what} did not come back while it is ON: it is switched off anew")
        self._new_thread()
        request.fail(f"{request.what}: it did not come back within {request.limit_s:.0f} s")
