"""From the facts of a run to what a cause is inferred from, and to the points of a rail's reservoir."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from ohmward.analysis._observations import CheckAnswer, Observation
from ohmward.analysis._priors import CHECKS
from ohmward.analysis.facts import RunFacts
from ohmward.analysis.points import Mains, drawn, taken_s
from ohmward.analysis.rails import split
from ohmward.analysis.waveforms import missing_half
from ohmward.logbook.events import Answered, Reading
from ohmward.physics.assume import facts as modelled
from ohmward.procedure.model import ROOM, Item
from ohmward.supply.model import Supply

LOAD_POINT_S = 600.0
"""Load points are taken to be read ten minutes after switch-on (`physics.readings`) [s]."""
ON_TIME = 0.1
"""Share of its time by which a reading of a soak may be off and counts as taken at it: the readings of one
time are then computed together."""
SAME_MAINS_V = 0.5
"""Mains this near to what it was are not worth computing anew [V]."""
ROOM_C = 25.0
_KEYS = {
    "output_v": "output_v",
    "reservoir_v": "reservoir_v",
    "reservoir_mean_v": "reservoir_v",
    "reservoir_ripple_pp_v": "reservoir_ripple_pp_v",
    "output_ripple_pp_v": "output_ripple_pp_v",
    "secondary_v": "secondary_v",
    "no_load_v": "no_load_v",
    "winding_ohm": "winding_ohm",
    "primary_ohm": "primary_ohm",
    "bleeder_ohm": "bleeder_ohm",
    "mains_a": "mains_a",
    "mains_no_load_a": "mains_no_load_a",
}
"""What a reading is compared with, and what it is called here."""
_NOT_STATED = {"V": 0.005, "ripple": 0.05, "A": 0.02, "Ω": 0.02, "°C": 0.03}
"""Taken as a meter's standard uncertainty where its accuracy is not stated, as a share (common practice)."""
_INSULATION = {
    "insulation": "insulation_ohm",
    "hot-insulation": "insulation_ohm",
    "insulation-mains-output": "isolation_ohm",
}
"""By step; ids of steps are kept over the years."""
RIPPLE_CHECK = "ripple-frequency"
"""Step of the check that a waveform answers."""
OPEN_BLEEDER_OHM = 1e5
"""A meter across a reservoir without a bleeder charges it, and may show anything above this [Ω], which tells
nothing (common practice, no source)."""
_BOUND_KEYS = frozenset({"insulation_ohm", "isolation_ohm", "earth_ohm"})


@dataclass(slots=True)
class Gathered:
    """All that tells of causes in one run."""

    observations: list[Observation] = field(default_factory=list)
    answers: list[CheckAnswer] = field(default_factory=list)
    mains_read: bool = False


def gather(facts: RunFacts, supply: Supply) -> Gathered:
    """Return what the run tells of causes.

    Parameters
    ----------
    supply : Supply
        The part of the sheet that can be modelled.
    """
    found = Gathered()
    walk = _Walk(facts, supply)
    dead: dict[str, Observation] = {}
    warm: dict[tuple[str, str], Observation] = {}
    for place, item in enumerate(facts.items):
        entry = facts.entry(item)
        if entry is None or entry.stale:
            continue
        if isinstance(entry.event, Answered):
            found.answers += _answers(item, entry.event)
            continue
        if not isinstance(entry.event, Reading):
            continue
        if item.spec.id in CHECKS:
            failed = "fail" in entry.event.judged.verdict
            found.answers.append(CheckAnswer(step=item.spec.id, failed=failed, title=item.title))
        seen = walk.observed(item, entry.event, walk.mains.before(entry.seq, place))
        if seen is None:
            continue
        if seen.key == "primary_ohm" and not supply.transformers:
            continue  # a transformer taken in its stead has no primary to compare with
        if seen.key == "bleeder_ohm" and seen.value > OPEN_BLEEDER_OHM and not walk.bleeder(seen.subject):
            continue
        if seen.key in _BOUND_KEYS:
            dead[seen.key] = _worse(dead.get(seen.key), seen)
        elif seen.unit == "°C":
            # the last reading of a soak says most
            warm[seen.key, seen.subject] = seen
        elif seen.bound == "exact":
            found.observations.append(seen)
    found.observations += [*warm.values(), *dead.values()]
    shown = list(_by_waveform(facts))
    told = {(each.step, each.subject) for each in shown}
    found.answers = [*shown, *(each for each in found.answers if (each.step, each.subject) not in told)]
    found.mains_read = walk.mains_v is not None
    return found


def _answers(item: Item, event: Answered) -> Iterator[CheckAnswer]:
    if item.spec.id in CHECKS and event.answer != "not applicable":
        yield CheckAnswer(
            step=item.spec.id,
            subject=item.rail or item.about,
            failed=event.answer == "fail",
            title=f"{item.title} ({item.subject})" if item.subject else item.title,
        )


def _by_waveform(facts: RunFacts) -> Iterator[CheckAnswer]:
    """Yield what waveforms answer to 'humps alike': surer than an eye, whose answer they replace."""
    for rail in facts.half_wave_fractions:
        missing = missing_half(facts, rail)
        if missing is not None:
            share = f"{100.0 * facts.half_wave_fractions[rail]:.0f} %"
            yield CheckAnswer(
                step=RIPPLE_CHECK,
                subject=rail,
                failed=missing,
                title=f"Waveform ({rail}): {share} of its ripple at mains frequency",
            )


def _worse(old: Observation | None, new: Observation) -> Observation:
    """Return the worst of several readings: the highest earth resistance, the lowest insulation."""
    if old is None:
        return new
    up = new.key == "earth_ohm"
    return new if (new.value > old.value) == up and new.value != old.value else old


class _Walk:
    """Goes through a run in its order, with the conditions as they were last read."""

    def __init__(self, facts: RunFacts, supply: Supply) -> None:
        self.facts, self.supply = facts, supply
        self.mains = Mains(facts)
        self.mains_v: float | None = None
        """Read last before the reading in hand."""
        self.used_mains_v = supply.mains.voltage_v
        self.ambient_c = ROOM_C
        self.room_c: float | None = None
        # of a rail known by its nameplate alone nothing is foretold
        self.rated = {rail.name: rail.rated_a for rail in modelled(supply).rails}
        self.names = {*self.rated, *(t.name for t in supply.transformers)}
        self.names |= {f"{t.name}.{s.name}" for t in supply.transformers for s in t.secondaries}
        self.soaked = {
            item.stage: max(other.elapsed_s or 0.0 for other in facts.items if other.stage == item.stage)
            for item in facts.items
            if item.elapsed_s is not None
        }

    def observed(self, item: Item, event: Reading, mains_v: float | None) -> Observation | None:
        """Return what one reading tells at a mains; None for nothing, or a condition, which is noted."""
        net = event.judged.net
        if mains_v is not None:
            self.mains_v = mains_v
            if abs(mains_v - self.used_mains_v) > SAME_MAINS_V:
                self.used_mains_v = mains_v
        if item.read is None or net is None:
            return None
        condition = self._condition(item.read.condition, net)
        if item.elapsed_s is not None:
            return self._soaking(item, event, net)
        if condition:
            return None
        key = self._key(item)
        subject = item.about or item.rail
        mains = key in ("mains_a", "mains_no_load_a")
        if not key or (subject and subject not in self.names) or (mains and not self.supply.transformers):
            return None
        return self._made(
            item, event, key, "" if key in _BOUND_KEYS or key.startswith("mains") else subject, net
        )

    def bleeder(self, rail: str) -> bool:
        """Return whether the sheet has a bleeder across the reservoir of a rail."""
        reservoir = self.supply.rail(rail).reservoir
        return reservoir is not None and reservoir.bleeder_ohm is not None

    def _condition(self, condition: str, net: float) -> bool:
        """Note a condition of the moment; return whether it was one."""
        if condition == "ambient_c":
            self.ambient_c = net
        return bool(condition)

    def _key(self, item: Item) -> str:
        read = item.read
        if read is None or item.role == "make-safe":
            return ""
        if item.spec.proves_earth and read.unit == "Ω":
            return "earth_ohm"
        if item.spec.id in _INSULATION:
            return _INSULATION[item.spec.id]
        return _KEYS.get(read.expect, "")

    def _soaking(self, item: Item, event: Reading, net: float) -> Observation | None:
        if item.subject.startswith(ROOM):
            self.room_c = net
        elapsed = item.elapsed_s or 0.0
        if item.read is None or item.read.unit != "°C" or elapsed <= 0.0:
            return None
        if item.rail in self.rated and self.supply.rail(item.rail).heatsink is not None:
            return self._made(item, event, "heatsink_c", item.rail, net)
        if item.about and item.about in {t.name for t in self.supply.transformers}:
            return self._made(item, event, "surface_c", item.about, net)
        return None

    def _made(self, item: Item, event: Reading, key: str, subject: str, net: float) -> Observation:
        unit = item.read.unit if item.read else ""
        own, shared = self._uncertainty(event, unit, key, net)
        title = item.title
        soaking = item.elapsed_s is not None
        return Observation(
            key=key,
            subject=subject,
            value=net if unit == "°C" else abs(net),
            own=own,
            shared=shared,
            loads=self._loads(item, key),
            mains_v=self.used_mains_v,
            mains_read_v=self.mains_v,
            ambient_c=self.room_c if soaking and self.room_c is not None else self.ambient_c,
            elapsed_s=self._elapsed(item) if item.elapsed_s is None else _soaked_s(item, event),
            bound=_bound(event),
            title=f"{title} ({item.subject})" if item.subject else title,
            unit=unit,
        )

    def _elapsed(self, item: Item) -> float:
        return max(self.soaked.get(item.stage, 0.0), LOAD_POINT_S)

    def _loads(self, item: Item, key: str) -> tuple[tuple[str, float], ...]:
        if item.together or item.elapsed_s is not None or key == "mains_a":
            share = 1.0
            if item.rail in self.rated and item.load_a is not None:
                share = abs(item.load_a) / self.rated[item.rail]
            return tuple((name, share * amps) for name, amps in self.rated.items())
        if item.rail in self.rated and item.load_a:
            return ((item.rail, drawn(self.facts, item)),)
        return ()

    def _uncertainty(self, event: Reading, unit: str, key: str, net: float) -> tuple[float, float]:
        if event.judged.uncertainty is not None:
            return split(event)
        share = _NOT_STATED.get("ripple" if "ripple" in key else unit, 0.02)
        digit = float(event.value.resolution or 0) / math.sqrt(3.0)
        return max(digit, 0.2 * share * abs(net)), share * abs(net)


def _soaked_s(item: Item, event: Reading) -> float:
    """Return how long a soak had run when it was read [s]: the time of its entry where it was about that."""
    nominal, taken = item.elapsed_s or 0.0, taken_s(item, event)
    return nominal if abs(taken - nominal) <= ON_TIME * nominal else taken


def _bound(event: Reading) -> Literal["exact", "above", "below"]:
    kind = event.value.kind
    return "above" if kind == "overload" else kind


def any_trouble(facts: RunFacts) -> bool:
    """Return whether anything in a run asks for a cause: a failure, or a reading that was not expected."""
    if any(missing_half(facts, rail) for rail in facts.half_wave_fractions):
        return True
    for item in facts.items:
        entry = facts.entry(item)
        if entry is None or entry.stale:
            continue
        event = entry.event
        if isinstance(event, Answered) and event.answer == "fail" and item.spec.id in CHECKS:
            return True
        if isinstance(event, Reading):
            judged = event.judged
            failed = "fail" in judged.verdict or judged.past_stop
            if failed or judged.as_expected is False:
                return True
    return False


__all__ = ["Gathered", "any_trouble", "gather"]
