"""Where a run stands: state folded from its journal, the gates, the next step."""

from __future__ import annotations

from ohmward.run.assess import assess_run, assess_state, assessed
from ohmward.run.gates import admit
from ohmward.run.guidance import Guidance, guidance, progress
from ohmward.run.judging import AskAgain
from ohmward.run.live import LiveRun
from ohmward.run.state import Phase, RunState, Standing, advance, state

__all__ = [
    "AskAgain",
    "Guidance",
    "LiveRun",
    "Phase",
    "RunState",
    "Standing",
    "admit",
    "advance",
    "assess_run",
    "assess_state",
    "assessed",
    "guidance",
    "progress",
    "state",
]
