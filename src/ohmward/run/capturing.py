"""Waveforms of a run: written beside its journal, recorded with their hash, and read back by it.

The file is written before its record. What stops in between leaves a file that no record names: nothing
reads it, and the next waveform takes the next number.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.bench.meters import is_simulated
from ohmward.bench.waveform import Waveform, decoded, encoded
from ohmward.errors import OhmwardError, Refused, Unreachable
from ohmward.logbook import disk, names
from ohmward.logbook.events import Captured
from ohmward.procedure.model import Item
from ohmward.run.gates import admit, describe
from ohmward.run.state import Phase, RunState
from ohmward.run.taken import Taken
from ohmward.text import one_line

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from ohmward.run.live import LiveRun

POINTS = ("reservoir", "output")
MOST_FILES = 10_000


def attach(
    live: LiveRun,
    waveform: Waveform,
    step: str,
    subject: str = "",
    *,
    meter: str = "",
    identity: str = "",
    point: str = "",
) -> Captured:
    """Write a waveform beside the journal and record it; on disk when this returns.

    Parameters
    ----------
    live : LiveRun
    waveform : Waveform
    step, subject : str
        What it is of: a step that asks for a waveform, or any other as evidence.
    meter, identity : str
        Name of the meter among the run's, and what it called itself; empty for a file.
    point : str
        What the probe was on, one of `POINTS`; the usual one of the step when empty.

    Raises
    ------
    InputError
        When a sample is not a finite number.
    Refused
        When a gate says no, the run does not know the meter, or a waveform of the simulated bench would
        come into a run that is not a rehearsal; no file is written.
    Unreachable
        When the file or the record cannot be written.
    """
    state = live.state
    _require_meter(state, meter, identity)
    if point not in {"", *POINTS}:
        raise Refused(
            "point", [f"'{one_line(point)}' is no place of the probe"], f"Say {' or '.join(POINTS)}"
        )
    data = encoded(waveform)
    item = state.by_key.get((step, subject))
    path = live.journal.path
    name = _free_name(path, step)
    event = Captured(
        step=step, subject=subject, file=name, sha256=hashlib.sha256(data).hexdigest(),
        samples=len(waveform.values), interval_s=waveform.interval_s, unit=waveform.unit,
        source=one_line(waveform.source), meter=meter, identity=identity,
        point=point or (usual_point(state, item) if item else ""),
    )  # fmt: skip
    admit(state, event)
    try:
        disk.write_new(path.with_name(name), data)
    except OSError as error:
        raise disk.unreachable(path.with_name(name), "the waveform cannot be written", error) from error
    live.do(event)
    return event


def require(state: RunState, step: str, subject: str = "") -> None:
    """Refuse, in the words of the gate, what could not be recorded.

    Raises
    ------
    Refused
    """
    probe = Captured(
        step=step, subject=subject, file="-", sha256="", samples=2, interval_s=1.0, unit="V", source="-"
    )
    admit(state, probe)


def require_now(state: RunState, step: str, subject: str, meter: str) -> None:
    """Refuse to ask a meter for a waveform that could not be recorded, or of a supply that is not on.

    Raises
    ------
    Refused
    """
    _require_meter(state, meter, "")
    require(state, step, subject)
    item = state.item(step, subject)
    if item.energised and state.phase is not Phase.LIVE:
        raise Refused(
            "not-live",
            [f"'{describe(item)}' is taken with mains on, and the run does not say that mains is on"],
            "Energise first; a waveform saved while it was on is attached as a file",
        )


def usual_point(state: RunState, item: Item) -> str:
    """Return what the probe is on where nobody said: the reservoir behind a regulator, else the output."""
    if item.read is not None:
        return next((each for each in POINTS if item.read.quantity.startswith(each)), "")
    if not item.rail or state.supply is None:
        return ""
    return "reservoir" if state.supply.rail(item.rail).regulator is not None else "output"


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A waveform of a run as it was read back; its hash is the recorded one."""

    taken: Taken
    item: Item
    samples: NDArray[np.float64]

    @property
    def event(self) -> Captured:
        """The record."""
        return self.taken.event


@dataclass(frozen=True, slots=True, kw_only=True)
class Waveforms:
    """The waveforms of a run."""

    kept: tuple[Kept, ...] = ()
    problems: tuple[str, ...] = ()
    """In words: each file that is missing, changed or unreadable, and therefore not used."""


def waveforms(state: RunState, folder: Path) -> Waveforms:
    """Read back the waveforms that a run's records name, in the order they were recorded.

    Parameters
    ----------
    state : RunState
    folder : Path
        Where the journal is.
    """
    kept: list[Kept] = []
    problems: list[str] = []
    every = [(key, each) for key, taken in state.captures.items() for each in taken]
    for key, taken in sorted(every, key=lambda pair: pair[1].seq):
        item = state.by_key.get(key)
        if item is None:
            continue  # of a part that is no longer listed
        try:
            kept.append(Kept(taken=taken, item=item, samples=_samples(taken.event, folder)))
        except OhmwardError as error:
            problems.append(f"{describe(item)}: its waveform is not used: {one_line(str(error))}")
    return Waveforms(kept=tuple(kept), problems=tuple(problems))


def _samples(event: Captured, folder: Path) -> NDArray[np.float64]:
    name = one_line(event.file)
    if event.file in {"", ".", ".."} or Path(event.file).name != event.file or "\\" in event.file:
        raise Unreachable(f"'{name}' is not a file beside the journal")
    data = disk.read_file(folder / event.file)
    if hashlib.sha256(data).hexdigest() != event.sha256:
        raise Unreachable(f"'{name}' was changed after it was recorded")
    found = decoded(data, name)
    if len(found) != event.samples:
        raise Unreachable(f"'{name}' has {len(found)} samples, and its record says {event.samples}")
    return found


def _require_meter(state: RunState, meter: str, identity: str) -> None:
    entry = next((each for each in state.meters if each.name == meter), None)
    if meter and entry is None:
        known = ", ".join(each.name for each in state.meters) or "none listed"
        raise Refused("meter", [f"no meter is called '{one_line(meter)}'"], f"This run knows: {known}")
    simulated = is_simulated(identity) or (entry is not None and is_simulated(entry.idn))
    if simulated and not state.simulated:
        raise Refused(
            "simulated",
            [f"'{meter}' is a meter of the simulated bench, and this run is not a rehearsal"],
            "Capture it with a real instrument; to rehearse, start a run with --rehearsal",
        )


def _free_name(journal: Path, step: str) -> str:
    """Return a file name that is not taken; `disk.write_new` refuses it if it is by then."""
    stem = f"{journal.name.removesuffix(names.JOURNAL)}.{names.safe(step)}"
    for number in range(1, MOST_FILES):
        name = f"{stem}-{number}.csv"
        if not (journal.parent / name).exists() and not (journal.parent / name).is_symlink():
            return name
    raise Refused("capture", [f"{MOST_FILES} waveforms of '{one_line(step)}'"], "Begin a new run")
