"""What is to be done: a procedure as immutable data, and the flat list of entries it asks for.

A procedure is stages of steps. `expand` turns it, for one supply and its accessible parts, into
items: each is one answer or one reading, addressed by (step, subject). Everything above this layer
(run, answers file, terminal UI, assessment) speaks of items.
"""

from __future__ import annotations

from typing import Literal

import msgspec

Kind = Literal["check", "reading", "sweep", "soak", "capture"]
Severity = Literal["danger", "fault", "improvement"]
Each = Literal["", "rail", "regulated-rail", "transformer", "secondary", "part"]
Enclosure = Literal["any", "open", "shut"]
Stale = Literal["never", "repair", "opening", "energising"]
ROOM = "room air"
"""Sensor of a soak whose readings are the temperature of the room."""
WAITED_FROM = ("begun", "energised", "switched-off")
"""The person says that it is begun; mains came on; mains went off."""
Drive = Literal["", "overload"]
Role = Literal["", "make-safe"]
Aim = Literal["", "mains-low", "mains-high"]


class _Part(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    pass


class Limit(msgspec.Struct, frozen=True, kw_only=True):
    """A limit resolved for one reading, in the reading's unit; at least one side is given."""

    low: float | None = None
    high: float | None = None
    basis: str
    """Standard, edition and clause, or 'design sheet: …'."""
    obtained: str = ""
    """How the figure was obtained: found, second hand, from memory, computed."""
    advice: str = ""
    test_current_a: float | None = None
    """Resistance: the least current that the basis asks it to be measured with [A]; None for any."""


class TestCurrent(_Part, frozen=True, kw_only=True):
    """The least current to measure a resistance with: so many times the mains fuse, up to a most."""

    __test__ = False  # no test, whatever its name says

    times_fuse: float
    at_most_a: float

    def least_a(self, fuse_a: float | None) -> float:
        """Return it for a mains fuse of a rating [A]; the most where the sheet names no fuse."""
        return self.at_most_a if fuse_a is None else min(self.times_fuse * fuse_a, self.at_most_a)


class Read(_Part, frozen=True, kw_only=True):
    """One quantity read at a step. A plain reading step has one; a sweep or soak point may have more."""

    name: str = ""
    """Suffix of the step address (``load-points.output``); empty in a plain reading step."""
    quantity: str
    """What is read, such as ``resistance``, ``output_v``, ``mains_v``, ``temperature_c``."""
    unit: str
    """Canonical unit of `quantity.parse`: V, A, Ω, °C, W, Hz, s …"""
    plausible_low: float | None = None
    plausible_high: float | None = None
    """Range [unit] outside which the person is asked before the entry is taken."""
    limit: str = ""
    """Named limit, resolved from limit set or sheet; empty for none."""
    stop: str = ""
    """Named limit that halts an energised stage when passed."""
    limit_literal: Limit | None = None
    """The limit itself, where the procedure gives it in place of a name."""
    stop_literal: Limit | None = None
    """The stop limit itself, where the procedure gives it in place of a name."""
    expect: str = ""
    """Key of `physics.Expectation.band`; empty for none."""
    subtract: str = ""
    """Step whose reading is subtracted first (the lead null)."""
    required: bool = True
    meter: str = ""
    """Kind of meter proposed: multimeter, low-ohm, insulation, oscilloscope, thermometer, power."""
    test_voltage_v: float | None = None
    """Insulation: what it is tested at [V]; None for what the limit set says."""
    test_current: TestCurrent | None = None
    """Resistance: the least current it is to be measured with; None where any will do."""
    condition: Literal["", "mains_v", "ambient_c"] = ""
    """Set where the reading is a condition of the moment that expectations are computed at."""
    aim: Aim = ""
    """The end of the sheet's mains band that the step has mains brought to; empty where it is as it is."""


class Step(_Part, frozen=True, kw_only=True):
    """One step as written in the procedure file."""

    id: str
    kind: Kind
    title: str
    group: str = ""
    do: str = ""
    """What to do or to look for."""
    why: str = ""
    method: str = ""
    caution: str = ""
    severity: Severity = "fault"
    each: Each = ""
    several_rails: bool = False
    """Asked for only where there are several rails: of one alone it would be what was read before."""
    fixed_cord: bool = False
    """Asked for only where the sheet gives no cord that unplugs from the supply."""
    required: bool = True
    enclosure: Enclosure = "any"
    stale: Stale = "repair"
    """After which event an earlier result no longer counts."""
    left_out_with: str = ""
    """Id of an earlier step: where that is left out, this goes with it; empty where it stands alone."""
    always: bool = False
    """Applies to every supply: it cannot be set aside as not applicable."""
    proves_earth: bool = False
    """Its passing is part of the proof of the protective earth."""
    reads: tuple[Read, ...] = ()
    """Empty for a check, and for a capture that asks for a waveform and no number beside it."""
    load_fractions: tuple[float, ...] = ()
    """Sweep or capture: load points as fractions of rated current; one (with `together`) or more."""
    together: bool = False
    """Every rail at its rated current at once."""
    times_s: tuple[float, ...] = ()
    """Soak: elapsed times at which it is read."""
    further_times_s: tuple[float, ...] = ()
    """Soak: later times, each asked for only where the rise has not stopped by then."""
    wait_from: str = ""
    """What it is waited from, one of `WAITED_FROM` or the id of an earlier check; empty where it is not."""
    wait_s: float | None = None
    """So long [s]; from switching off, None is the computed discharge."""
    settles: str = ""
    """Check: id of the soak whose rise over the room it says has stopped; empty for any other."""
    held_reading: str = ""
    """Check: id of the held reading that it speaks of; where that was held too short, it passes in words."""
    drive: Drive = ""
    """Check: what the tool can drive for it, over a load under its control."""
    sensors: tuple[str, ...] = ()
    """Soak: what is watched besides `each` (``room air``, ``transformer``)."""


class Stage(_Part, frozen=True, kw_only=True):
    """A stage of a procedure: dead or energised as a whole."""

    name: str
    title: str
    energised: bool
    steps: tuple[Step, ...]
    role: Role = ""
    purpose: str = ""
    cautions: tuple[str, ...] = ()


class Procedure(_Part, frozen=True, kw_only=True):
    """A whole procedure (format 1)."""

    format: int = 1
    name: str
    title: str
    purpose: str = ""
    stages: tuple[Stage, ...]


class Item(msgspec.Struct, frozen=True, kw_only=True):
    """One entry the procedure asks for: an answer to a check, or one reading."""

    stage: str
    step: str
    """Address: the step's id, with ``.name`` of the read in a sweep or soak."""
    subject: str = ""
    """What it is about: ``+15``, ``T1.a``, ``front panel``, ``+15 @ 50 %``, ``heat sink +15 @ 10 min``."""
    kind: Kind
    spec: Step
    read: Read | None = None
    """None for a check and for a waveform."""
    energised: bool
    role: Role = ""
    rail: str = ""
    about: str = ""
    """Name that expectations are looked up by: rail, secondary or transformer."""
    load_a: float | None = None
    together: bool = False
    elapsed_s: float | None = None
    limit: Limit | None = None
    stop: Limit | None = None

    @property
    def key(self) -> tuple[str, str]:
        """Address of the entry: (step, subject)."""
        return (self.step, self.subject)

    @property
    def is_waveform(self) -> bool:
        """Whether it is a waveform to be captured, neither answered nor typed."""
        return self.kind == "capture" and self.read is None

    @property
    def is_further(self) -> bool:
        """Whether it is read in a soak at a time that is asked for only while the rise has not stopped."""
        return self.elapsed_s is not None and self.elapsed_s in self.spec.further_times_s

    @property
    def title(self) -> str:
        """The step's title, with the name of the read where a step has several."""
        several = self.read is not None and self.read.name and len(self.spec.reads) > 1
        return f"{self.spec.title}, {self.read.name}" if several and self.read else self.spec.title

    @property
    def required(self) -> bool:
        """Whether the run has to have it."""
        return self.spec.required and (self.read is None or self.read.required) and not self.is_further
