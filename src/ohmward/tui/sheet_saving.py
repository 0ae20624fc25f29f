"""Saving a design sheet from its form: whole or not at all, and never over what another wrote unasked."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import ClassVar, TypedDict

from ohmward.desk import sheet_files, sheet_rows, sheet_words
from ohmward.errors import OhmwardError
from ohmward.supply.editing import SheetForm
from ohmward.tui.sheet_expecting import SheetExpecting
from ohmward.tui.showing import styled


class AboutSheets(TypedDict):
    """What every screen about sheets is told."""

    rehearsal: bool
    trouble: Callable[[BaseException], str]


class SheetSaving(SheetExpecting):
    """A screen that holds a sheet as it is now, and as it was saved."""

    HOLDS = "form"
    CSS_PATH: ClassVar = styled("sheet")

    def __init__(
        self, logbook: Path, text: str, path: Path | None, trouble: Callable[[BaseException], str]
    ) -> None:
        super().__init__(trouble)
        self._logbook, self._path = logbook, path
        self._form = SheetForm(text)
        self._saved = SheetForm(text) if path is not None else None
        self._said = ""

    @property
    def unsaved(self) -> bool:
        """Whether something would be lost by leaving."""
        return sheet_rows.changed(self._saved, self._form)

    async def save(self) -> bool:
        """Save, asking where something stands against it; return whether the sheet is on the disk."""
        form = self._form
        if form.supply is None:
            await self.tell("Not saved: the sheet cannot be read", sheet_rows.mistake_words(form))
            return False
        if not self.unsaved:
            self._say("Nothing has changed since it was saved.")
            return True
        try:
            around = await asyncio.to_thread(sheet_files.around, self._logbook, form.supply.tag, self._path)
            if not await self._may_save(form, around):
                return False
            if self._path is None:
                self._path = await asyncio.to_thread(sheet_files.save_new, self._logbook, form.text)
            else:
                await asyncio.to_thread(sheet_files.overwrite, self._path, form.text)
        except OhmwardError as error:
            await self.tell("Not saved", str(error).splitlines())
            return False
        self._saved = SheetForm(form.text)
        self._say(sheet_words.saved_words(self._path.name, around))
        return True

    async def _may_save(self, form: SheetForm, around: sheet_files.Around) -> bool:
        saved, supply = self._saved, form.supply
        assert supply is not None
        before = around
        if saved is not None and saved.supply is not None and saved.supply.tag != supply.tag:
            before = await asyncio.to_thread(sheet_files.around, self._logbook, saved.supply.tag, self._path)
        limits = await asyncio.to_thread(sheet_files.limits_problem, supply)
        lines = sheet_words.before_saving(form, saved, around, before, limits)
        if lines and not await self.confirm("Before it is saved", lines, "Save it so", "Not yet"):
            return False
        there = await asyncio.to_thread(sheet_files.on_disk, self._path) if self._path else None
        if self._path is None or saved is None or there == saved.text:
            return True
        words = sheet_words.disk_words(saved, there)
        return await self.confirm("The sheet on the disk is another one", words, "Put mine there", "Not yet")

    def _say(self, words: str) -> None:
        self._said = words
        self.show_form()

    def show_form(self) -> None:
        """Show the form as it is."""

    def ask_to_leave(self) -> None:
        """Leave the form as soon as it has been asked what becomes of the changes."""
        self.run_worker(self.leave(), name="leave", group="talk")

    async def leave(self) -> bool:
        """Leave the form, asking where something is not saved; return whether it was left."""
        if self.unsaved:
            lines = sheet_rows.differences(self._saved, self._form) or ["It has not been saved yet."]
            options = ["Stay here", "Save it, then leave", "Leave; what is not saved is lost"]
            chosen = await self.choose("There are changes that are not saved", options, lines)
            if not chosen or (chosen == 1 and not await self.save()):
                return False
        self.dismiss(None)
        return True
