"""The design sheet as a form: checked as it is typed, and beside it what every reading would then be."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import ClassVar

from textual import events, on
from textual.app import ComposeResult
from textual.containers import Container, Horizontal, Vertical
from textual.widgets import DataTable, Input, Static

from ohmward.desk import sheet_rows, sheet_words
from ohmward.desk.expected_rows import COMPARED, compared
from ohmward.desk.sheet_rows import FormRow
from ohmward.errors import InputError
from ohmward.supply.editing import SheetForm
from ohmward.supply.editing_fields import Field, Place
from ohmward.tui.frame import plain
from ohmward.tui.keys import SHEET, bindings, sheet_hints
from ohmward.tui.sheet_entry import FormTable, SheetEntry
from ohmward.tui.sheet_saving import SheetSaving
from ohmward.tui.sheet_table import SheetTable

FORM_WIDTHS = {True: (1, 23, 20, 9), False: (1, 28, 26, 13)}
"""Columns of the form, by whether the readings stand beside it."""
READING_WIDTHS = {True: (33, 18, 17), False: (36, 19, 17)}


class SheetScreen(SheetSaving):
    """A sheet being changed; nothing is on the disk before it is saved."""

    KEYS = SHEET
    HEADING = "the form of a design sheet"
    BINDINGS: ClassVar = bindings(SHEET)

    def __init__(
        self, logbook: Path, text: str, path: Path | None, *, rehearsal: bool,
        trouble: Callable[[BaseException], str], said: str = "",
    ) -> None:  # fmt: skip
        super().__init__(logbook, text, path, trouble)
        self._rehearsal, self._said = rehearsal, said
        self._history: list[str] = []
        self._before: str | None = None  # the text when the field being changed was entered
        self._rows: list[FormRow] = []
        self._written: dict[str, str] = {}
        self._compared_of: tuple[object, object, list[str]] | None = None

    def compose_body(self) -> ComposeResult:
        """Lay out what is between banner and hints."""
        yield Static("", id="sheet-heading", classes="heading", markup=False)
        with Container(id="sheet-parts"):
            yield FormTable(sheet_rows.HEADINGS, FORM_WIDTHS[False], id="sheet-form")
            with Vertical(id="sheet-side"):
                yield Static("", id="sheet-expect-words", markup=False)
                yield SheetTable(COMPARED, READING_WIDTHS[False], id="sheet-expect", stays=False)
        yield Static("", id="sheet-help", markup=False)
        with Horizontal(id="sheet-entry-line"):
            yield Static("value:", id="sheet-entry-label", markup=False)
            yield SheetEntry(id="sheet-entry", compact=True)
        yield Static("", id="sheet-says", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.show_rehearsal(self._rehearsal)
        self._table.entry = self._entry
        self.show_form()
        self._table.focus()
        self._go_to_first()

    def _go_to_first(self) -> None:
        """Begin at the first field that is wrong, else at the first one."""
        fields = [at for at, row in enumerate(self._rows) if row.kind == "field"]
        wrong = [at for at in fields if self._rows[at].cells[0] == sheet_rows.WRONG]
        self._table.move_cursor(row=(wrong or fields)[0])

    def on_resize(self, event: events.Resize) -> None:
        """Put the readings beside the form where there is room."""
        beside = self.has_class("-widest") or event.size.width >= 132
        self._table.set_widths(FORM_WIDTHS[beside])
        self.query_one("#sheet-expect", SheetTable).set_widths(READING_WIDTHS[beside])
        self._show_state()

    @property
    def _table(self) -> FormTable:
        return self.query_one("#sheet-form", FormTable)

    @property
    def _entry(self) -> SheetEntry:
        return self.query_one("#sheet-entry", SheetEntry)

    @property
    def _row(self) -> FormRow | None:
        here = self._table.here
        return self._rows[here] if 0 <= here < len(self._rows) else None

    @property
    def _field(self) -> Field | None:
        row = self._row
        return self._form.field(row.place) if row is not None and row.kind == "field" else None

    # --- showing ------------------------------------------------------------------------------------

    def show_form(self) -> None:
        """Show the form as it is, and have the readings computed."""
        self._rows = sheet_rows.form_rows(self._form, self._saved)
        parts = [at for at, row in enumerate(self._rows) if row.kind == "part"]
        self._table.show([row.place for row in self._rows], [row.cells for row in self._rows], strong=parts)
        words = sheet_words.heading(self._form, self._saved, self._path)
        self._write("#sheet-heading", words)
        self._show_row()
        self._show_state()
        if self._form.supply is not None:
            self.want_expectation(self._form.supply, self._saved.supply if self._saved is not None else None)
        self.show_expectation()

    def _write(self, selector: str, words: str) -> None:
        """Write words into a place whose height is fixed: nothing has to be laid out anew for them."""
        if self._written.get(selector) != words:
            self._written[selector] = words
            self.query_one(selector, Static).update(plain(words), layout=False)

    def _show_row(self) -> None:
        """Show what may stand in the row under the cursor, and what does."""
        row, field, entry = self._row, self._field, self._entry
        words = sheet_rows.help_words(self._form, row) if row is not None else ""
        self._write("#sheet-help", words)
        entry.disabled = field is None
        if self._before is None:
            with entry.prevent(Input.Changed):
                entry.value = field.text if field is not None else ""
        self.show_hints(sheet_hints(typing=self._before is not None))

    def _show_state(self) -> None:
        most = 4 if self.has_class("-tall") else 2
        lines = self._state_words(most - bool(self._said), typing=self._before is not None)
        said = [self._said] if self._said else []
        self._write("#sheet-says", "\n".join([*said, *lines]))

    def _state_words(self, most: int, *, typing: bool = False) -> list[str]:
        return sheet_words.state_words(
            self._form, self._saved, most, typing=typing, saved_expected=self.saved_expected,
            expected=self.expected if self.expected_of == self._form.supply else None,
        )  # fmt: skip

    def show_expectation(self) -> None:
        """Show the readings of the last sheet that could be read, and how they have changed."""
        now = self.expected
        words = sheet_words.expectation_words(
            self._form, now, current=now is not None and self.expected_of == self._form.supply,
            computing=self.computing, problem=self.expecting_problem,
        )  # fmt: skip
        self._write("#sheet-expect-words", words)
        if now is None or self._row is None:
            return
        rails = sheet_rows.rails_about(self._form, self._row.place)
        of = (now, self.saved_expected, rails)
        if self._compared_of is not None and all(map(_same, of, self._compared_of)):
            return  # hundreds of readings are not written anew with every key
        self._compared_of = of
        self._show_state()
        found = compared(now, self.saved_expected, rails)
        self.query_one("#sheet-expect", SheetTable).show(
            [each.key for each in found], [each.cells for each in found],
            strong=[at for at, each in enumerate(found) if each.changed or each.heading],
        )  # fmt: skip

    @on(DataTable.RowHighlighted, "#sheet-form")
    def _moved(self) -> None:
        if self._before is None:
            self._show_row()
            self.show_expectation()

    # --- changing a field ---------------------------------------------------------------------------

    @on(DataTable.RowSelected, "#sheet-form")
    def _selected(self) -> None:
        self.action_pick()

    def action_pick(self) -> None:
        """Change the field under the cursor, or add the part that is left out."""
        row, field = self._row, self._field
        if row is not None and row.kind == "absent":
            self._change(lambda: self._form.add_part(row.place))
            self._go_to(row.place)
        elif field is not None and (field.choices or field.known):
            self.run_worker(self._choose(field), group="talk")
        elif field is not None:
            self._entry.focus()
            return
        elif row is not None:
            self.remark("A heading: Enter on a line below it changes that, d takes the part out.")
        self._table.let_go()

    async def _choose(self, field: Field) -> None:
        names = [*field.choices, *field.known]
        listed = [*names, *(["not stated"] if not field.required else [])]
        at = names.index(field.text) if field.text in names else len(names)
        own = len(listed) if field.known else -1
        listed += ["a file of your own: type its path"] if field.known else []
        help_words = sheet_rows.help_words(self._form, FormRow(field.place, "field", ("", "", "", "")))
        chosen = await self.choose(help_words.split(";")[0], listed, at=min(at, len(listed) - 1))
        if chosen is None:
            return
        if chosen == own:
            self._entry.focus()
            return
        text = names[chosen] if chosen < len(names) else ""
        self._change(lambda: self._form.set(field.place, text))

    @on(events.DescendantFocus)
    def _entered(self, event: events.DescendantFocus) -> None:
        if event.widget is self._entry and self._field is not None and self._before is None:
            self._before, self._said = self._form.text, ""
            self._show_row()
            self._show_state()
        if event.widget is self._entry:
            self._table.hand_over()

    @on(Input.Changed, "#sheet-entry")
    def _typed(self, event: Input.Changed) -> None:
        if self._before is not None and event.value == self._entry.value and not self.unreadable:
            self._set(event.value)

    def _set(self, text: str) -> None:
        field = self._field
        text = self._form.completed(field.place, text) if field is not None else text
        if field is not None and text != field.text:
            try:
                self._form.set(field.place, text)
            except InputError as error:
                self._said = str(error)
            self.show_form()

    @on(Input.Submitted, "#sheet-entry")
    def _submitted(self) -> None:
        """Take what was typed and go down to the next field; stay at one that will not do."""
        if self.unreadable:
            return
        self._take_entry()
        row = self._row
        if row is not None and row.cells[0] != sheet_rows.WRONG:
            self._move_by(1)
        self._table.focus()

    @on(Input.Blurred, "#sheet-entry")
    def _left_entry(self) -> None:
        self._take_entry()

    def _take_entry(self) -> None:
        """End the changing of a field; what stands there is taken, right or wrong."""
        if self._before is None:
            return
        self._set(self._entry.value)
        before, self._before = self._before, None
        if before != self._form.text:
            self._history.append(before)
        self._show_row()
        self._show_state()

    def action_step(self, by: int) -> None:
        """Take the field being changed, and change the one after or before it."""
        if self._before is None:
            return
        self._take_entry()
        self._move_by(by)
        self._before = self._form.text
        field = self._field
        with self._entry.prevent(Input.Changed):
            self._entry.value = field.text if field is not None else ""
        self._entry.action_select_all()
        self._show_row()
        self.show_expectation()

    def _move_by(self, by: int) -> None:
        """Go to the field after or before; parts left out are passed over."""
        fields = [at for at, row in enumerate(self._rows) if row.kind == "field"]
        ahead = [at for at in fields if (at > self._table.here if by > 0 else at < self._table.here)]
        if ahead:
            self._table.move_cursor(row=ahead[0] if by > 0 else ahead[-1])

    # --- changing more than a field -----------------------------------------------------------------

    def _change(self, change: Callable[[], object]) -> None:
        """Make a change that can be undone; where the layout does not admit it, say so."""
        before = self._form.text
        self._said = ""
        try:
            change()
        except InputError as error:
            self._said = str(error)
        if self._form.text != before:
            self._history.append(before)
        self.show_form()

    def _go_to(self, place: Place) -> None:
        """Move to the first field at or below a place."""
        below = [at for at, row in enumerate(self._rows) if row.place[: len(place)] == place]
        fields = [at for at in below if self._rows[at].kind == "field"]
        if below:
            self._table.move_cursor(row=(fields or below)[0], scroll=True)
        self._table.focus()

    def action_add(self) -> None:
        """Add a rail, a transformer or a secondary."""
        self.run_worker(self._add(), group="talk")

    async def _add(self) -> None:
        options = sheet_rows.new_parts(self._form)
        chosen = await self.choose("Add to the sheet", [words for words, _ in options])
        if chosen is not None:
            places: list[Place] = []
            self._change(lambda: places.append(options[chosen][1]()))
            for place in places:
                self._go_to(place)

    def action_remove(self) -> None:
        """Take out the part under the cursor."""
        row = self._row
        if row is not None and row.kind != "absent":
            self.run_worker(self._remove(row), group="talk")
        else:
            self.remark("It is left out already: Enter adds it.")

    async def _remove(self, row: FormRow) -> None:
        part = self._form.part(row.place if row.kind == "part" else row.place[:-1])
        if not part.optional:
            await self.tell("Nothing to take out here", [f"Every sheet has its {part.title}."])
        elif await self.confirm(f"Take out {part.title}?", ["All that stands in it goes; u brings it back."],
                                "Take it out", "Keep it"):  # fmt: skip
            self._change(lambda: self._form.remove(part.place))

    def action_undo(self) -> None:
        """Undo the last change."""
        if self._history:
            self._form = SheetForm(self._history.pop())
            self._said = "Undone."
            self.show_form()
        else:
            self.remark("There is nothing to undo.")

    def action_go_to(self) -> None:
        """List the parts and go to one."""
        self.run_worker(self._choose_part(), group="talk")

    async def _choose_part(self) -> None:
        parts = [part for part in self._form.parts if part.there]
        chosen = await self.choose("Go to", [part.title for part in parts])
        if chosen is not None:
            self._go_to(parts[chosen].place)

    def action_wrong(self) -> None:
        """Show every mistake and every finding."""
        lines = self._state_words(1000)
        self.run_worker(self.tell("What is wrong, and what was found", lines), group="talk")

    def action_changes(self) -> None:
        """Show what differs from the sheet as saved."""
        lines = sheet_rows.differences(self._saved, self._form)
        none = "Nothing differs from the sheet as saved." if self._saved else "It has not been saved yet."
        self.run_worker(self.tell("Changes", lines or [none]), group="talk")

    # --- leaving ------------------------------------------------------------------------------------

    def action_save(self) -> None:
        """Save the sheet."""
        self._take_entry()
        self._table.focus()
        self.run_worker(self.save(), group="talk")

    def action_back(self) -> None:
        """Put back the field being changed; else leave, and ask first where something is not saved."""
        if self._before is not None:
            self._form, self._before = SheetForm(self._before), None
            self._table.focus()
            self.show_form()
        else:
            self.ask_to_leave()


def _same(one: object, other: object) -> bool:
    return one is other or (isinstance(one, list) and one == other)
