"""The queue of a meter's owner: in order, none lost, none waited for in vain."""

from __future__ import annotations

import gc
import os
import queue
import signal
import sys
import threading
import time
from pathlib import Path

import pytest

from ohmward.bench.inbox import Inbox
from support.bells import every_bell

pytestmark = every_bell


def opened() -> Inbox[int]:
    inbox: Inbox[int] = Inbox()
    inbox.ready()
    return inbox


def test_requests_of_many_threads_come_each_once_and_in_the_order_of_their_thread() -> None:
    inbox, each = opened(), 4000
    found: list[int] = []
    inbox.put(-1)

    def puts(first: int) -> None:
        for n in range(first, first + each):
            inbox.put(n)

    threads = [threading.Thread(target=puts, args=(first,)) for first in (0, each, 2 * each)]
    for thread in threads:
        thread.start()
    assert inbox.get() == -1
    while len(found) < 3 * each:
        found.append(inbox.get(5.0))
    for thread in threads:
        thread.join()
    assert inbox.empty()
    for first in (0, each, 2 * each):
        assert [n for n in found if first <= n < first + each] == list(range(first, first + each))


def test_to_and_fro_nothing_is_waited_for_in_vain() -> None:
    there, back = opened(), opened()

    def answer() -> None:
        while (asked := there.get()) >= 0:
            back.put(asked)

    thread = threading.Thread(target=answer)
    thread.start()
    for n in range(3000):
        there.put(n)
        assert back.get(5.0) == n
    there.put(-1)
    thread.join(5.0)
    assert not thread.is_alive()


def test_a_wait_has_its_end_and_an_old_bell_is_no_request() -> None:
    inbox = opened()
    for _ in range(3):
        began = time.monotonic()
        with pytest.raises(queue.Empty):
            inbox.get(timeout=0.02)
        assert time.monotonic() - began >= 0.019
        inbox._waiting = True  # as seen by who puts one just as the wait ends
        inbox.put(1)
        inbox._waiting = False
        assert inbox.get() == 1
        inbox.put(2)
        assert inbox.get(timeout=1.0) == 2
        inbox._wait(None)  # the old bell is heard, and nothing is there: it waits again


def test_nobody_waits_for_a_bell_that_is_not_heard() -> None:
    inbox = opened()
    inbox._waiting = True
    for n in range(70_000):  # more than a pipe holds
        inbox.put(n)
    assert inbox.get() == 0


@pytest.mark.skipif(sys.platform == "win32", reason="signals of Unix")
def test_a_signal_handler_may_put_one() -> None:
    inbox = opened()
    before = signal.signal(signal.SIGUSR1, lambda *_: inbox.put(7))
    try:
        threading.Timer(0.05, lambda: os.kill(os.getpid(), signal.SIGUSR1)).start()
        assert inbox.get(5.0) == 7
    finally:
        signal.signal(signal.SIGUSR1, before)


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="counted where the system shows them")
def test_a_queue_that_is_gone_leaves_no_file_open() -> None:
    before = len(os.listdir("/proc/self/fd"))
    for _ in range(50):
        opened()
    gc.collect()
    assert len(os.listdir("/proc/self/fd")) <= before
