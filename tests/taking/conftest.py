"""What the tests of sweeps and soaks share."""

from __future__ import annotations

import pytest

from ohmward.bench import patience


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """A meter that is gone is asked again at once."""
    monkeypatch.setattr(patience, "BACK_OFF_S", (0.0, 0.01))
