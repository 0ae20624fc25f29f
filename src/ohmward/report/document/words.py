"""The words of every document, from one TOML file a language; dates and numbers as a reader writes them.

A language is a file in ``words/`` or one that a person names. It may leave out what it does not
translate: English stands in. What was recorded (step titles, notes, bases, findings) is evidence and is
printed as it was recorded, in whatever language that is.
"""

from __future__ import annotations

import re
import string
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from ohmward.errors import InputError, Mistake
from ohmward.report.document.blocks import Paper
from ohmward.textfile import read_text

_FOLDER = Path(__file__).resolve().parent / "words"
_DECIMAL = re.compile(r"(?<=\d)\.(?=\d)")
_LOCALE = re.compile(r"([A-Za-z]{2,3})(?:[_-]([A-Za-z]{2}))?(?:[.@].*)?")
ENGLISH = "en"


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """How a reader writes dates and numbers."""

    decimal: str = "."
    date: str = "{day} {month} {year}"
    """With day, month (by name), month_number, year."""
    time: str = "{date}, {hour}:{minute} (UTC{offset})"
    months: tuple[str, ...] = ()
    paper: Paper = "a4"
    direction: str = "ltr"


@dataclass(frozen=True, slots=True)
class Words:
    """Messages of one language in the style of one region."""

    language: str
    messages: Mapping[str, str]
    style: Style = field(default_factory=Style)

    def __call__(self, key: str, /, **fields: object) -> str:
        """Return a message with its fields filled in; KeyError for a key that English does not have."""
        return self.messages[key].format_map(fields) if fields else self.messages[key]

    def number(self, text: str) -> str:
        """Return a computed value with the reader's decimal sign."""
        return text if self.style.decimal == "." else _DECIMAL.sub(self.style.decimal, text)

    def day(self, iso: str) -> str:
        """Return the day of an ISO 8601 moment or date."""
        if not iso:
            return self("plain.not_stated")
        when = datetime.fromisoformat(iso)
        return self.style.date.format(
            day=when.day, month=self.style.months[when.month - 1], month_number=when.month, year=when.year
        )

    def moment(self, iso: str) -> str:
        """Return an ISO 8601 moment with the offset in which the person worked."""
        if not iso:
            return self("plain.not_stated")
        when = datetime.fromisoformat(iso)
        offset = iso[19:].lstrip("0123456789.") or "?"
        return self.style.time.format(
            date=self.day(iso), hour=f"{when.hour:02d}", minute=f"{when.minute:02d}", offset=offset
        )


def shipped() -> tuple[str, ...]:
    """Return the languages that are shipped."""
    return tuple(sorted(path.stem for path in _FOLDER.glob("*.toml")))


def load_words(locale: str = ENGLISH) -> Words:
    """Return the words of a locale (``en_GB``), a language (``en``) or a file (``my-words.toml``).

    Raises
    ------
    InputError
        When the language is not shipped, or a file has mistakes: all of them at once.
    Unreachable
        When a file cannot be read.
    """
    own = _read(_FOLDER / f"{ENGLISH}.toml")
    english, base = _flat(own), own["style"]
    if locale.endswith(".toml"):
        return _merged(
            english, base, _read(Path(locale)), language=Path(locale).stem, region="", where=locale
        )
    matched = _LOCALE.fullmatch(locale)
    language = matched[1].lower() if matched else locale
    region = (matched[2] or "").upper() if matched else ""
    if language not in shipped():
        raise InputError(
            [
                Mistake(
                    where="command line",
                    field="--locale",
                    value=locale,
                    why="no such language is shipped",
                    mend=f"Shipped: {', '.join(shipped())}; or name a file of words (.toml)",
                )
            ]
        )
    path = _FOLDER / f"{language}.toml"
    return _merged(english, base, _read(path), language=language, region=region, where=path.name)


def locale_of(environment: Mapping[str, str]) -> str:
    """Return the locale of the person's environment where its language is shipped, else English."""
    for name in ("LC_ALL", "LC_TIME", "LANG"):
        matched = _LOCALE.fullmatch(environment.get(name, ""))
        if matched:
            language = matched[1].lower() if matched[1].lower() in shipped() else ENGLISH
            return f"{language}_{matched[2]}" if matched[2] else language
    return ENGLISH


def _read(path: Path) -> dict[str, Any]:
    text = read_text(path)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            [Mistake(where=str(path), field="", value="", why=f"not TOML: {error}", mend="Mend that line")]
        ) from error


def _flat(data: Mapping[str, Any]) -> dict[str, str]:
    """Messages by 'section.name'; the tables of style are apart."""
    return {
        f"{section}.{name}": message
        for section, messages in data.items()
        if section not in {"style", "region"} and isinstance(messages, dict)
        for name, message in messages.items()
    }


def _merged(
    english: dict[str, str],
    base: dict[str, Any],
    data: dict[str, Any],
    *,
    language: str,
    region: str,
    where: str,
) -> Words:
    theirs = _flat(data)
    mistakes = [
        mistake
        for key, message in theirs.items()
        if (mistake := _mistake(english, key, message, where)) is not None
    ]
    regions = data.get("region", {})
    style = {
        **base,
        **data.get("style", {}),
        **(regions.get(region, {}) if isinstance(regions, dict) else {}),
    }
    mistakes += _style_mistakes(style, where)
    code = str(data.get("language", language))
    if not re.fullmatch(r"[a-z]{2,3}", code):
        why, mend = "not a code of two or three small letters", 'Say language = "de" in the file'
        mistakes.append(Mistake(where=where, field="language", value=code, why=why, mend=mend))
    if mistakes:
        raise InputError(mistakes)
    return Words(
        code,
        {**english, **theirs},
        Style(**{**style, "months": tuple(style["months"])}),
    )


def _mistake(english: dict[str, str], key: str, message: object, where: str) -> Mistake | None:
    def wrong(why: str, mend: str) -> Mistake:
        return Mistake(where=where, field=key, value=str(message)[:60], why=why, mend=mend)

    if key not in english:
        near = get_close_matches(key, english, n=1)
        return wrong("no such message", f"Did you mean {near[0]}?" if near else "Take it out")
    if not isinstance(message, str) or not message.strip():
        return wrong("not a text", "Write the words in quotes, or take it out: English stands in")
    try:
        found, known = _fields(message), _fields(english[key])
    except ValueError:
        return wrong("a brace without its partner", "Write {name}, or double a brace that is meant")
    if found - known:
        choices = ", ".join(f"{{{name}}}" for name in sorted(known)) or "none"
        return wrong(f"unknown field {{{sorted(found - known)[0]}}}", f"Fields of this message: {choices}")
    return None


def _style_mistakes(style: dict[str, Any], where: str) -> list[Mistake]:
    known = Style.__dataclass_fields__
    allowed: dict[str, set[str]] = {
        "date": {"day", "month", "month_number", "year"},
        "time": {"date", "hour", "minute", "offset"},
    }
    mistakes = []
    for name, value in style.items():
        why = ""
        if name not in known:
            why = "no such setting of style"
        elif name == "months":
            why = "" if isinstance(value, list) and len(value) == 12 else "not a list of twelve months"
        elif not isinstance(value, str):
            why = "not a text"
        elif name in allowed and not _fields(value) <= allowed[name]:
            why = f"fields are {', '.join(sorted(allowed[name]))}"
        elif name == "paper" and value not in {"a4", "letter"}:
            why = "neither a4 nor letter"
        elif name == "direction" and value not in {"ltr", "rtl"}:
            why = "neither ltr nor rtl"
        if why:
            mistakes.append(
                Mistake(where=where, field=f"style.{name}", value=str(value)[:60], why=why, mend="Mend it")
            )
    return mistakes


def _fields(message: str) -> set[str]:
    """Names of the fields; a field with an attribute or an index counts as an unknown name."""
    return {name for _, name, _, _ in string.Formatter().parse(message) if name is not None}
