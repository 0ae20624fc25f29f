"""What the pictures of one run are drawn from."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.analysis.facts import RunFacts
from ohmward.analysis.rows import Assessment
from ohmward.analysis.summary import outcome_word
from ohmward.quantity import show

if TYPE_CHECKING:
    from ohmward.bench.meters import Meter
    from ohmward.run.state import RunState
    from ohmward.supply.model import Rail


@dataclass(frozen=True, kw_only=True)
class Material:
    """One run: what it is assessed from, and its assessment."""

    facts: RunFacts
    assessment: Assessment
    meters: tuple[Meter, ...] = ()
    """Of the run, with their accuracy: where an uncertainty comes from."""

    @property
    def simulated(self) -> bool:
        """Whether this was a rehearsal."""
        return self.facts.simulated

    @property
    def rails(self) -> tuple[Rail, ...]:
        """The rails of the supply, in the order of the sheet."""
        return self.facts.supply.rails

    def title(self, what: str) -> str:
        """Return the heading of a picture."""
        return f"{self.facts.tag}: {what}"

    def foot(self) -> str:
        """Return which run it is, and how it ended: no picture of a failed run may pass for a good one."""
        if self.facts.violations:
            return f"Run {self.facts.run}: NOT SOUND, it holds records that no gate would have let through."
        word = outcome_word(self.assessment)
        unfinished = ", no verdict" if self.assessment.verdict == "incomplete" else ""
        return f"Run {self.facts.run}: {word}{unfinished}."

    def conditions(self) -> str:
        """Return the mains and room that the expectation was computed at."""
        found = self.facts.expectation
        if found is None:
            return ""
        mains, room = show(found.mains_v, "V"), show(found.ambient_c, "°C")
        return f"Expected at {mains} mains, {room} room; bands of 95 %."


def material(state: RunState, folder: Path | None = None) -> Material:
    """Return what the pictures of a run are drawn from.

    Parameters
    ----------
    state : RunState
    folder : Path, optional
        Where the journal lies, and its waveforms beside it; without it no waveform is drawn.

    Raises
    ------
    ValueError
        When the state has no first record.
    """
    from ohmward.run.assess import assessed_alone

    found, facts = assessed_alone(state, folder)
    return Material(facts=facts, assessment=found, meters=state.meters)
