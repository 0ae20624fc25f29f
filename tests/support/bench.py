"""A small supply and procedure to drive the gates with, and records without a file."""

from __future__ import annotations

from decimal import Decimal

from ohmward.logbook.events import Answered, Event, Judged, Opened, Reading, Record
from ohmward.quantity import Value
from ohmward.run.state import RunState, state

SHEET = """
tag = "CR-07"
title = "Mixing-console supply (simulated example)"
protection_class = "I"
parts = ["case", "front panel"]

[mains]
voltage = "230 V"
frequency = "50 Hz"
cord = { length = "2 m", area = "0.75 mm²" }

[[rail]]
name = "+15"
nominal = "15 V"
rated_current = "1.2 A"
"""

PROCEDURE = """
format = 1
name = "short"
title = "Short procedure for tests"

[[stage]]
name = "visual"
title = "Visual inspection"
energised = false
[[stage.step]]
id = "plug"
kind = "check"
title = "Plug sound"
severity = "danger"
[[stage.step]]
id = "label"
kind = "check"
title = "Label legible"
severity = "improvement"
[[stage.step]]
id = "vents"
kind = "check"
title = "Vents clear"
severity = "fault"

[[stage]]
name = "earth"
title = "Earth continuity"
energised = false
[[stage.step]]
id = "lead-null"
kind = "reading"
title = "Lead null"
severity = "fault"
quantity = "resistance"
unit = "Ω"
plausible = ["0 Ω", "2 Ω"]
limit = "lead_null"
[[stage.step]]
id = "earth"
kind = "reading"
title = "Earth continuity"
each = "part"
enclosure = "shut"
stale = "opening"
proves_earth = true
severity = "danger"
quantity = "resistance"
unit = "Ω"
plausible = ["0 Ω", "5 Ω"]
limit = "earth_continuity"
subtract = "lead-null"

[[stage]]
name = "insulation"
title = "Insulation"
energised = false
[[stage.step]]
id = "insulation"
kind = "reading"
title = "Insulation"
enclosure = "shut"
stale = "opening"
severity = "danger"
quantity = "resistance"
unit = "Ω"
plausible = ["1 MΩ", "1000 GΩ"]
limit = "insulation"
meter = "insulation"

[[stage]]
name = "no-load"
title = "No-load voltages"
energised = true
cautions = ["Mains is live inside the case"]
[[stage.step]]
id = "lamp"
kind = "check"
title = "Lamp goes dark"
severity = "danger"
[[stage.step]]
id = "mains"
kind = "reading"
title = "Mains voltage"
quantity = "mains_v"
unit = "V"
condition = "mains_v"
[[stage.step]]
id = "output"
kind = "reading"
title = "Output, no load"
each = "rail"
quantity = "output_v"
unit = "V"
plausible = ["0 V", "60 V"]

[[stage]]
name = "loaded"
title = "Loaded regulation"
energised = true
cautions = ["Loads get hot"]
[[stage.step]]
id = "load-points"
kind = "sweep"
title = "Load points"
each = "rail"
load = ["0 %", "50 %", "100 %"]
reads = [{ name = "output", quantity = "output_v", unit = "V" }]

[[stage]]
name = "make-safe"
title = "Make safe"
energised = false
role = "make-safe"
[[stage.step]]
id = "unplugged"
kind = "check"
title = "Unplugged, plug in sight"
severity = "danger"
stale = "energising"
[[stage.step]]
id = "residual"
kind = "reading"
title = "Residual voltage"
each = "rail"
severity = "danger"
stale = "energising"
quantity = "residual_v"
unit = "V"
limit = "residual_voltage"
"""

_CHARGE = """[[stage.step]]
id = "charge-left"
kind = "reading"
title = "Charge left"
each = "rail"
severity = "danger"
stale = "opening"
quantity = "residual_v"
unit = "V"
limit = "residual_voltage"
[[stage.step]]
id = "inside"
kind = "check"
title = "Nothing loose inside"
severity = "danger"
enclosure = "open"
[[stage.step]]
id = "label\""""
CHARGE_FIRST = PROCEDURE.replace('[[stage.step]]\nid = "label"', _CHARGE, 1)
"""The same with a look inside, which waits for the charge left."""


def limits_text() -> str:
    from ohmward.procedure import source_text_limits

    return source_text_limits("iec")


def opened(procedure: str = PROCEDURE, sheet: str = SHEET) -> Opened:
    return Opened(
        run="CR-07/test",
        tag="CR-07",
        operator="bench A",
        simulated=True,
        tool="ohmward test",
        sheet=sheet,
        procedure=procedure,
        limits=limits_text(),
    )


def record(seq: int, event: Event) -> Record:
    return Record(
        seq=seq,
        at=f"2026-03-01T10:00:{seq % 60:02d}+01:00",
        elapsed_s=float(seq),
        event=event,
        prev="0" * 64,
        digest="0" * 64,
    )


def folded(*events: Event) -> RunState:
    return state(record(seq, event) for seq, event in enumerate(events))


def passed(step: str, subject: str = "", note: str = "") -> Answered:
    return Answered(step=step, subject=subject, answer="pass", note=note)


def failed(step: str, subject: str = "", note: str = "") -> Answered:
    return Answered(step=step, subject=subject, answer="fail", note=note)


def reading(
    step: str, subject: str = "", number: str = "1", *, verdict: str = "pass", stop: bool = False
) -> Reading:
    value = Value(raw=number, number=Decimal(number), unit="V", resolution=Decimal(1))
    judged = Judged(verdict=verdict, net=float(number), past_stop=stop)  # type: ignore[arg-type]
    return Reading(step=step, subject=subject, value=value, judged=judged)
