"""The form of a design sheet as rows of text, and in words what is wrong, what changed, what is found."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import partial
from typing import Literal, NamedTuple

from ohmward.desk.words import SEVERITIES
from ohmward.errors import Mistake
from ohmward.supply.editing import SheetForm
from ohmward.supply.editing_fields import Field, Part, Place
from ohmward.supply.finding import Finding
from ohmward.text import one_line

HEADINGS = ("", "field", "value", "such as")
_EDITOR = "The form cannot change it: a text editor can"
_TAPPED = "Name its two halves, or say at the secondary: centre tapped, yes"
WRONG, CHANGED = "✗", "●"
"""Marks of a row: what stands there will not do; it is not what was saved."""


class FormRow(NamedTuple):
    """One row of the form: the heading of a part, a part left out, or a field."""

    place: Place
    kind: Literal["part", "absent", "field"]
    cells: tuple[str, str, str, str]


def form_rows(form: SheetForm, saved: SheetForm | None = None) -> list[FormRow]:
    """Return every row of the form; what differs from `saved` is marked."""
    wrong = {mistake.field for mistake in form.mistakes}
    before = _texts(saved) if saved is not None else None
    return [row for part in form.parts for row in _rows(part, wrong, before)]


def _rows(part: Part, wrong: set[str], before: dict[Place, str] | None) -> Iterator[FormRow]:
    title = one_line(part.title)
    mark = WRONG if part.name in wrong else ""
    if not part.there:
        yield FormRow(part.place, "absent", (mark, title, "none", "Enter adds it"))
        return
    yield FormRow(part.place, "part", (mark, title, "", ""))
    for field in part.fields:
        said = field.text or ("needed" if field.required else "–")
        if field.name in wrong:
            mark = WRONG
        elif before is not None and before.get(field.place, "") != field.text:
            mark = CHANGED
        else:
            mark = ""
        label = f"  {field.label}"
        yield FormRow(field.place, "field", (mark, label, said, _such_as(field)))


def _such_as(field: Field) -> str:
    return " | ".join(field.choices) if field.choices else field.example


def help_words(form: SheetForm, row: FormRow) -> str:
    """Return what may stand in the row under the cursor, in a sentence."""
    if row.kind == "field":
        return _field_words(form, form.field(row.place))
    part = form.part(row.place)
    title = one_line(part.title)
    if row.kind == "absent":
        return f"{title}: the sheet says there is none, or nothing is known of it. Enter adds it."
    away = " Here d takes it out, with all that stands in it." if part.optional else ""
    return f"{title}: Enter on a line below changes it.{away}"


def _field_words(form: SheetForm, field: Field) -> str:
    part = form.part(field.part)
    name = f"{one_line(part.title)}: {field.label}"
    if field.unit:
        name += f" [{field.unit}]"
    parts = [f"{name}{', needed' if field.required else ''}"]
    if field.choices:
        parts.append(f"one of {', '.join(field.choices)}")
    elif field.kind == "sources":
        there = ", ".join(one_line(each) for each in secondaries(form))
        parts.append(f"there are {there}; two for a centre-tap" if there else "add a transformer first: a")
    elif field.example:
        parts.append(f"such as {field.example}")
    if field.kind == "texts":
        parts.append("with commas between")
    if field.says:
        parts.append(field.says)
    return "; ".join(parts)


def secondaries(form: SheetForm) -> list[str]:
    """Return the secondaries that the form has, as a rail names its source: ``T1.a``."""
    named = {part.place: form.field((*part.place, "name")).text for part in form.parts if _named(part)}
    return [
        f"{named.get(place[:2], '')}.{name}"
        for place, name in named.items()
        if place[0] == "transformer" and len(place) > 2
    ]


def _named(part: Part) -> bool:
    return any(field.place[-1] == "name" for field in part.fields)


def rails_about(form: SheetForm, place: Place) -> list[str]:
    """Return the rails that a place of the form is about: a transformer's are those that it feeds."""
    supply = form.supply
    if supply is None:
        named = form.field(("rail", int(place[1]), "name")).text if place[:1] == ("rail",) else ""
        return [named] if named else []
    match place:
        case ("rail", int(number), *_) if number < len(supply.rails):
            return [supply.rails[number].name]
        case ("transformer", int(number), *_) if number < len(supply.transformers):
            name = supply.transformers[number].name
            return [r.name for r in supply.rails if any(s.startswith(f"{name}.") for s in r.sources)]
        case _:
            return [rail.name for rail in supply.rails]


def new_parts(form: SheetForm) -> list[tuple[str, Callable[[], Place]]]:
    """Return what may be added to the sheet besides: in words, and what adds it and returns its place."""
    owners = [part for part in form.parts if part.place[:1] == ("transformer",) and len(part.place) == 2]
    return [
        ("a rail", form.add_rail),
        ("a transformer", form.add_transformer),
        *(
            (f"a secondary of {one_line(part.title)}", partial(form.add_secondary, part.place))
            for part in owners
        ),
    ]


# --- what is wrong, what changed, what is found -----------------------------------------------------


def mistake_words(form: SheetForm, mistakes: Iterable[Mistake] | None = None) -> list[str]:
    """Return each mistake as a line for the form: field, value and mend."""
    named = {field.name: (part, field) for part, field in _fields(form)}
    lines = []
    for mistake in form.mistakes if mistakes is None else mistakes:
        found = named.get(mistake.field)
        words = _of_field(mistake, *found) if found is not None else _of_part(mistake, form)
        lines.append(f"{WRONG} {one_line(words)}")
    return lines


def _of_field(mistake: Mistake, part: Part, field: Field) -> str:
    if mistake.sort == "missing":
        such = f", such as {field.example}" if field.example else ""
        return f"{part.title}: {field.label} is needed{such}"
    mend = {"form": _how_to_write(field), "untapped": _TAPPED}.get(mistake.sort, mistake.mend)
    return str(replace(mistake, field=f"{part.title}: {field.label}", mend=mend))


def _how_to_write(field: Field) -> str:
    """Return how a value of a field is written in the form."""
    if field.kind == "flag":
        return f"Write {' or '.join(field.choices)}"
    if field.kind == "sources":
        return "Write one, such as T1.a, or both halves with a comma between: T1.a, T1.b"
    return f"Write it like {field.example}" if field.example else "Write it in words"


def _of_part(mistake: Mistake, form: SheetForm) -> str:
    """Return a mistake that is of no field: of a part, of parts that there are several of, of the file."""
    of = mistake.field
    part = max((each for each in form.parts if of.startswith(each.name)), key=lambda each: len(each.name))
    if part.name == of:
        if mistake.sort == "missing":
            return f"{part.title} is needed: Enter on its line adds it"
        return str(replace(mistake, field=part.title, mend=_EDITOR))
    rest = of.removeprefix(part.name).lstrip(".").replace("_", " ")
    words = f"{part.title}: {rest}" if part.name else rest
    if mistake.sort == "missing":
        return f"{words}: at least one is needed; a adds one"
    if mistake.sort == "twice":
        return str(replace(mistake, field=words))
    mend = f"{_EDITOR}. {mistake.mend}" if mistake.sort == "unknown" else _EDITOR
    return str(replace(mistake, field=words, mend=mend))


def finding_words(found: Iterable[Finding], before: Iterable[Finding] = ()) -> list[str]:
    """Return each finding as a line, the worst first; those that were not there before say so."""
    known = {(each.field, each.severity) for each in before}
    order = list(SEVERITIES)
    return [
        f"{SEVERITIES[each.severity].mark} {each.severity}: {one_line(each.text)}"
        f"{'' if (each.field, each.severity) in known else ' (new)' if known else ''}"
        for each in sorted(found, key=lambda each: order.index(each.severity))
    ]


def differences(before: SheetForm | None, now: SheetForm) -> list[str]:
    """Return what differs between two states of a sheet, field by field: ``… 6800 µF → 4700 µF``."""
    if before is None:
        return []
    old_parts, new_parts = _several(before), _several(now)
    by_place = old_parts == new_parts  # else rails came or went, and only their names tell them apart
    lines = [] if by_place else [f"{title}: taken out" for title in old_parts if title not in new_parts]
    lines += [] if by_place else [f"{title}: added" for title in new_parts if title not in old_parts]
    old = {field.place if by_place else field.name: field.text for _, field in _fields(before)}
    for part, field in _fields(now):
        was = old.get(field.place if by_place else field.name, "")
        if was != field.text:
            change = f"{one_line(was) or 'not stated'} → {one_line(field.text) or 'not stated'}"
            lines.append(f"{one_line(part.title)}: {field.label}: {change}")
    return lines


def _several(form: SheetForm) -> list[str]:
    """Return the titles of the parts of which there may be more or fewer."""
    return [one_line(part.title) for part in form.parts if part.place and isinstance(part.place[-1], int)]


def _fields(form: SheetForm) -> list[tuple[Part, Field]]:
    return [(part, field) for part in form.parts for field in part.fields]


def _texts(form: SheetForm) -> dict[Place, str]:
    return {field.place: field.text for _, field in _fields(form)}


def changed(saved: SheetForm | None, now: SheetForm) -> bool:
    """Return whether there is something that is not saved."""
    return saved is None or saved.text != now.text
