"""A logbook with one short run, to be worked on line by line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from ohmward.logbook import create_run
from support import bench as b
from support.journals import HandClock
from support.plain import held

Typed = Callable[..., str]


@pytest.fixture
def run_path(tmp_path: Path) -> Path:
    with create_run(
        tmp_path, tag="CR-07", procedure_name="short", opened=b.opened(), clock=HandClock()
    ) as journal:
        return journal.path


@pytest.fixture
def typed(tmp_path: Path, run_path: Path) -> Typed:
    """Type lines at the short run in one sitting, until the input ends; return what was said."""

    def at(*lines: str, resumed: bool = False, encoding: str = "utf-8") -> str:
        return held(tmp_path, run_path, *lines, resumed=resumed, encoding=encoding)

    return at
