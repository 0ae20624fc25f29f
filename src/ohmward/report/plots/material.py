"""What the pictures of one run are drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.analysis.facts import RunFacts
from ohmward.analysis.rows import Assessment
from ohmward.quantity import show

if TYPE_CHECKING:
    from ohmward.bench.capture import Waveform
    from ohmward.bench.meters import Meter
    from ohmward.run.series import Series
    from ohmward.run.state import RunState
    from ohmward.supply.model import Rail


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One captured waveform of a rail."""

    rail: str
    point: str
    """What the probe was on: 'reservoir' or 'output'; empty where nobody said."""
    waveform: Waveform
    at: str = ""


@dataclass(frozen=True, kw_only=True)
class Material:
    """One run with its assessment, and what was sampled and captured in it."""

    facts: RunFacts
    assessment: Assessment
    meters: tuple[Meter, ...] = ()
    series: Mapping[str, Series] = field(default_factory=dict)
    """By step."""
    shots: tuple[Shot, ...] = ()

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
        verdicts = {
            "incomplete": "NOT FINISHED, no verdict",
            "fail": "FAIL",
            "conditional fail": "CONDITIONAL FAIL",
        }
        verdict = self.assessment.verdict
        return f"Run {self.facts.run}: {verdicts.get(verdict, verdict)}."

    def conditions(self) -> str:
        """Return the mains and room that the expectation was computed at."""
        found = self.facts.expectation
        if found is None:
            return ""
        return f"Expected at {show(found.mains_v, 'V')} mains, {show(found.ambient_c, '°C')} room; bands of 95 %."


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
    Damaged
        When a waveform is not the one that the journal names.
    Unreachable, InputError
        When a waveform cannot be read.
    """
    from ohmward.analysis.assessment import assess
    from ohmward.run.assess import facts_of

    facts = facts_of(state)
    return Material(
        facts=facts,
        assessment=assess(facts),
        meters=state.meters,
        series=state.series,
        shots=() if folder is None else _shots(state, folder),
    )


def _shots(state: RunState, folder: Path) -> tuple[Shot, ...]:
    from ohmward.bench.capture import from_csv

    found = []
    for key, taken in state.captures.items():
        item = state.by_key.get(key)
        at, event = taken[-1]
        path = folder / Path(event.file).name
        _require_same(path, event.sha256)
        shot = from_csv(path, unit=event.unit)
        rail = item.rail if item is not None else event.subject.partition(" @ ")[0]
        found.append(Shot(rail=rail, point=event.point, waveform=shot, at=at))
    return tuple(found)


def _require_same(path: Path, sha256: str) -> None:
    import hashlib

    from ohmward.errors import Damaged
    from ohmward.logbook.disk import read_file
    from ohmward.text import one_line

    if hashlib.sha256(read_file(path)).hexdigest() != sha256:
        raise Damaged(
            one_line(f"{path}: not the waveform that the journal names; 'ohmward verify' tells more")
        )
