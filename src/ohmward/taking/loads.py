"""The loads of all rails as one: each by its electronic load, or by hand where the tool has none."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping

from ohmward.bench.messages import MeterFailed
from ohmward.bench.meters import Meter
from ohmward.bench.session import Session
from ohmward.bench.sweep import ByLoad, Point
from ohmward.run.state import RunState

KIND = "load"

_log = logging.getLogger("ohmward.taking")


class Bank:
    """Loads by rail.

    Parameters
    ----------
    sessions : mapping
        Electronic load of each rail that has one under control.
    by_hand : callable
        Has loads set by hand (rail, current [A]); returns False when it is given up.
    """

    def __init__(self, sessions: Mapping[str, Session], by_hand: Callable[[dict[str, float]], bool]) -> None:
        self._loads = {rail: ByLoad(session) for rail, session in sessions.items()}
        self._by_hand = by_hand
        self._set_by_hand: dict[str, float] = {}
        self.wanted: dict[str, dict[str, float]] = {}
        """Current of each rail [A] by the label of a point; rails left out carry none."""

    @property
    def generation(self) -> int:
        """Changes when any load has been reconnected, and so switched off."""
        return sum(load.generation for load in self._loads.values())

    def to(self, point: Point) -> None:
        """Set every load as a point wants it; those that go off first.

        Raises
        ------
        MeterFailed
            When one does not do it, or the person gives up.
        """
        wanted = self.wanted[point.label]
        self._hand(wanted)
        ordered = sorted(self._loads.items(), key=lambda each: wanted.get(each[0], 0.0) > 0)
        for rail, load in ordered:
            load.to(Point(label=point.label, current_a=wanted.get(rail, 0.0)))

    def held(self, point: Point) -> bool:
        """Return whether every load still is as it was set."""
        wanted = self.wanted[point.label]
        return all(
            load.held(Point(label=point.label, current_a=wanted.get(rail, 0.0)))
            for rail, load in self._loads.items()
        )

    def off(self) -> bool:
        """Switch off every load under control; return False when one may still be on.

        Nothing is asked of a person here: what follows must not wait for them.
        """
        done = [_is_off(rail, load) for rail, load in self._loads.items()]  # all of them, whatever one says
        return all(done)

    def off_by_hand(self) -> bool:
        """Have the loads set by hand taken off; return False when one may still be on."""
        left = {rail: 0.0 for rail, amps in self._set_by_hand.items() if amps > 0}
        if not left:
            return True
        try:
            done = self._by_hand(left)
        except Exception:  # noqa: BLE001 whatever it is, nobody has said that they are off
            _log.exception("could not ask for the loads of %s to be taken off", ", ".join(left))
            return False
        if done:
            self._set_by_hand.clear()
        return done

    def _hand(self, wanted: Mapping[str, float]) -> None:
        by_hand = {rail: amps for rail, amps in wanted.items() if rail not in self._loads}
        by_hand |= {rail: 0.0 for rail in self._set_by_hand if rail not in by_hand}
        changed = {r: amps for r, amps in by_hand.items() if self._set_by_hand.get(r, 0.0) != amps}
        if changed and not self._by_hand(changed):
            raise MeterFailed(KIND, "the loads were not set by hand")
        self._set_by_hand |= changed


def _is_off(rail: str, load: ByLoad) -> bool:
    try:
        return load.off()
    except Exception:  # noqa: BLE001 whatever it is, the others still have to go off
        _log.exception("the load of %s may still be on", rail)
        return False


def load_of(state: RunState, rail: str, meters: Iterable[Meter]) -> str:
    """Return the electronic load of a rail: named after it, or the only one of a one-rail supply; or ''."""
    known = {meter.name for meter in state.meters}
    loads = [m for m in meters if m.kind == KIND and m.resource and m.name in known]
    named = [m.name for m in loads if m.name.lower().endswith(f" {rail.lower()}")]
    if len(named) == 1:
        return named[0]
    rails = len(state.supply.rails) if state.supply is not None else 0
    return loads[0].name if len(loads) == 1 and rails == 1 else ""
