"""A reason is words, and an amendment amends: the report prints both."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.errors import Refused
from ohmward.run import assess_state
from ohmward.run.reasons import no_reason
from support.walked import begun, walked

OUTPUT = ("output-no-load", "24")


@pytest.mark.parametrize(
    "words", ["16.9", "=", "x", "16.9 V", "-12", ">200M", "5 mA", "22 °C", "?!", "1e-3", "…"]
)
def test_a_number_a_sign_or_a_letter_is_no_reason(words: str) -> None:
    assert "no reason" in no_reason(words)


@pytest.mark.parametrize(
    "words", ["slip", "no lead", "no", "R12 was open", "3 screws loose", "115 V tap", ""]
)
def test_words_are(words: str) -> None:
    assert no_reason(words) == ""


@given(st.floats(allow_nan=False, allow_infinity=False).map(str))
def test_no_plain_number_passes(words: str) -> None:
    assert no_reason(words)


def test_an_amendment_without_a_change_is_refused_and_its_reason_is_quoted(tmp_path: Path) -> None:
    with walked(begun(tmp_path), lambda item: item.key == OUTPUT) as live:
        live.read(*OUTPUT, "29.5")
        seq = live.state.entries[OUTPUT].seq
        for same in ("29.5", "29.5 V"):
            with pytest.raises(Refused, match="says the same"):
                live.amend_reading(seq, same, "the wrong post")
        with pytest.raises(Refused, match=r"'16\.9' is no reason"):
            live.amend_reading(seq, "29.7", "16.9")
        live.amend_reading(seq, "29.7", "the wrong post")
        with pytest.raises(Refused, match="says the same"):  # as it stands, not as it was first
            live.amend_reading(seq, "29.7", "the wrong post")
        live.amend_reading(seq, "29.5", "it was right after all")
        told = [row.text for row in assess_state(live.state).history if row.step == OUTPUT[0]]
        assert any("amended, reason: “the wrong post”" in text for text in told)
        before = len(live.journal.records)
        with pytest.raises(Refused, match="'=' is no reason"):
            live.skip(*OUTPUT, "=")
        key = next(
            key for key, each in live.state.entries.items() if getattr(each.event, "answer", "") == "pass"
        )
        check = live.state.entries[key]
        with pytest.raises(Refused, match="says the same"):
            live.amend_answer(check.seq, "pass", "to be sure")
        assert len(live.journal.records) == before
