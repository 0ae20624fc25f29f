"""What tests of the bench are given."""

from __future__ import annotations

import pytest

from support import bells


@pytest.fixture(params=bells.KINDS)
def bell_of(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have threads wake each other as on each system in turn."""
    bells.take(request.param, monkeypatch)
