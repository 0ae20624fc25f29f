"""From a run's state to the facts that `analysis` assesses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ohmward.run.expected import expectation
from ohmward.run.state import RunState

if TYPE_CHECKING:
    from ohmward.analysis.assessment import Assessment


def assess_state(state: RunState) -> Assessment:
    """Return the assessment of a run as far as it has come."""
    raise NotImplementedError  # filled when analysis.assessment lands
