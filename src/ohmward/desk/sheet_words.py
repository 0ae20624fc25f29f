"""What the form of a sheet says around its rows: headings, what to expect of which sheet, before saving."""

from __future__ import annotations

from pathlib import Path

from ohmward.desk.sheet_files import Around
from ohmward.desk.sheet_rows import changed, differences, finding_words, mistake_words
from ohmward.errors import InputError
from ohmward.physics.expectation import Expectation
from ohmward.physics.targets import all_findings
from ohmward.supply.editing import SheetForm
from ohmward.supply.finding import Finding
from ohmward.text import one_line

_NO_CONCERN = "✓ The sheet can be read, and gives no cause for concern."
_UNJUDGED = "✓ The sheet can be read. Its targets are judged as soon as is known what to expect."
_STALE = {
    "mistakes": "Of the sheet before: now it cannot be read.",
    "computing": "Of the sheet before; computing …",
}


def heading(form: SheetForm, saved: SheetForm | None, path: Path | None) -> str:
    """Return the heading of the form: which sheet, and whether it is saved."""
    tag, title = form.field(("tag",)).text, form.field(("title",)).text
    name = one_line(": ".join(part for part in (tag, title) if part)) or "a new supply"
    if path is None:
        return f"{name} – new, not saved yet"
    return f"{name} – {'CHANGED, not saved' if changed(saved, form) else 'as saved'}"


def state_words(
    form: SheetForm, saved: SheetForm | None, most: int, *, typing: bool = False,
    expected: Expectation | None = None, saved_expected: Expectation | None = None,
) -> list[str]:  # fmt: skip
    """Return in at most so many lines what is wrong with the sheet, or what was found on the design.

    What is expected of the sheet, and of the one saved, is None until it is computed.
    """
    way = "F4 shows all of them" if typing else "w shows all of them"
    if form.mistakes:
        return _shortened(mistake_words(form), most, way)
    lines = finding_words(_found(form, expected), _found(saved, saved_expected) if saved is not None else ())
    none = _NO_CONCERN if expected is not None else _UNJUDGED
    return _shortened(lines, most, way) or [none]


def _found(form: SheetForm, expected: Expectation | None) -> tuple[Finding, ...]:
    return all_findings(form.supply, expected) if form.supply is not None else ()


def _shortened(lines: list[str], most: int, way: str) -> list[str]:
    if len(lines) <= most:
        return lines
    return [*lines[: most - 1], f"… and {len(lines) - most + 1} more: {way}"]


def expectation_words(
    form: SheetForm, expected: Expectation | None, *, current: bool, computing: bool, problem: str
) -> str:
    """Return what stands over the readings: at which conditions, and of which sheet they are."""
    if expected is None:
        if computing:
            return "What to expect is being computed …"
        return problem or "What to expect is computed as soon as the sheet can be read."
    at = f"At {expected.mains_v:g} V mains, {expected.ambient_c:g} °C room{guess_words(expected)}"
    if current:
        wrong = f" Cannot be computed: {one_line(expected.problems[0])}" if expected.problems else ""
        return f"{at}.{wrong}"
    stale = _STALE["mistakes"] if form.mistakes else _STALE["computing"] if computing else problem
    return f"{at}. {stale}"


def guess_words(expected: Expectation) -> str:
    """Return of which rails the readings are guesses, to stand behind the conditions; empty for none."""
    rails = [one_line(name) for name, rail in expected.rails.items() if rail.guessed]
    if not rails:
        return ""
    which = "all" if len(rails) == len(expected.rails) and len(rails) > 1 else ", ".join(rails)
    return f"; GUESSES from the nameplate alone: {which}"


def saved_words(name: str, around: Around) -> str:
    """Return what is said when a sheet has been saved: what becomes of the runs made on it."""
    done = f"Saved as {one_line(name)}."
    if not around.runs:
        return f"{done} Esc goes back; n there starts a run on it."
    keep = (
        "The run made on it keeps the sheet it was begun with"
        if around.runs == 1
        else f"The {around.runs} runs made on it keep the sheet that each was begun with"
    )
    return f"{done} {keep}; a change counts from the next run on."


def before_saving(
    form: SheetForm, saved: SheetForm | None, around: Around, before: Around, limits: str
) -> list[str]:
    """Return what has to be said before a sheet is saved; nothing where nothing stands against it.

    Parameters
    ----------
    form, saved : SheetForm
        As it is, and as it was saved.
    around, before : Around
        What the logbook holds on the tag, and on the tag that the saved sheet had.
    limits : str
        Why the limit set it names cannot be used.
    """
    lines = []
    if around.same_tag:
        named = ", ".join(one_line(path.name) for path in around.same_tag)
        lines.append(
            f"There is a sheet with this tag already: {named}. Runs are kept by tag, so those of the two "
            "supplies could not be told apart, and their history would be mixed."
        )
    old, new = (saved.field(("tag",)).text if saved is not None else ""), form.field(("tag",)).text
    if old and old != new and before.runs:
        lines.append(
            f"The tag changes from {one_line(old)} to {one_line(new)}. Runs made so far ({before.runs}) "
            f"stay under {one_line(old)}: they will not be part of the history of {one_line(new)}."
        )
    if limits:
        lines.append(f"The limit set it names cannot be used, so no run can be started on it: {limits}")
    return lines


def disk_words(saved: SheetForm, there: str | None) -> list[str]:
    """Return what is said when the sheet on the disk is not the one that was opened."""
    if there is None:
        return ["Its file is gone, or cannot be read any more. Saving writes it anew."]
    lines = ["Somebody changed it since it was opened here. Saving takes the place of this:"]
    try:
        changes = differences(saved, SheetForm(there))
    except InputError:
        return [*lines, "what is there now cannot be read as a sheet"]
    return [*lines, *(changes or ["the same values, laid out or remarked on in another way"])]
