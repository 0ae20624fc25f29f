"""The design sheets of a logbook as files: read, saved whole or not at all, never over what another wrote."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from ohmward.errors import InputError, Mistake, OhmwardError, Unreachable
from ohmward.logbook import Logbook, RunEntry, drafts, entry, files, names
from ohmward.logbook.disk import make_folders
from ohmward.procedure import load_limits
from ohmward.supply import load, loads
from ohmward.supply.files import read_source, write_source
from ohmward.supply.model import Supply
from ohmward.text import one_line


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What a logbook holds beside a sheet that matters when it is saved."""

    same_tag: tuple[Path, ...] = ()
    """Other sheets with the same tag: their runs cannot be told apart."""
    runs: int = 0
    """Runs made on the tag; each keeps the sheet that it was begun with."""


def around(logbook: Path, tag: str, but: Path | None) -> Around:
    """Return what the logbook holds beside the sheet at `but`; Unreachable when it cannot be listed."""
    return Around(same_tag=sheets_with(logbook, tag, but), runs=len(runs_on(logbook, tag)))


def sheets_with(logbook: Path, tag: str, but: Path | None = None) -> tuple[Path, ...]:
    """Return the sheets of a logbook with a tag, but for the one at `but`; raises as `around` does."""
    return tuple(
        path for path in Logbook(logbook).sheets() if not _same(path, but) and _tag_of(path) == tag.strip()
    )


def runs_on(logbook: Path, tag: str) -> tuple[RunEntry, ...]:
    """Return the runs made on a tag, the latest first; damaged ones too; raises as `around` does."""
    folder = Logbook(logbook).runs_folder / names.safe(tag)
    try:
        listed = sorted(os.listdir(folder), reverse=True)
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise Unreachable(f"{one_line(str(folder))}: cannot be listed ({error.strerror})") from error
    found = [entry(folder / name) for name in listed if names.is_journal(name)]
    return tuple(each for each in found if not each.copy_of)


def same_file(path: Path, logbook: Path) -> Path | None:
    """Return the sheet of the logbook that has the same bytes as a file, None where there is none."""
    wanted = read_source(path)
    for sheet in Logbook(logbook).sheets():
        try:
            if read_source(sheet) == wanted:
                return sheet
        except OhmwardError:
            continue
    return None


def text_of(path: Path) -> str:
    """Return the text of a sheet; InputError or Unreachable where it cannot be read as text."""
    return read_source(path)


def sheet_at(path: Path) -> Supply:
    """Return the supply that a sheet describes; raises as `supply.load` does."""
    return load(path)


def on_disk(path: Path) -> str | None:
    """Return the text of a sheet as it is now on the disk; None where it is gone or cannot be read."""
    try:
        return read_source(path)
    except OhmwardError:
        return None


def overwrite(path: Path, text: str) -> None:
    """Put `text` in the place of a sheet, whole or not at all.

    Raises
    ------
    Unreachable
        When it cannot be written; the sheet is as it was.
    InputError
        When the text is no sheet: such a one is never saved.
    """
    loads(text, str(path))
    write_source(text, Path(os.path.realpath(path)))  # a link goes on leading to the file it led to


def save_new(logbook: Path, text: str) -> Path:
    """Save a sheet that is in no file yet under the name of its tag, and return where.

    Raises as `overwrite` does; it never takes the place of another file.
    """
    tag = loads(text, "design sheet").tag
    folder = Logbook(Path(os.path.abspath(logbook))).supplies_folder
    stem, number = names.safe(tag), 1
    try:
        files.make_logbook(folder.parent)
        make_folders(folder)
        while True:
            path = folder / f"{stem if number == 1 else f'{stem}-{number}'}.toml"
            try:
                drafts.place_new(path, text.encode("utf-8"))
            except FileExistsError:
                number += 1
            else:
                return path
    except OSError as error:
        raise Unreachable(f"{one_line(str(folder))}: cannot be written ({error.strerror})") from error


def save_only(logbook: Path, text: str) -> Path:
    """Save as `save_new` does, where the logbook has no other sheet of the tag; InputError where it has."""
    tag = loads(text, "design sheet").tag
    there = sheets_with(logbook, tag)
    if there:
        why, mend = f"the logbook has it already: {there[0]}", "Give each supply a tag of its own"
        raise InputError([Mistake(where="design sheet", field="tag", value=tag, why=why, mend=mend)])
    return save_new(logbook, text)


def kept(logbook: Path, source: Path) -> str:
    """Put a copy of a sheet from elsewhere among the supplies of a logbook, and return what to say of it.

    Nothing is said where it is there already. A different sheet of the tag stays as it is, and none is
    put beside it: the runs of the two could not be told apart. Raises as `save_new` does.
    """
    if same_file(source, logbook) is not None:
        return ""
    text = read_source(source)
    tag = loads(text, str(source)).tag
    there = sheets_with(logbook, tag)
    if any(_same(path, source) for path in there):
        return ""
    if there:
        return (
            f"The logbook has another sheet of {one_line(tag)} already, {one_line(str(there[0]))}: it stays "
            "as it is, and the run keeps the sheet that it was started with."
        )
    return f"The sheet was copied into the logbook: {one_line(str(save_new(logbook, text)))}"


def limits_problem(supply: Supply) -> str:
    """Return why the limit set that a sheet names cannot be used; empty when it can."""
    try:
        load_limits(supply.limit_set)
    except OhmwardError as error:
        return str(error)
    return ""


def source_named(typed: str) -> Path:
    """Return the file that a person named: ``~`` is their own folder, quotes around it are taken off."""
    said = typed.strip()
    if len(said) > 1 and said[0] == said[-1] and said[0] in "\"'":
        said = said[1:-1]
    try:
        return Path(said).expanduser()
    except RuntimeError as error:  # no such person
        raise Unreachable(f"{one_line(said)}: there is no such folder") from error


def _same(path: Path, other: Path | None) -> bool:
    return other is not None and os.path.realpath(path) == os.path.realpath(other)


def _tag_of(path: Path) -> str:
    try:
        return loads(read_source(path), str(path)).tag
    except OhmwardError:
        return ""
