"""A request is done once, and nobody waits for it in vain or for ever."""

from __future__ import annotations

import gc
import os
import random
import signal
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from ohmward.bench.bell import own_bell
from ohmward.bench.inbox import Inbox
from ohmward.bench.messages import Answer, MeterFailed
from ohmward.bench.request import Request, as_done, wait_for
from support.bells import every_bell

pytestmark = every_bell


def asked(what: str = "a reading") -> Request[int]:
    return Request("m", lambda _: 1, what, 3, 1.0)


def said(result: int) -> Answer[int]:
    return Answer(result=result, meter="m", identity="", generation=1, failed=(), took_s=0.0)


def later(do: Any, *args: object, after_s: float = 0.03) -> threading.Timer:
    timer = threading.Timer(after_s, do, args)
    timer.daemon = True
    timer.start()
    return timer


def test_the_answer_comes_to_all_who_wait_for_it() -> None:
    request, found = asked(), []
    threads = [
        threading.Thread(target=lambda: found.append(request.result(5.0).result), daemon=True)
        for _ in range(3)
    ]
    for thread in threads:
        thread.start()
    assert not request.wait(0.02)
    assert request.begin()
    request.answer(said(7))
    for thread in threads:
        thread.join(5.0)
    assert found == [7, 7, 7]
    assert request.result(0.0).result == 7
    assert request.failure is None


def test_what_failed_is_raised_each_time() -> None:
    request = asked()
    later(request.fail, "no answer")
    for _ in range(2):
        with pytest.raises(MeterFailed, match="m: no answer"):
            request.result(5.0)
    assert isinstance(request.failure, MeterFailed)


def test_a_wait_has_its_end_and_leaves_the_request_as_it_is() -> None:
    request = asked()
    for _ in range(3):
        began = time.monotonic()
        with pytest.raises(TimeoutError):
            request.result(0.02)
        assert time.monotonic() - began >= 0.019
    assert request.begin()
    later(request.answer, said(1))
    assert request.result().result == 1


def test_it_is_done_once_whoever_is_first() -> None:
    for _ in range(500):
        request, begin = asked(), threading.Barrier(3)
        assert request.begin()

        def answer(request: Request[int] = request, begin: threading.Barrier = begin) -> None:
            begin.wait()
            request.answer(said(1))

        def fail(request: Request[int] = request, begin: threading.Barrier = begin) -> None:
            begin.wait()
            request.fail("the wall clock was quicker")

        threads = [threading.Thread(target=each) for each in (answer, fail)]
        for thread in threads:
            thread.start()
        begin.wait()
        request.wait(5.0)
        first = request.failure
        for thread in threads:
            thread.join(5.0)
        assert request.failure is first
        if first is None:
            assert request.result(0.0).result == 1
        else:
            with pytest.raises(MeterFailed):
                request.result(0.0)


def test_what_is_taken_back_is_never_begun_and_what_is_begun_not_taken_back() -> None:
    back, begun = asked(), asked()
    assert back.take_back()
    assert not back.begin()
    with pytest.raises(MeterFailed, match="taken back"):
        back.result(0.0)
    back.answer(said(1))
    assert back.failure is not None
    assert begun.begin()
    assert not begun.take_back()
    begun.answer(said(2))
    assert begun.result(0.0).result == 2
    assert not begun.take_back()


def test_to_and_fro_nothing_is_waited_for_in_vain() -> None:
    inbox: Inbox[Request[int] | None] = Inbox()
    inbox.ready()

    def answers() -> None:
        dice = random.Random(1)
        number = 0
        while (request := inbox.get()) is not None:
            assert request.begin()
            if dice.random() < 0.01:
                time.sleep(0.001)
            request.answer(said(number))
            number += 1

    thread = threading.Thread(target=answers, daemon=True)
    thread.start()
    number = 0
    for _ in range(800):
        burst = [asked() for _ in range(1 + number % 3)]
        for each in burst:
            inbox.put(each)
        for each in burst:
            assert each.result(10.0).result == number
            number += 1
    inbox.put(None)
    thread.join(5.0)
    assert not thread.is_alive()


def test_a_bell_rung_for_something_else_is_no_answer() -> None:
    request = asked()
    own_bell().ring()
    with pytest.raises(TimeoutError):
        request.result(0.02)
    own_bell().ring()
    assert request.begin()
    later(request.answer, said(3))
    assert request.result(5.0).result == 3


def test_several_are_waited_for_together_so_long_at_most() -> None:
    quick, slow, never = asked(), asked(), asked()
    later(quick.answer, said(1), after_s=0.0)
    later(slow.answer, said(2), after_s=0.05)
    began = time.monotonic()
    wait_for([never, quick, slow], 0.3)
    assert time.monotonic() - began >= 0.299
    assert (quick.done(), slow.done(), never.done()) == (True, True, False)
    began = time.monotonic()
    wait_for([quick, slow], 30.0)
    assert time.monotonic() - began < 10.0


def test_they_are_given_as_they_are_done_though_others_are_waited_for_meanwhile() -> None:
    first, second, third, other = asked("1"), asked("2"), asked("3"), asked()
    later(second.answer, said(2), after_s=0.02)
    later(third.fail, "gone", after_s=0.2)
    found = []
    for each in as_done([first, second, third]):
        found.append(each.what)
        if each is second:
            # the third is done while this thread waits for another, whose bell is the same
            later(other.answer, said(4), after_s=0.4)
            other.result(10.0)
            later(first.answer, said(1))
    assert found == ["2", "3", "1"]


@pytest.mark.skipif(sys.platform == "win32", reason="signals of Unix")
def test_a_wait_is_broken_off_by_what_a_signal_handler_raises() -> None:
    class Ended(Exception):
        pass

    def end(*_: object) -> None:
        raise Ended

    before = signal.signal(signal.SIGUSR1, end)
    try:
        later(os.kill, os.getpid(), signal.SIGUSR1)
        with pytest.raises(Ended):
            asked().result(10.0)
    finally:
        signal.signal(signal.SIGUSR1, before)
    request = asked()
    later(request.answer, said(1))
    assert request.result(10.0).result == 1


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="counted where the system shows them")
def test_a_thread_that_has_ended_leaves_no_file_open() -> None:
    def waits() -> None:
        asked().wait(0.001)

    gc.collect()
    before = len(os.listdir("/proc/self/fd"))
    for _ in range(30):
        thread = threading.Thread(target=waits)
        thread.start()
        thread.join()
    gc.collect()
    assert len(os.listdir("/proc/self/fd")) <= before
