"""Where each temperature of a running soak is going, looked at now and then."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor

from ohmward.analysis.soak_outlook import Outlook, soak_outlook
from ohmward.procedure.model import ROOM
from ohmward.taking.soak_plan import MAINS, PlannedSoak, Sensor

EVERY_S, EVERY_SHARE = 60.0, 0.05
"""Each is looked at this often [s], of the time that passes for the soak; later, when a curve changes slowly,
after this share of the time so far."""
WAIT_SHARE, FAST_S = 0.25, 1.0
"""A look that takes longer than this share of the interval goes on beside the sampling, which must not be
late; where samples come faster than this [s], all of it does."""


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
        self._watched = [each for each in planned.sensors if each.name not in {ROOM, MAINS}]
        self._most = max(1, math.ceil(2 * len(self._watched) * planned.interval_s / EVERY_S))
        """So many are looked at with one sample."""
        self._times: list[float] = []
        self._columns: dict[str, list[float]] = {name: [] for name in self._names}
        self._read: set[str] = set()
        """Sensors that have given a number."""
        self._looked_s = dict.fromkeys(self._names, -math.inf)
        known = planned.resumes
        self._resumed: list[float] = list(known.resumed_s) if known is not None else []
        for row in known.rows if known is not None else ():
            self._keep(row.at_s, row.values)
        self._goes_on = bool(self._times)
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="outlook")
        self._wait_s = WAIT_SHARE * planned.interval_s if planned.interval_s >= FAST_S else 0.0
        self._looking: Future[dict[str, Outlook]] | None = None
        self.latest: dict[str, Outlook] = {}

    def add(self, at_s: float, values: Sequence[float | None]) -> str:
        """Take one sample in; return why the soak has to stop, where a forecast says so, else nothing."""
        if self._goes_on:
            self._resumed.append(at_s)
            self._goes_on = False
        self._keep(at_s, values)
        due = self._due(at_s) if self._looking is None else []
        if due:
            wanted = {ROOM, *(each.name for each in due)} & self._read
            columns = {name: list(self._columns[name]) for name in wanted}
            resumed = tuple(self._resumed)
            self._looking = self._worker.submit(self._look, due, list(self._times), columns, resumed)
        return self._found()

    def close(self) -> None:
        """Look no more."""
        self._worker.shutdown(wait=False, cancel_futures=True)

    def _keep(self, at_s: float, values: Sequence[float | None]) -> None:
        self._times.append(at_s)
        for name, value in zip(self._names, values, strict=True):
            self._columns[name].append(math.nan if value is None else value)
            if value is not None:
                self._read.add(name)

    def _due(self, at_s: float) -> list[Sensor]:
        every_s = max(EVERY_S, EVERY_SHARE * at_s) - 0.5 * self._planned.interval_s
        due = [
            each
            for each in self._watched
            if each.name in self._read and at_s - self._looked_s[each.name] >= every_s
        ]
        due = sorted(due, key=lambda sensor: self._looked_s[sensor.name])[: self._most]
        self._looked_s |= {each.name: at_s for each in due}
        return due

    def _look(
        self, sensors: Sequence[Sensor], times: Sequence[float], columns: Mapping[str, Sequence[float]],
        resumed: Sequence[float],
    ) -> dict[str, Outlook]:  # fmt: skip
        found = {}
        for each in sensors:
            outlook = soak_outlook(
                times, columns[each.name], columns.get(ROOM),
                limit_c=each.stop.high if each.stop is not None else None,
                duration_s=self._planned.duration_s, resumed_s=resumed,
            )  # fmt: skip
            if outlook is not None:
                found[each.name] = outlook
        return found

    def _found(self) -> str:
        """Take in what was found, when it is there in time; return why the soak has to stop, or nothing."""
        if self._looking is None:
            return ""
        try:
            found = self._looking.result(self._wait_s)
        except TimeoutError:
            return ""
        self._looking = None
        self.latest |= found
        return next(
            (f"{name} will pass its stop limit: {o.words}" for name, o in found.items() if o.will_pass_limit),
            "",
        )
