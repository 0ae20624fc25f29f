"""In which phases mains is on, by the records."""

from __future__ import annotations

from ohmward.run.state import Phase

MAINS_ON = frozenset({Phase.LIVE, Phase.HALTED})
"""Live, and halted: something is wrong then, and the only way on is to switch off."""
