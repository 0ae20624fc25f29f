"""Beginning a design sheet: by questions, empty, as a copy of another, or from a file elsewhere.

Each conversation ends in a form on the new sheet; nothing is on the disk before it is saved there.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path

from ohmward.desk import sheet_files
from ohmward.errors import OhmwardError
from ohmward.supply.editing import SheetForm, blank
from ohmward.text import one_line
from ohmward.tui.desk import Talker
from ohmward.tui.sheet_questions import SheetQuestions
from ohmward.tui.sheet_screen import SheetScreen

Trouble = Callable[[BaseException], str]
_WAYS = (
    "Answer questions, one by one: nothing has to be known beforehand",
    "Fill in an empty form",
    "Bring in a sheet from a file elsewhere",
)


async def new_supply(desk: Talker, logbook: Path, *, rehearsal: bool, trouble: Trouble) -> SheetScreen | None:
    """Ask how the sheet of a new supply is to begin; None when the person goes back."""
    chosen = await desk.choose("A new supply: how does its design sheet begin?", _WAYS)
    if chosen is None:
        return None
    if chosen == 2:
        return await bring_in(desk, logbook, rehearsal=rehearsal, trouble=trouble)
    text = blank() if chosen == 1 else await desk.app.push_screen_wait(SheetQuestions())
    if text is None:
        return None
    said = "" if chosen == 1 else "That was the last question: this is the sheet. Ctrl+S saves it."
    return SheetScreen(logbook, text, None, rehearsal=rehearsal, trouble=trouble, said=said)


async def copy(
    desk: Talker, logbook: Path, path: Path, *, rehearsal: bool, trouble: Trouble
) -> SheetScreen | None:
    """Ask for the tag of a supply like the one at `path`; its form begins as a copy of that sheet."""
    try:
        form = SheetForm(sheet_files.text_of(path))
    except OhmwardError as error:
        await desk.tell("The sheet cannot be copied", str(error).splitlines())
        return None
    old = form.field(("tag",)).text
    lines = [f"A copy of the sheet of {one_line(old)}, for another supply. The serial number is left out."]
    tag = ""
    while True:
        answer = await desk.ask("Copy", lines, label="Tag of the other supply", value=tag, needed=True)
        if answer is None:
            return None
        tag = answer
        try:
            taken = sheet_files.sheets_with(logbook, tag)
        except OhmwardError as error:
            lines = str(error).splitlines()
            continue
        if not taken:
            break
        lines = [f"{one_line(tag)} is the tag of {taken[0].name} already. Each supply has its own."]
    form.set(("tag",), tag)
    form.set(("serial",), "")
    said = f"A copy of {one_line(old)}; Ctrl+S saves it."
    return SheetScreen(logbook, form.text, None, rehearsal=rehearsal, trouble=trouble, said=said)


async def edit(
    desk: Talker, logbook: Path, path: Path, *, rehearsal: bool, trouble: Trouble
) -> SheetScreen | None:
    """Return the form of the sheet at `path`, to be changed; None where it cannot be read at all."""
    try:
        text = await asyncio.to_thread(sheet_files.text_of, path)
        return SheetScreen(logbook, text, path, rehearsal=rehearsal, trouble=trouble)
    except OhmwardError as error:
        await desk.tell("The sheet cannot be changed here", str(error).splitlines())
        return None


async def bring_in(desk: Talker, logbook: Path, *, rehearsal: bool, trouble: Trouble) -> SheetScreen | None:
    """Ask for a file with a design sheet; its form opens on it as it is, every comment kept."""
    lines: list[str] = []
    typed = ""
    while True:
        answer = await desk.ask("Bring in a sheet", lines, label="Path of the file", value=typed, needed=True)
        if answer is None:
            return None
        typed = answer
        try:
            source = sheet_files.source_named(typed)
            text, there = await asyncio.to_thread(_read, source, logbook)
            form = SheetForm(text)
        except OhmwardError as error:
            lines = str(error).splitlines()
            continue
        if there is None:
            break
        lines = [f"This very sheet is in the logbook already: {there.name}."]
    wrong = f" Its mistakes ({len(form.mistakes)}) have to be mended first." if form.mistakes else ""
    said = f"Brought in from {one_line(source.name)}; Ctrl+S saves it into the logbook.{wrong}"
    return SheetScreen(logbook, text, None, rehearsal=rehearsal, trouble=trouble, said=said)


def _read(source: Path, logbook: Path) -> tuple[str, Path | None]:
    return sheet_files.text_of(source), sheet_files.same_file(source, logbook)
