"""The parts of the run screen: status, stages, card, entry and figures. Each shows what it is given."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.widgets import Digits, OptionList, Static
from textual.widgets.option_list import Option

from ohmward.desk.bar import Bar
from ohmward.desk.card import Card, Outcome
from ohmward.desk.words import NEVER_FAILS, ONLY_PAST_STOP, Sign
from ohmward.run.guidance import StageProgress
from ohmward.text import one_line
from ohmward.tui.line_input import LineInput
from ohmward.tui.showing import plain, put

DIGITS_WIDE = 36
"""Columns to the left of the verdict, as in the style sheet."""
STYLES = {
    "good": "bold $success",
    "warn": "bold $warning",
    "bad": "bold $error",
    "quiet": "$foreground 80%",
    "live": "bold $error",
    "halted": "bold $error",
}


def signed(sign: Sign) -> Content:
    """Return a sign as mark and word in its colour."""
    return Content.styled(str(sign), STYLES[sign.style])


class StatusBar(Horizontal):
    """Which supply, and what it is electrically: in words, always."""

    def __init__(self) -> None:
        super().__init__(id="status")
        self._phase: Sign | None = None
        self._rest: tuple[str, ...] = ()
        self._fitted = ""

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        yield Static("", id="status-phase", markup=False)
        yield Static("", id="status-rest", markup=False)

    def show(self, phase: Sign, tag: str, operator: str, case: str, clock: str) -> None:
        """Show the phase and the rest of the line; done every second, so only what changed is drawn."""
        if phase != self._phase:
            self._phase = phase
            self.set_classes(phase.style)
            put(self.query_one("#status-phase", Static), Content(f" {phase} "))
        self._rest = (tag, operator, case, clock)
        self._fit()

    def on_resize(self) -> None:
        """Fit to the new size."""
        if self._rest:
            self._fit()

    def _fit(self) -> None:
        room = (self.size.width or 80) - len(str(self._phase)) - 4
        line = fitted_line(*self._rest, room=room)
        if line != self._fitted:
            self._fitted = line
            put(self.query_one("#status-rest", Static), plain(line))


def fitted_line(tag: str, operator: str, case: str, clock: str, *, room: int) -> str:
    """Return tag, operator, case and clock within `room` columns; the clock is never cut.

    Where it gets tight the case goes first (it cannot be open while a clock runs), then long names are cut.
    """
    if clock and len(" · ".join((tag, operator, case, clock))) > room:
        case = ""
    fixed = [one_line(part) for part in (case, clock) if part]
    left = room - sum(len(part) + 3 for part in fixed)
    named = _cut(one_line(tag), max(left, 8))
    who = _cut(one_line(operator), left - len(named) - 3)
    return " · ".join(part for part in (named, who, *fixed) if part)


def _cut(text: str, width: int) -> str:
    if len(text) <= width:
        return text
    return f"{text[: width - 1]}…" if width > 3 else ""


class StageList(OptionList):
    """The stages with their progress; choosing one goes to its first open entry."""

    class Chosen(Message):
        """A stage was chosen; the run screen goes to it."""

        def __init__(self, stage: str) -> None:
            super().__init__()
            self.stage = stage

    def __init__(self) -> None:
        super().__init__(id="stages", markup=False, compact=True)
        self._shown: tuple[object, ...] = ()

    def show(self, stages: Sequence[StageProgress], here: str) -> None:
        """Show how far each stage is; `here` is the one of the present item."""
        if self._shown == (tuple(stages), here):
            return
        self._shown = (tuple(stages), here)
        self.clear_options()
        self.add_options(
            Option(_stage_lines(number, stage, here=stage.name == here), id=f"s{number}")
            for number, stage in enumerate(stages, 1)
        )
        self._names = [stage.name for stage in stages]

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Say which stage was chosen."""
        event.stop()
        self.post_message(self.Chosen(self._names[event.option_index]))


def _stage_lines(number: int, stage: StageProgress, *, here: bool) -> Content:
    head = Content(f"{'▶' if here else ' '}{number} {one_line(stage.title)}")
    return Content("\n").join([head.stylize("bold") if here else head, _counts(stage).pad_left(3)])


def _counts(stage: StageProgress) -> Content:
    done = stage.total > 0 and stage.settled == stage.total
    parts = [
        Content.styled(
            f"{'✓ ' if done else ''}{stage.settled} of {stage.total}", STYLES["good" if done else "quiet"]
        )
    ]
    if stage.energised:
        parts.append(Content.styled("needs mains", STYLES["quiet"]))
    if stage.failed:
        parts.append(Content.styled(f"✗ {stage.failed} failed", STYLES["bad"]))
    if stage.undecided:
        parts.append(Content.styled(f"? {stage.undecided} undecided", STYLES["warn"]))
    if stage.stale:
        parts.append(Content.styled(f"↻ {stage.stale} stale", STYLES["warn"]))
    return Content(" · ").join(parts)


class StageStrip(Static):
    """The present stage on one line, where there is no room for the list."""

    def __init__(self) -> None:
        super().__init__("", id="strip", markup=False)

    def show(self, stages: Sequence[StageProgress], here: str, group: str) -> None:
        """Show how far the present stage is, and the group of its entries that is in hand."""
        for number, stage in enumerate(stages, 1):
            if stage.name == here:
                head = Content.styled(f"Stage {number} of {len(stages)}  {one_line(stage.title)}  ", "bold")
                put(self, head + _counts(stage) + plain(f"  {one_line(group)}" if group else ""))


class ItemCard(VerticalScroll, can_focus=False):
    """What to do, why, how, the caution and the notes of one item."""

    class Marked(Message):
        """There is more below what is in sight, or no more."""

    more = False
    """Whether there is more below what is in sight."""
    scrolled = False
    """Whether some of it is above what is in sight."""

    def __init__(self) -> None:
        super().__init__(id="card")
        self._shown: tuple[object, str] = (None, "")

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        yield Static("", id="card-text", markup=False)
        yield Static("▼ more below: PgDn", id="card-more", markup=False)

    def on_resize(self) -> None:
        """Fit to the new size."""
        self.call_after_refresh(self._mark)

    def watch_scroll_y(self, old_value: float, new_value: float) -> None:
        """Say whether there is still more below."""
        super().watch_scroll_y(old_value, new_value)
        self._mark()

    def _mark(self) -> None:
        at = round(self.scroll_y)
        more, scrolled = at < self.max_scroll_y, at > 0
        if (more, scrolled) == (self.more, self.scrolled):
            return
        for mark in self.query("#card-more"):  # none while the screen comes or goes
            self.more, self.scrolled = more, scrolled
            mark.display = more
            self.post_message(self.Marked())

    def show(self, card: Card, of: object) -> None:
        """Show the card of an entry; from its top where it is another, though the words be the same."""
        blocks = (
            [Content.assemble(("Now  ", "bold $accent"), plain(card.now).stylize("bold"))] if card.now else []
        )
        blocks.append(plain(card.do))
        if card.caution:
            blocks.append(
                Content.assemble(("‼ CAUTION  ", STYLES["bad"]), plain(card.caution).stylize("bold"))
            )
        blocks += [Content.assemble(("Here  ", "bold $accent"), plain(words)) for words in card.here]
        # before what is the same each time: on a small terminal the end of the card is below the fold
        blocks += [Content.assemble(("Note  ", "bold $accent"), plain(note)) for note in card.notes]
        blocks += [
            Content.assemble((f"{name}  ", "bold $accent"), plain(words))
            for name, words in (("Why", card.why), ("How", card.method))
            if words
        ]
        label = "Fails  " if card.severity in {NEVER_FAILS, ONLY_PAST_STOP} else "If it fails  "
        blocks.append(Content.assemble((label, "bold $accent"), signed(card.severity)))
        if card.basis:
            blocks.append(Content.assemble(("Limit from  ", "bold $accent"), plain(card.basis)))
        shown = Content("\n").join(block for block in blocks if block.plain)
        put(self.query_one("#card-text", Static), shown)
        if (of, shown.plain) != self._shown:
            self._shown = (of, shown.plain)
            self.scroll_home(animate=False)
        self.call_after_refresh(self._mark)


class Facts(Static):
    """Expected value, limit, stop limit and meter of a reading."""

    def __init__(self) -> None:
        super().__init__("", id="facts", markup=False)

    def show(self, card: Card) -> None:
        """Show the facts of a card; nothing for a check."""
        rows = (
            ("Expected", card.expected),
            ("Earlier", card.earlier),
            ("Limit", card.limit),
            ("Stop", card.stop),
            ("Meter", card.meter),
        )
        lines = [
            Content.assemble((f"{name:<9}", "bold $accent"), plain(one_line(words)))
            for name, words in rows
            if words
        ]
        self.set_class(not lines, "none")
        put(self, Content("\n").join(lines))


class Scale(Static):
    """A reading drawn between its limits, with the expected band."""

    def __init__(self) -> None:
        super().__init__("", id="scale", markup=False)
        self._bar: Bar | None = None

    def show(self, bar: Bar | None) -> None:
        """Show a bar; nothing where none can be drawn."""
        self._bar = bar
        self._draw()

    def on_resize(self) -> None:
        """Fit to the new size."""
        self._draw()

    def _draw(self) -> None:
        line = "" if self._bar is None else self._bar.text(max(self.size.width, 1) - 9)
        self.set_class(self._bar is None, "none")
        put(self, Content.assemble((f"{'Scale':<9}", "bold $accent"), plain(line)) if line else Content(""))


class ValueInput(LineInput):
    """An input for values: with nothing typed, a letter that no value begins with is left to the keys."""

    filled = False
    """What stands here came from a meter: a figure typed takes its place, a letter is left to the keys."""

    STARTS: ClassVar[frozenset[str]] = frozenset("0123456789.,+-−–<>≤≥ROL∞")

    def check_consume_key(self, key: str, character: str | None) -> bool:
        """Take a character only as part of a value."""
        if not super().check_consume_key(key, character):
            return False
        return (bool(self.value) and not self.filled) or character in self.STARTS

    async def on_key(self, event: events.Key) -> None:
        """Leave a letter that begins no value to the keys; a figure replaces what a meter gave."""
        if not event.is_printable:
            self.filled = self.filled and event.key not in {"backspace", "delete"}
        elif not self.check_consume_key(event.key, event.character):
            event.prevent_default()
        elif self.filled:
            self.value, self.filled = "", False


class Entry(Vertical):
    """Where a value is typed, with what it is read as beside it; then the big figures and the verdict."""

    def __init__(self) -> None:
        super().__init__(id="entry")
        self._said = False

    def _fold(self) -> None:
        """Mark the figures as blank where there are none: a low screen then gives their room to the card."""
        blank = not self._said and not self.query_one(Digits).value
        self.query_one("#figures").set_class(blank, "blank")

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        with Horizontal(id="entry-line"):
            yield Static("", id="entry-label", markup=False)
            yield ValueInput(id="value", compact=True, select_on_focus=False)
            yield Static("", id="entry-feedback", markup=False)
        with Horizontal(id="figures"):
            with Horizontal(id="digits"):
                yield Digits("", id="number")
                yield Static("", id="unit", markup=False)
            with VerticalScroll(id="verdict-scroll", can_focus=False):
                yield Static("", id="verdict", markup=False)

    @property
    def _room(self) -> int:
        """Columns that the verdict has, its scroll bar left out; a sign is not broken over two lines."""
        return (self.query_one("#verdict-scroll").size.width or self.app.size.width - DIGITS_WIDE) - 1

    @property
    def input(self) -> ValueInput:
        """The input itself."""
        return self.query_one(ValueInput)

    def ask_value(self, unit: str) -> None:
        """Ask for a reading in `unit`."""
        put(self.query_one("#entry-label", Static), plain(f"Reading [{unit}]" if unit else "Reading"))
        self.input.display = True
        self.query_one("#digits").display = True

    def ask_answer(self) -> None:
        """Ask for an answer by key."""
        put(self.query_one("#entry-label", Static), Content("Answer: p pass · f fail · n not applicable"))
        self.input.display = False
        self.query_one("#digits").display = False
        self.feedback("", good=True)

    def ask_nothing(self, words: str) -> None:
        """Ask for nothing, and say why."""
        self.ask_answer()
        put(self.query_one("#entry-label", Static), plain(words))

    def feedback(self, words: str, *, good: bool) -> None:
        """Show what the typed text is read as, or why it cannot be."""
        style = STYLES["good" if good else "warn"]
        put(self.query_one("#entry-feedback", Static), plain(one_line(words)).stylize(style))

    def figures(self, text: str) -> None:
        """Show a value in large figures."""
        number, _, unit = one_line(text).rpartition(" ")
        self.query_one(Digits).update((number or unit).replace("−", "-"))
        put(self.query_one("#unit", Static), plain(unit if number else ""))
        self._fold()

    def verdict(self, outcome: Outcome | None, before: str) -> None:
        """Show the verdict in mark, word and sentence; `before` stands there while nothing is recorded."""
        shown = plain(before)
        if outcome is not None:
            signs = [signed(sign) for sign in (outcome.sign, outcome.predicted) if sign is not None]
            beside = Content("  ").join(signs)
            heads = [beside] if beside.cell_length <= self._room else signs
            lines = [*heads, *(plain(line) for line in outcome.words)]
            shown = Content("\n").join(lines)
        put(self.query_one("#verdict", Static), shown)
        self._said = bool(shown.plain)
        self._fold()
        self.query_one("#verdict-scroll", VerticalScroll).scroll_home(animate=False)
