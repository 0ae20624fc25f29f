"""What range or kind of meter will do for a reading, and what will not; in help, not on the card.

Sources are named in the words: standards as in the limit sets; the rest is common practice, no source.
"""

from __future__ import annotations

from ohmward.procedure.model import Item

_LOWEST = "the lowest ohms range, showing 0.01 Ω, or tenths at the least (common practice, no source)."
_BY_LIMIT = {
    "lead_null": _LOWEST,
    "cord_core": _LOWEST,
    # second hand, as the limit sets have them; 2.7 K: 0.05 Ω in 4.7 Ω at 0.39 % a kelvin
    "earth_continuity": "any ohms range that shows 0.01 Ω, or tenths at the least, with its leads nulled, "
    "finds a broken or loose earth. It is no proof that the path carries a fault's current: a multimeter "
    "drives about 1 mA (from memory), EN 50678 asks for 200 mA or more, EN 50106 for 10 A.",
    "isolation_ohms": "the highest ohms range of a multimeter, 20 MΩ or more. It finds what is joined, "
    "and is no insulation test: a few volts pass over damp and tracking (common practice, no source).",
    "primary_resistance": "ohms to a tenth. Four wires below 20 Ω: on 4.7 Ω, 0.05 Ω is 2.7 K of copper.",
}
_BY_QUANTITY = {
    "insulation": "an insulation tester that holds its voltage at 1 mA (IEC 61557-2). The ohms range of a "
    "multimeter, at a few volts, is no insulation test: what it shows is never entered here.",
    "mains_v": "a power meter, or AC volts of true RMS; meter and leads marked for measurement category II "
    "or higher at the mains voltage (IEC 61010-2-030, from memory), tips shrouded.",
    "mains_a": "a power meter, or a clamp of true RMS: the current flows in short peaks, and a meter of "
    "averages reads low (common practice, no source).",
    "earth_a": "a leakage clamp that shows 0.01 mA; an ordinary current clamp sees nothing so small (common "
    "practice, no source).",
    "case_v": "AC and DC volts to 300 V, measurement category II or higher (IEC 61010-2-030, from memory): "
    "the case may be at mains.",
    "residual_v": "DC volts of any multimeter, auto-ranging or set above the highest expected "
    "(common practice, no source).",
    "output_ripple_pp_v": "an oscilloscope, 20 MHz limit, short earth. AC volts will do for a look, "
    "of true RMS and AC-coupled: it shows RMS, a sawtooth's peak to peak is 3.5 times that, and it is "
    "blind to spikes and above some kilohertz (common practice, no source).",
    "output_v": "DC volts with a digit left over: it has to show a tenth of what the limit allows (common "
    "practice, no source).",
    "secondary_v": "AC volts; the sine is near enough for any meter (common practice, no source).",
    "temperature_c": "a thermocouple taped down, showing 1 K. A spot thermometer needs matt tape on bare "
    "metal (common practice, no source).",
    "ambient_c": "any thermometer that shows 1 K (common practice, no source).",
    "leakage_a": "DC milliamperes, or millivolts across a known resistor in the lead (common practice, no "
    "source).",
}
_OHMS = "the ohms range of any multimeter (common practice, no source)."
_ALIKE = {"reservoir_ripple_pp_v": "output_ripple_pp_v", "reservoir_v": "output_v"}


def will_do_words(item: Item) -> str:
    """Return what meter will do for the reading of an item; empty where nothing is said of it."""
    read = item.read
    if read is None:
        return ""
    if read.test_current is not None:
        return "a bond tester; a multimeter's ohms range is none."
    quantity = _ALIKE.get(read.quantity, read.quantity)
    found = _BY_LIMIT.get(read.limit) or _BY_QUANTITY.get(quantity, "")
    return found or (_OHMS if quantity == "resistance" else "")
