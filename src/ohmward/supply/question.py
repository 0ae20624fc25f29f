"""One question about a supply, and what a person's answer to it means.

Pure: an empty answer means the default, or 'not known'.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ohmward.errors import InputError
from ohmward.quantity import QuantityError, parse, show_exact
from ohmward.supply.schema import Key
from ohmward.supply.sheet import read_value

Place = tuple[str | int, ...]

MOST_LISTED = 4
"""Most choices that are listed one by one."""
ASKS = "?"
"""What a person types to be told what is asked for."""
NOT_KNOWN = "-"
"""What a person types where an empty answer would mean what is usual, and nothing is known."""
AS_BEFORE = "="
"""What a person types for what was said of the rail before; an empty answer never means that."""
NOTHING = "not known"
"""What an empty answer means where nothing is usual."""
YES, NO = "yes", "no"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing to ask."""

    key: str
    """Where its answer goes, such as ``rail.1.nominal``."""
    prompt: str
    section: str
    """What it is about: ``supply``, ``mains``, ``transformer 1``, ``rail 2``."""
    unit: str = ""
    """Unit of a value; a bare number is in it."""
    default: str = ""
    """What an empty answer means; with none, 'not known'."""
    before: str = ""
    """What was said of the rail before, taken by `AS_BEFORE` alone."""
    required: bool = False
    choices: tuple[str, ...] = ()
    example: str = ""
    """As it is typed here: a list without the marks that it has in a file."""
    why: str = ""
    among: tuple[str, ...] = ()
    """What an answer may name, one or several with commas between; empty for anything."""
    taken: tuple[str, ...] = ()
    """Names that others of its kind have."""
    spec: Key | None = None
    """The key of the sheet that it fills; None where it only steers what is asked next."""
    place: Place = ()
    """Where that key stands in the sheet."""


def meant(question: Question, text: str) -> str:
    """Return an answer written out that it can only mean.

    'y' is yes, 'toroidal' a toroid, 'A' the secondary T1.A where no other is called so, '=' what was said
    of the rail before.
    """
    said = text.strip()
    low = said.lower()
    if said == AS_BEFORE and question.before:
        return question.before
    if question.among and low:
        return ", ".join(_the_one(question.among, each.strip()) for each in said.split(","))
    if not low or said in question.choices:
        return said
    whole = [each for each in question.choices if len(each) > 2 and low.startswith(each.lower())]
    begun = [each for each in question.choices if each.lower().startswith(low)]
    exact = [each for each in begun if each.lower() == low]
    for found in (exact, begun, whole):
        if len(found) == 1:
            return found[0]
    return said


def _the_one(names: tuple[str, ...], said: str) -> str:
    """Return the one name meant by its last part, or in other capitals; else what was said."""
    if said in names:
        return said
    low = said.lower()
    for alike in (
        [name for name in names if name.rpartition(".")[2] == said],
        [name for name in names if low in {name.lower(), name.lower().rpartition(".")[2]}],
    ):
        if len(alike) == 1:
            return alike[0]
    return said


def said_of(question: Question, text: str) -> str:
    """Return an answer, or what an empty one means; empty for 'not known'."""
    said = text.strip() or question.default
    return "" if said == NOT_KNOWN and not question.required else said


def understood(question: Question, text: str) -> str:
    """Return what an answer that will do is taken for, with its unit: '15 V' of 15; 'not known' of none."""
    said = said_of(question, text)
    if not said or question.spec is None or question.spec.form != "value":
        return said or NOTHING
    return str(read_answer(question, said))


def check(question: Question, text: str) -> str | None:
    """Return why an answer will not do, with the mend; None when it will."""
    said = said_of(question, text)
    if not said:
        return f"This is needed. Such as {question.example}" if question.required else None
    if asks(said):
        return help_words(question)
    if question.choices and said not in question.choices:
        return f"Write {_one_of(question.choices)}"
    if question.spec is None:
        return None
    try:
        read_answer(question, said)
    except InputError as error:
        return "; ".join(f"{mistake.why}. {mistake.mend}" for mistake in error.mistakes)
    return _no_name(question, said)


def asks(text: str) -> bool:
    """Return whether a person asks for help; what begins with the mark is never taken for an answer."""
    return text.strip().startswith(ASKS)


def _one_of(choices: tuple[str, ...]) -> str:
    if len(choices) > MOST_LISTED:
        return f"a whole number from {choices[0]} to {choices[-1]}"
    return f"one of {', '.join(choices)}"


def offered(question: Question) -> str:
    """Return what there is to choose from, in words; empty where anything may be said."""
    if question.choices:
        many = len(question.choices) > MOST_LISTED
        return f"{question.choices[0]} to {question.choices[-1]}" if many else ", ".join(question.choices)
    known = question.spec.known if question.spec is not None else ()
    return f"{', '.join(known)}, or the path of a file of your own" if known else ""


def as_before(question: Question) -> str:
    """Return how to say again what was said of the rail before; empty where nothing was."""
    return f"{AS_BEFORE}: {question.before}, as the rail before" if question.before else ""


def help_words(question: Question) -> str:
    """Return what may be answered besides the question itself, and what an empty answer would mean."""
    says = question.spec.says if question.spec is not None else ""
    example = f"such as {question.example}" if question.example else ""
    empty = question.default or ("not enough, it is needed" if question.required else f"'{NOTHING}'")
    parts = (
        "" if offered(question) else says,
        "" if question.why in says else question.why,
        f"one of {offered(question)}" if offered(question) else example,
        f"Enter alone: {empty}",
        as_before(question),
        f"{NOT_KNOWN}: not known"
        if question.default and not (question.required or offered(question))
        else "",
    )
    return "; ".join(part for part in parts if part)


def _no_list(question: Question, names: list[str]) -> str:
    """Return why several names will not do; empty where they will."""
    if not all(names):
        return f"{_empty_place(names)} is empty. Write them with commas between, such as {question.example}"
    strange = [each for each in names if question.among and each not in question.among]
    return f"There is no {strange[0]}. There are: {', '.join(question.among)}" if strange else ""


def _empty_place(names: list[str]) -> str:
    """Return which name of a list is empty, in words."""
    place = names.index("") + 1
    if place == len(names):
        return "The last name of the list"
    return "The first name of the list" if place == 1 else f"Name {place} of the list"


def _no_name(question: Question, said: str) -> str | None:
    """Return why a text cannot be meant; None when it can. Asked of a person only: a file may say more."""
    if said in question.taken:
        return f"There is a {said} already. Give it a name of its own"
    form = question.spec.form if question.spec is not None else ""
    names = [each.strip() for each in said.split(",")]
    if form in ("texts", "sources") and (wrong := _no_list(question, names)):
        return wrong
    nameless = {"text": [said], "texts": names}.get(form, [])
    if not all(any(char.isalnum() for char in each) for each in nameless):
        return f"There is no letter and no digit in it. Such as {question.example or 'A-123'}"
    known = question.spec.known if question.spec is not None else ()
    if known and said not in known and not said.endswith(".toml"):
        return f"There is no {said} here. There are: {', '.join(known)}; or a file, whose name ends in .toml"
    if question.key == "tag" and said.startswith("-"):
        return "A tag that begins with - cannot be named on the command line. Such as CR-07"
    return None


def read_answer(question: Question, text: str) -> Any:
    """Return what stands in the sheet for an answer, checked as the sheet's own key is."""
    key = question.spec
    assert key is not None
    said: Any = text
    if key.form == "value":
        try:
            value = parse(text, key.unit)
        except QuantityError:
            said = text  # refused below, with the sheet's own words
        else:
            said = text if value.number is None or value.kind != "exact" else show_exact(value.si, key.unit)
    elif key.form == "flag":
        said = text == YES
    elif key.form in ("texts", "sources"):
        said = [name.strip() for name in text.split(",") if name.strip()]
    read_value(key, said, "answers", question.key)
    return said
