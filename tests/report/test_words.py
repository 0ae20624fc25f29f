"""Words in one place: a second language without code, mistakes of its file named, dates and numbers."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ohmward.analysis.outcomes import FAULT_LIKELY, OUTCOME_WORDS
from ohmward.errors import InputError
from ohmward.report.document import documents
from ohmward.report.document.html import to_html
from ohmward.report.document.label import STOCK, label, parse_size
from ohmward.report.document.words import ENGLISH, load_words, locale_of
from support.reports import FAULTY, HEALTHY, source

OUTCOMES = {"fault_likely": FAULT_LIKELY}
OUTCOMES |= {
    verdict.replace(" ", "_"): word for verdict, word in OUTCOME_WORDS.items() if verdict != "not closed"
}
CODE = Path(documents.__file__).parent
MONTHS = [f"m{number}" for number in range(1, 13)]


@pytest.mark.parametrize("key", OUTCOMES)
def test_the_english_of_an_outcome_is_what_screens_and_text_call_it(key: str) -> None:
    assert load_words()(f"outcome.{key}") == OUTCOMES[key]


def made_up() -> str:
    """A whole language: every English message between marks, its fields kept."""
    english = load_words().messages
    sections: dict[str, list[str]] = {}
    for key, message in english.items():
        section, _, name = key.partition(".")
        text = message.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
        sections.setdefault(section, []).append(f'{name} = "¤{text}¤"')
    body = "\n".join(f"[{name}]\n" + "\n".join(lines) for name, lines in sections.items())
    style = f'[style]\ndecimal = ","\ndate = "{{day}}.{{month_number}}.{{year}}"\nmonths = {MONTHS}\n'
    return f'language = "qx"\n{style}paper = "letter"\n{body}\n'


def test_a_second_language_is_a_file_and_nothing_of_ours_stays_english(tmp_path: Path) -> None:
    path = tmp_path / "made-up.toml"
    path.write_text(made_up(), encoding="utf-8")
    words, run = load_words(str(path)), source(FAULTY)
    for make in (documents.full, documents.short, documents.repair):
        document = make(words, run)
        assert document.paper == "letter"
        page = to_html(document)
        assert '<html lang="qx"' in page.replace(' class="one"', "")
        assert "¤FAIL¤" in page
        for key in ("front.findings", "front.unit", "front.digest_check", "outcome.fail_sentence"):
            start = load_words().messages[key].split("{")[0]
            assert f"¤{start}" in page or make is not documents.full, key
            assert not re.search(rf"(?<!¤){re.escape(start)}", page), key
        assert "3.3.2026" in page  # the day in the style asked for
    full = to_html(documents.full(words, run))
    assert "26,455 %" in full  # a computed number with the reader's decimal sign
    assert ">3.373<" in full  # as typed: evidence, not touched
    assert label(words, run, parse_size(STOCK[0])).word == "¤FAIL¤"


def test_what_a_language_leaves_out_stands_in_english(tmp_path: Path) -> None:
    path = tmp_path / "de.toml"
    path.write_text('[outcome]\npass = "BESTANDEN"\n', encoding="utf-8")
    words = load_words(str(path))
    assert words.language == "de"
    assert words("outcome.pass") == "BESTANDEN"
    assert words("outcome.fail") == "FAIL"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[front]\nstatment = "x"\n', "Did you mean front.statement?"),
        ('[front]\nstatement = "on {day}"\n', "unknown field {day}"),
        ('[front]\nstatement = "{date.__class__}"\n', "unknown field"),
        ('[front]\nstatement = "{date"\n', "a brace without its partner"),
        ("[front]\nstatement = 3\n", "not a text"),
        ('[style]\nmonths = ["x"]\n', "not a list of twelve months"),
        ('[style]\ndate = "{week}"\n', "fields are day"),
        ('[style]\npaper = "a5"\n', "neither a4 nor letter"),
        ('[style]\ncolour = "red"\n', "no such setting"),
        ('language = "Deutsch"\n', "not a code"),
        ("[front\n", "not TOML"),
    ],
)
def test_mistakes_of_a_language_file_are_named(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "xx.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=re.escape(told)) as error:
        load_words(str(path))
    assert "xx.toml" in str(error.value)


def test_all_mistakes_of_a_file_at_once(tmp_path: Path) -> None:
    path = tmp_path / "xx.toml"
    path.write_text('[front]\nnonsense = "x"\n[style]\npaper = "a5"\n', encoding="utf-8")
    with pytest.raises(InputError) as error:
        load_words(str(path))
    assert len(error.value.mistakes) == 2


def test_an_unknown_locale_names_what_is_shipped() -> None:
    with pytest.raises(InputError, match="Shipped: en"):
        load_words("tlh")


def test_region_decides_paper_and_date() -> None:
    british, american = load_words("en_GB.UTF-8"), load_words("en_US")
    assert (british.style.paper, american.style.paper) == ("a4", "letter")
    assert british.day("2026-03-02") == "2 March 2026"
    assert american.day("2026-03-02") == "March 2, 2026"
    assert british.moment("2026-03-02T09:30:31.000+01:00") == "2 March 2026, 09:30 (UTC+01:00)"
    assert british.moment("2026-03-02T09:30:31-03:30") == "2 March 2026, 09:30 (UTC-03:30)"
    assert documents.short(american, source(HEALTHY)).paper == "letter"
    assert documents.short(american, source(HEALTHY), paper="a4").paper == "a4"


@pytest.mark.parametrize(
    ("environment", "locale"),
    [
        ({}, ENGLISH),
        ({"LANG": "C.UTF-8"}, ENGLISH),
        ({"LANG": "en_US.UTF-8"}, "en_US"),
        ({"LANG": "fr_CA.UTF-8"}, "en_CA"),  # the words are not shipped, the region's paper still holds
        ({"LANG": "en_US", "LC_ALL": "en_GB"}, "en_GB"),
    ],
)
def test_locale_of_the_environment(environment: dict[str, str], locale: str) -> None:
    assert locale_of(environment) == locale


def test_every_message_asked_for_is_there() -> None:
    english = load_words().messages
    asked = {
        key
        for path in CODE.glob("*.py")
        for key in re.findall(r"words\(\s*\"([a-z_]+\.[a-z_]+)\"", path.read_text(encoding="utf-8"))
    }
    assert len(asked) > 100
    assert asked <= set(english)


def test_no_message_is_left_over() -> None:
    code = "\n".join(path.read_text(encoding="utf-8") for path in CODE.glob("*.py"))
    by_kind = {"stage.dead", "stage.make_safe", "results.replaced"}
    # asked for by the name of what they say
    families = {"verdict", "severity", "outcome", "label", "form", "calibration", "pictures"}
    for key in load_words().messages:
        section, _, name = key.partition(".")
        assert (
            section in families
            or key in by_kind
            or f'"{key}"' in code
            or f'"{name}"' in code
            or f"{key}" in code
        ), key
