"""What no meter of the simulated bench reads: checks by eye and ear, and the humidity of the room."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ohmward.bench.simulated.probing import probe_for
from ohmward.demo import TAG
from ohmward.procedure.model import Item
from ohmward.run.state import RunState
from ohmward.shipped import folder
from ohmward.taking.rehearsing import RehearsalHands

if TYPE_CHECKING:
    from ohmward.run.answers import Row

TOLD_BY_EYE = {
    "wrong-fuse": ("fuse-value",),
    "shorted-diode": ("lamp-first", "direct-start"),
    "shorted-turns": ("lamp-first",),
    "core-bolt-turn": ("toroid-bolt", "lamp-first"),
    "secondaries-antiphase": ("first-polarity",),
    "switch-on-surge": ("direct-start",),
    "thermal-shutdown": ("soak-watch",),
    "bleeder-missing": ("bleeder-fitted",),
    "thin-output-wire": ("wire-gauge",),
    "line-neutral-transposed": ("cord-cores", "fuse-in-line", "fuse-live-end"),
    "washer-punctured": ("output-earth",),
    "regulator-oscillating": ("oscillation",),
    "loose-earth": ("earth-wiggle",),
    "earth-core-broken": ("earth-wiggle",),
    "dry-interface": ("device-mounting",),
    "no-ventilation": ("air-path",),
}
"""Checks that a fault fails though no meter shows it; a check of a rail fails for the rail with the fault."""
HALF_WAVE = 0.2
"""Share of the ripple at the mains frequency from which half of the cycles are taken for missing."""


class ByEye:
    """Answers as a person at the simulated bench would see or hear it.

    Parameters
    ----------
    hands : RehearsalHands
        At the bench, which is started.
    story : str
        Answers for what the bench knows nothing of.
    """

    def __init__(self, hands: RehearsalHands, story: str = "healthy") -> None:
        self._hands, self._bench = hands, hands.bench
        self._story = {
            (row.step, row.subject): row.value for row in rows_of(story) if row.value and row.step != "amend"
        }

    def reading_for(self, state: RunState, item: Item) -> str | None:
        """Return the answer to a check, or a reading that the bench has no meter for; else None.

        A repair on record has mended every fault.

        Raises
        ------
        Unreachable
            When the oscilloscope of the bench, by which one check is answered, does not answer.
        """
        self._hands.mend(state)
        if item.read is not None:
            return None if probe_for(item) is not None else self._story.get(item.key)
        if item.step == "ripple-frequency":
            return self._ripple_frequency(item)
        for name, subject in self._bench.unit.faults:
            if item.step in TOLD_BY_EYE.get(name, ()) and item.rail in {"", subject or item.rail}:
                return "fail"
        return self._story.get(item.key)

    def _ripple_frequency(self, item: Item) -> str | None:
        """Return whether the reservoir's ripple is at twice the mains frequency, from a capture."""
        from ohmward.analysis.ripple import analyse

        sheet, unit = self._bench.supply.rail(item.rail), self._bench.unit
        if sheet.rectifier is not None and sheet.rectifier.kind == "half-wave":
            return "pass"
        if not unit.energised:
            return None
        before = unit.load_a(item.rail)
        unit.set_load(item.rail, sheet.rated_current_a)
        found = self._hands.simulated.capture(f"rail {item.rail} reservoir")
        unit.set_load(item.rail, before)
        ripple = analyse(found.values, 1 / found.interval_s, self._bench.supply.mains.frequency_hz)
        return "fail" if (ripple.half_wave_fraction or 0.0) > HALF_WAVE else "pass"


def rows_of(story: str) -> tuple[Row, ...]:
    """Return the answers of a story."""
    from ohmward.run.answers import parse_answers

    path = folder("demo") / f"{TAG}.{story}.csv"
    return parse_answers(path.read_text(encoding="utf-8"), path.name)
