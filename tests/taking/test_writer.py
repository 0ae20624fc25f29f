"""What is written beside the sampling is written in order, and a failure is never passed over."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from functools import partial

import pytest

from ohmward.errors import Unreachable
from ohmward.taking import writer
from ohmward.taking.writer import Writer


def fails() -> None:
    raise OSError("no room")


def hand_all(to: Writer, job: Callable[[], None], count: int, *, pause_s: float = 0.0) -> None:
    for _ in range(count):
        to.hand(job)
        time.sleep(pause_s)


def test_jobs_are_done_in_order_on_another_thread() -> None:
    done: list[tuple[int, int]] = []

    def job(number: int) -> None:
        done.append((number, threading.get_ident()))

    one = Writer(beside=True)
    for number in range(200):
        one.hand(partial(job, number))
    one.finish()
    assert [number for number, _ in done] == list(range(200))
    assert threading.get_ident() not in {thread for _, thread in done}


def test_after_a_failure_nothing_more_is_written_and_it_is_raised_once() -> None:
    done: list[int] = []
    one = Writer(beside=True)
    one.hand(partial(done.append, 1))
    one.hand(fails)
    with pytest.raises(OSError, match="no room"):
        # at the pace of samples: handed over in a rush, a thousand may wait before the first has failed
        hand_all(one, partial(done.append, 2), 900, pause_s=0.001)
    one.finish()
    assert done == [1]


def test_a_failure_of_the_last_job_is_raised_at_the_end() -> None:
    one = Writer(beside=True)
    one.hand(fails)
    with pytest.raises(OSError, match="no room"):
        one.finish()


def test_a_disk_that_does_not_answer_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writer, "MOST_WAITING", 3)
    answers = threading.Event()

    def hangs() -> None:
        answers.wait(30)

    one = Writer(beside=True)
    with pytest.raises(Unreachable, match="disk"):
        hand_all(one, hangs, 10)
    answers.set()
    one.finish()


def test_done_at_once_where_it_is_handed_over() -> None:
    threads: set[int] = set()

    def job() -> None:
        threads.add(threading.get_ident())

    one = Writer(beside=False)
    one.hand(job)
    one.finish()
    assert threads == {threading.get_ident()}
