"""Where each temperature of a running soak is going, looked at now and then."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ohmward.analysis.soak_outlook import Outlook, soak_outlook
from ohmward.analysis.soaks import ROOM
from ohmward.taking.soak_plan import MAINS, PlannedSoak

EVERY_S = 30.0
"""How often it is looked at [s], of the time that passes for the soak."""


class Outlooks:
    """The samples so far, and what they foretell.

    Parameters
    ----------
    planned : PlannedSoak
        What it goes on with is taken in.
    """

    def __init__(self, planned: PlannedSoak) -> None:
        self._planned = planned
        self._names = [each.name for each in planned.sensors]
        self._times: list[float] = []
        self._columns: list[list[float]] = [[] for _ in self._names]
        self._looked_s = -math.inf
        known = planned.resumes
        self._resumed: list[float] = list(known.resumed_s) if known is not None else []
        for row in known.rows if known is not None else ():
            self._keep(row.at_s, row.values)
        if self._times:
            self._resumed.append(self._times[-1])
        self.latest: dict[str, Outlook] = {}

    def add(self, at_s: float, values: Sequence[float | None]) -> str:
        """Take one sample in; return why the soak has to stop, where a forecast says so, else nothing."""
        self._keep(at_s, values)
        if at_s - self._looked_s < EVERY_S:
            return ""
        self._looked_s = at_s
        return self._look()

    def _keep(self, at_s: float, values: Sequence[float | None]) -> None:
        self._times.append(at_s)
        for column, value in zip(self._columns, values, strict=True):
            column.append(math.nan if value is None else value)

    def _look(self) -> str:
        room = self._columns[self._names.index(ROOM)] if ROOM in self._names else None
        why = ""
        for sensor, column in zip(self._planned.sensors, self._columns, strict=True):
            if sensor.name in {ROOM, MAINS} or all(math.isnan(value) for value in column):
                continue
            stop = sensor.stop.high if sensor.stop is not None else None
            found = soak_outlook(
                self._times, column, room, limit_c=stop, duration_s=self._planned.duration_s,
                resumed_s=self._resumed,
            )  # fmt: skip
            if found is None:
                continue
            self.latest[sensor.name] = found
            if found.will_pass_limit and not why:
                why = f"{sensor.name} will pass its stop limit: {found.words}"
        return why
