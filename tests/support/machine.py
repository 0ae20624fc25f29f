"""What a check needs of the machine: programs, and a user who is not root."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

NOBODY = 65534


def tool(name: str) -> str:
    """Path of a program that a check needs; without it the test is skipped, but not where CI is said."""
    found = shutil.which(name)
    if found is None:
        why = f"{name} is not installed (.ci/run names its package)"
        if os.environ.get("CI") == "true":
            pytest.fail(why)
        pytest.skip(why)
    return found


@contextmanager
def plain_user() -> Iterator[None]:
    """Root may read and write anywhere: become nobody for a while."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@contextmanager
def open_folder() -> Iterator[Path]:
    """Make a folder that a plain user reaches (the test runner's own are closed to others)."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)
