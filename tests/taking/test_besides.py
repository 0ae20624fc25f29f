"""What fails while a failure is put in order is told with it, and hides nothing."""

from __future__ import annotations

import pytest

from ohmward.taking.besides import besides, told


def test_both_are_told_and_only_the_first_is_raised() -> None:
    first = ValueError("the load was lost.")
    with besides(first):
        pass
    assert told(first) == "the load was lost."
    with besides(first):
        raise OSError("disk full")
    assert told(first) == "the load was lost. Besides: disk full"


def test_leaving_is_not_held_back() -> None:
    with pytest.raises(KeyboardInterrupt), besides(ValueError("x")):
        raise KeyboardInterrupt
