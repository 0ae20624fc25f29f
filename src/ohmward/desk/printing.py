"""Report and label from a screen: which form, what the file is called, made aside, never over another."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from ohmward.desk.asking import Talks
from ohmward.errors import OhmwardError
from ohmward.report.document.making import ENDINGS, Form, Wanted, file_name, make, taken, write
from ohmward.text import one_line


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A form that can be asked for."""

    form: Form
    ending: str
    words: str


REPORTS = (
    Choice(form="full", ending=".pdf", words="Report, all of it, with pictures: PDF"),
    Choice(form="full", ending=".html", words="Report, all of it, with pictures: a page for the browser"),
    Choice(form="short", ending=".pdf", words="Short form, one page for the binder: PDF"),
    Choice(form="repair", ending=".pdf", words="Fault sheet for whoever mends it: PDF"),
)
LABELS = (
    Choice(form="label", ending=".pdf", words="Label for the case, 89 by 36 mm: PDF"),
    Choice(form="label", ending=".png", words="Label for the case, 89 by 36 mm: PNG"),
)


class Prints(Talks, Protocol):
    """What printing needs of the screen."""

    def progress(self, words: str) -> None:
        """Say how far it is; called from any thread; empty when it is over."""

    @property
    def trouble(self) -> Callable[[BaseException], str]:
        """Write the details of an error down; return one sentence."""


async def printed(desk: Prints, journal: Path, run: str, choices: Sequence[Choice]) -> Path | None:
    """Ask for form and file, make it aside and say where it is; None where none was made.

    Parameters
    ----------
    journal : Path
        The run's journal: what is printed is what is on disk.
    run : str
        What the run is called.
    """
    at = await desk.choose("Print: which form?", [choice.words for choice in choices])
    if at is None:
        return None
    choice = choices[at]
    path = await _where(desk, choice, suggested(run, choice))
    if path is None:
        return None
    replace = taken(path)
    try:
        scripts = await desk.aside(lambda: _make(journal, choice, path, desk.progress, replace=replace))
    except OhmwardError as error:
        await desk.tell("Not printed", str(error).splitlines())
        return None
    except Exception as error:  # noqa: BLE001 said in words; the run itself is untouched
        await desk.tell("Not printed", [desk.trouble(error)])
        return None
    finally:
        desk.progress("")
    lines = [f"{path}"]
    if scripts:
        lines.append(f"No font here for: {', '.join(scripts)}; such text is printed as codes.")
    await desk.tell("Printed to a file", lines)
    return path


def suggested(run: str, choice: Choice) -> Path:
    """Return a place for a document: the folder that one is in, under the name of the run."""
    return Path.cwd() / f"{file_name(f'{run} {choice.form}')}{choice.ending}"


def placed(text: str, choice: Choice) -> tuple[Path, str]:
    """Return the place that was typed, and what is wrong with it in words (empty: nothing)."""
    path = Path(os.path.expanduser(text.strip()))
    if not path.suffix:
        path = path.with_name(f"{path.name}{choice.ending}") if path.name else path
    if path.suffix.lower() not in ENDINGS[choice.form]:
        ways = " or ".join(ENDINGS[choice.form])
        return path, f"'{one_line(path.suffix)}' is not a kind of file that can be made: end it in {ways}"
    if path.is_dir():
        return path, "that is a folder: name a file in it"
    if not path.absolute().parent.is_dir():
        return path, f"there is no folder '{one_line(str(path.parent))}': make it first, or name another"
    return path, ""


async def _where(desk: Prints, choice: Choice, first: Path) -> Path | None:
    """Ask for the file until its name can be used; a file in the way is asked about."""
    text, lines = str(first), ["Its ending says what it is made as."]
    while True:
        said = await desk.ask(choice.words, lines, label="File", value=text, needed=True)
        if said is None:
            return None
        path, wrong = placed(said, choice)
        text = said
        if wrong:
            lines = [wrong]
            continue
        path = path.absolute()
        if not taken(path):
            return path
        old = [str(path), "What is in it now will be gone."]
        if await desk.confirm("A file of that name is there already", old, "Overwrite it", "Another name"):
            return path
        lines = ["That name is taken: give another."]


def _make(
    journal: Path, choice: Choice, path: Path, tell: Callable[[str], None], *, replace: bool
) -> tuple[str, ...]:
    """Make and write a document; return the scripts in it that no font can show."""
    from ohmward.report.document.source import load_source
    from ohmward.report.document.words import load_words, locale_of

    tell("Reading the run")
    source = load_source(journal)
    wanted = Wanted(form=choice.form, ending=path.suffix.lower())
    made = make(load_words(locale_of(os.environ)), source, wanted, tell=tell)
    tell("Writing the file")
    write(path, made.data, replace=replace)
    return made.scripts
