"""Commands that make something to print or to hang up: files, written whole or not at all."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.cli.talking import logbook_of, say, talk
from ohmward.errors import Exit, InputError, Mistake
from ohmward.text import one_line

if TYPE_CHECKING:
    from ohmward.report.plots import Material, Picture


def plot(arguments: argparse.Namespace) -> int:
    """Draw a picture of a run."""
    from ohmward.report import plots
    from ohmward.report.plots.saving import kind_of

    if not arguments.name:
        names = plots.listed()
        say([{"name": name, "shows": shows} for name, shows in names], _names_text(names), arguments.json)
        return int(Exit.DONE)
    if arguments.out is not None:
        kind_of(arguments.out)
    material, before = _material(arguments)
    found, lacking = _pictures(arguments, material, before)
    out = arguments.out or Path(f"{file_name(f'{material.facts.run} {arguments.name}')}.pdf")
    files = _rendered(found, out, material.title(arguments.name))
    write_results(files, force=arguments.force)
    for words in lacking:
        talk(f"Not drawn: {words}")
    if material.simulated:
        talk("REHEARSAL: readings from a simulated bench")
    data = {
        "run": material.facts.run,
        "simulated": material.simulated,
        "files": [str(path) for path, _ in files],
        "pictures": [{"name": each.name, "title": each.title, "words": each.words} for each in found],
        "not_drawn": lacking,
    }
    say(data, "\n".join(str(path) for path, _ in files), arguments.json)
    return int(Exit.DONE)


def _names_text(names: Sequence[tuple[str, str]]) -> str:
    widest = max(len(name) for name, _ in names)
    return "\n".join(["Pictures of a run:", *(f"  {name:{widest}}  {shows}" for name, shows in names)])


def _material(arguments: argparse.Namespace) -> tuple[Material, Material | None]:
    """Return the run, and for a comparison the one named with it or the latest before it."""
    from ohmward.logbook import Logbook

    logbook = Logbook(logbook_of(arguments))
    path = logbook.find(arguments.what)
    after = _read(path)
    if arguments.name != "compare":
        return after, None
    if arguments.other is not None:
        return after, _read(logbook.find(arguments.other))
    same = [entry for entry in logbook.runs() if entry.tag == after.facts.tag and not entry.problem]
    places = [entry.path.resolve() for entry in same]
    here = places.index(path.resolve()) if path.resolve() in places else len(same)
    earlier = same[here + 1 :]
    return after, _read(earlier[0].path) if earlier else None


def _read(path: Path) -> Material:
    from ohmward.logbook import read
    from ohmward.report.plots import material
    from ohmward.run import state

    tell(f"Reading {path.name}")
    return material(state(read(path)), path.parent)


def _pictures(
    arguments: argparse.Namespace, material: Material, before: Material | None
) -> tuple[list[Picture], list[str]]:
    """Return the pictures asked for, and of 'all' why some are not among them."""
    from ohmward.report import plots

    if arguments.name != "all":
        tell(f"Drawing {arguments.name}")
        return plots.pictures(material, arguments.name, width=arguments.width, before=before), []
    found: list[Picture] = []
    lacking: list[str] = []
    for number, (kind, drawn) in enumerate(plots.every(material, width=arguments.width), 1):
        tell(f"{number} of {len(plots.KINDS)}: {kind.name}")
        if isinstance(drawn, plots.NothingToShow):
            lacking.append(f"{kind.name}: {drawn}")
        else:
            found += drawn
    if not found:
        raise plots.NothingToShow("\n".join(lacking))
    return found, lacking


def _rendered(found: Sequence[Picture], out: Path, title: str) -> list[tuple[Path, bytes]]:
    """Return the files to write: a PDF holds all pictures, other kinds one each."""
    from ohmward.report import plots
    from ohmward.report.plots.saving import kind_of

    kind = kind_of(out)
    if len(found) == 1:
        return [(out, plots.rendered(found[0].figure, kind, found[0].title))]
    if kind == "pdf":
        tell(f"Writing {len(found)} pages")
        return [(out, plots.rendered_pages([each.figure for each in found], title))]
    files = []
    for number, each in enumerate(found, 1):
        tell(f"Writing {number} of {len(found)}")
        path = out.with_name(f"{out.stem}-{each.name}{out.suffix}")
        files.append((path, plots.rendered(each.figure, kind, each.title)))
    return files


def file_name(text: str) -> str:
    """Return a file name for what a run and a picture are called."""
    kept = "".join(char if char.isalnum() or char in "-_+." else "-" for char in text)
    return kept.strip(".-")[:150] or "picture"


def tell(text: str) -> None:
    """Tell of progress where a person looks on, on one line."""
    if sys.stderr.isatty():
        sys.stderr.write(f"\r\x1b[K{one_line(text)} ")
        sys.stderr.flush()


def done_telling() -> None:
    """Take the line of progress away."""
    if sys.stderr.isatty():
        sys.stderr.write("\r\x1b[K")
        sys.stderr.flush()


def write_results(files: Sequence[tuple[Path, bytes]], *, force: bool) -> None:
    """Write files, each whole or not at all; one in the way is overwritten only with `force`.

    Raises
    ------
    InputError
        When a file is in the way; then none is written.
    Unreachable
        When one cannot be written.
    """
    done_telling()
    if not force:
        taken = [path for path, _ in files if os.path.lexists(path)]
        if taken:
            raise _in_the_way(taken)
    for path, data in files:
        _write_whole(path, data, force=force)


def _write_whole(path: Path, data: bytes, *, force: bool) -> None:
    """Write beside its place, then move it there in one step."""
    from ohmward.logbook import disk

    draft = path.with_name(f".{path.name[:150]}.{os.getpid()}.draft")
    try:
        draft.unlink(missing_ok=True)
        disk.write_new(draft, data)
        try:
            if force:
                draft.replace(path)
            else:
                _link(draft, path)
            disk.sync_folder(path.parent)
        finally:
            draft.unlink(missing_ok=True)
    except FileExistsError as error:
        raise _in_the_way([path]) from error
    except (OSError, ValueError) as error:
        raise disk.unreachable(path, "cannot be written", error) from error


def _link(draft: Path, path: Path) -> None:
    """Give a draft its name; FileExistsError when the name was taken meanwhile."""
    try:
        os.link(draft, path)
    except FileExistsError:
        raise
    except OSError:  # a disk without hard links: what is looked at and what is done are two steps there
        if os.path.lexists(path):
            raise FileExistsError(str(path)) from None
        draft.replace(path)


def _in_the_way(taken: Sequence[Path]) -> InputError:
    return InputError(
        [
            Mistake(
                where=str(path),
                field="",
                value="",
                why="the file is already there",
                mend="Give another name with -o, or --force to overwrite it",
            )
            for path in taken
        ]
    )
