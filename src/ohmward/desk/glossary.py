"""The trade words of the screens, explained: a table in the package, searched and met in texts."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from ohmward.textfile import read_text

FILE = Path(__file__).resolve().parent / "glossary.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """A word of the trade."""

    word: str
    text: str
    also: tuple[str, ...] = ()
    """Other forms of it, as they stand in texts."""


@cache
def glossary() -> tuple[Word, ...]:
    """Return every word, in the order of the alphabet."""
    rows = tomllib.loads(read_text(FILE))["word"]
    words = (Word(word=row["word"], text=row["text"], also=tuple(row.get("also", ()))) for row in rows)
    return tuple(sorted(words, key=lambda word: word.word.casefold()))


def found(query: str) -> tuple[Word, ...]:
    """Return the words that have every part of `query`: those so called first."""
    parts = query.casefold().split()

    def has(text: str) -> bool:
        return all(part in text.casefold() for part in parts)

    named = [word for word in glossary() if has(" ".join((word.word, *word.also)))]
    told = [word for word in glossary() if word not in named and has(f"{word.word} {word.text}")]
    return (*named, *told)


def met_in(texts: Iterable[str]) -> tuple[Word, ...]:
    """Return the words that stand in `texts`, whole and in any case, in the order of the alphabet."""
    text = "\n".join(texts).casefold()
    return tuple(word for word in glossary() if _pattern(word).search(text))


def lines(words: Sequence[Word]) -> list[str]:
    """Return words with what they mean, a line each."""
    return [f"{word.word}: {word.text}" for word in words]


@cache
def _pattern(word: Word) -> re.Pattern[str]:
    forms = "|".join(re.escape(form.casefold()) for form in (word.word, *word.also))
    return re.compile(rf"(?<!\w)(?:{forms})(?!\w)")
