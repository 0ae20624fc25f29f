"""The glossary: every word explained once, found by its name or its text, and met in a step's text."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.desk.glossary import found, glossary, lines, met_in

NEEDED = (
    "bleeder", "dropout", "earth continuity", "ESR", "guard band", "headroom", "insulation resistance",
    "knee", "lead null", "load regulation", "output resistance", "protection class I", "reservoir",
    "residual voltage", "ripple", "soak", "valley",
    # the words of the design that screens and papers use
    "amendment", "baseline", "calibration", "conditional pass", "design sheet", "expected value",
    "fault likely", "finding", "pass with conditions",
    "journal", "limit set", "logbook", "not stated", "override", "profile", "rail", "rehearsal", "retest",
    "severity", "simulated bench", "sweep", "target", "trend", "verdict", "waveform",
)  # fmt: skip


def test_every_word_that_the_screens_lean_on_is_explained_once_in_a_sentence_or_two() -> None:
    words = [word.word for word in glossary()]
    assert set(NEEDED) <= set(words)
    assert len(words) == len(set(words))
    assert words == sorted(words, key=str.casefold)
    for word in glossary():
        assert word.text.endswith(".")
        assert 1 <= word.text.count(". ") + 1 <= 3
        assert len(word.text) < 260


@pytest.mark.parametrize("word", NEEDED)
def test_a_word_is_found_by_its_name_first(word: str) -> None:
    assert word in [each.word for each in found(word)][:3]


def test_a_word_is_found_by_what_it_means_and_nothing_is_found_by_nonsense() -> None:
    assert "bleeder" in [word.word for word in found("empties it")]
    assert found("xyzzy") == ()
    assert found("  ") == glossary()


@given(st.text(max_size=12))
def test_what_is_found_is_never_found_twice_and_holds_what_was_asked(query: str) -> None:
    hits = found(query)
    assert len(hits) == len(set(hits))
    for part in query.casefold().split():
        assert all(part in " ".join((hit.word, *hit.also, hit.text)).casefold() for hit in hits)


def test_words_are_met_whole_in_any_case_and_not_inside_others() -> None:
    met = [word.word for word in met_in(["Measure the RESIDUAL VOLTAGE of each reservoir.", "A knee?"])]
    assert met == ["knee", "reservoir", "residual voltage"]
    assert met_in(["derailed, soaking, kneeling"]) == ()
    assert lines(met_in(["a knee"]))[0].startswith("knee: ")
