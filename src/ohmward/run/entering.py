"""A typed value as the reading that it is typed for."""

from __future__ import annotations

import re
from math import sqrt

from ohmward.procedure.model import Read
from ohmward.quantity import QuantityError, Value, parse, show

SAWTOOTH = 2.0 * sqrt(3.0)
"""Peak to peak over RMS of a sawtooth without its mean: what capacitor ripple nearly is."""


def parse_for(read: Read, text: str) -> Value:
    """Return what is typed for a reading; raises QuantityError where it is none.

    A ripple in RMS, as an AC voltmeter shows it, is not turned into peak to peak unseen: the refusal says
    what it comes to as a sawtooth.
    """
    try:
        return parse(text, read.unit)
    except QuantityError:
        rms = re.fullmatch(r"(.*\S)\s*rms", text.strip(), re.IGNORECASE)
        if rms is None or not read.quantity.endswith("ripple_pp_v"):
            raise
    value = parse(rms[1], read.unit)  # what is wrong besides is said as ever
    if value.number is None:
        raise QuantityError(text, "RMS, and this reading is peak to peak", "Enter the peak to peak value")
    raise QuantityError(
        text, "RMS, and this reading is peak to peak",
        f"As a sawtooth, 3.46 times the RMS, it is {show(SAWTOOTH * value.si, read.unit)}: "
        "enter that, and note 'from RMS'",
    )  # fmt: skip
