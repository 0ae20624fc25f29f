"""A disk that does not wait, for tests of many small files that are not about waiting."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest


@pytest.fixture
def no_sync() -> Iterator[None]:
    """Let `os.fsync` return at once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda _: None)
        yield
