"""Ripple as an AC voltmeter shows it: refused with what it comes to, never turned unseen.

RMS of a sawtooth of peak to peak P about its mean is P / (2 sqrt 3): integral of a straight line.
"""

from __future__ import annotations

import msgspec
import pytest

from ohmward.procedure.model import Read
from ohmward.quantity import QuantityError
from ohmward.run.entering import parse_for

RIPPLE = msgspec.convert({"quantity": "output_ripple_pp_v", "unit": "V"}, Read)
OUTPUT = msgspec.convert({"quantity": "output_v", "unit": "V"}, Read)


def test_rms_typed_for_peak_to_peak_is_refused_with_what_it_comes_to() -> None:
    with pytest.raises(QuantityError) as refused:
        parse_for(RIPPLE, "340 mVrms")
    (mistake,) = refused.value.mistakes
    assert "peak to peak" in mistake.why
    assert "1.178 V" in mistake.mend
    for text in ("340 mV RMS", "0.34V rms"):
        with pytest.raises(QuantityError, match=r"1\.178 V"):
            parse_for(RIPPLE, text)


def test_everything_else_is_as_ever() -> None:
    assert parse_for(RIPPLE, "340 mV").si == pytest.approx(0.34)
    with pytest.raises(QuantityError, match="not known behind"):
        parse_for(OUTPUT, "340 mVrms")
    with pytest.raises(QuantityError, match="no number"):
        parse_for(RIPPLE, "many rms")
