"""Commands that make something to print or to hang up: files, written whole or not at all."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.cli.talking import logbook_of, say, talk
from ohmward.errors import Damaged, Exit, InputError
from ohmward.report.document.making import file_name, taken, write
from ohmward.report.document.making import in_the_way as refusal
from ohmward.text import one_line

if TYPE_CHECKING:
    from ohmward.report.plots import Compared, Material, Picture


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
    plots.known(arguments.name)
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


def _material(arguments: argparse.Namespace) -> tuple[Material, Compared | None]:
    """Return the run, and for a comparison what has changed since the one named or the latest before it."""
    from ohmward.logbook import Logbook

    logbook = Logbook(logbook_of(arguments))
    path = logbook.find(arguments.what)
    after = _read(path)
    if arguments.name != "compare":
        return after, None
    if arguments.other is not None:
        return after, _compared(path, logbook.find(arguments.other))
    same = [entry for entry in logbook.runs() if entry.tag == after.facts.tag and not entry.problem]
    places = [entry.path.resolve() for entry in same]
    here = places.index(path.resolve()) if path.resolve() in places else len(same)
    earlier = same[here + 1 :]
    return after, _compared(path, earlier[0].path) if earlier else None


def _compared(path: Path, earlier: Path) -> Compared:
    from ohmward.analysis.history_change import changes
    from ohmward.analysis.history_scaling import design_of
    from ohmward.report.plots import Compared
    from ohmward.run.history import past_run

    tell(f"Reading {earlier.name}")
    then, now = sorted((past_run(earlier), past_run(path)), key=lambda run: run.when)
    for run in (then, now):
        if run.problem:
            raise Damaged(f"{run.run}: {run.problem}")
    return Compared(now, then, changes(now, then, design_of(now.sheet), design_of(then.sheet)))


def _read(path: Path) -> Material:
    from ohmward.logbook import read
    from ohmward.report.plots import material
    from ohmward.run import state

    tell(f"Reading {path.name}")
    return material(state(read(path)), path.parent)


def _pictures(
    arguments: argparse.Namespace, material: Material, before: Compared | None
) -> tuple[list[Picture], list[str]]:
    """Return the pictures asked for, and of 'all' why some are not among them."""
    from ohmward.report import plots

    if arguments.name != "all":
        tell(f"Drawing {arguments.name}")
        return plots.pictures(material, arguments.name, width=arguments.width, compared=before), []
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
    mend = "Give another name with -o, or --force to overwrite it"
    in_the_way = [] if force else [refusal(path, mend) for path, _ in files if taken(path)]
    if in_the_way:
        raise InputError([mistake for each in in_the_way for mistake in each.mistakes])
    for path, data in files:
        write(path, data, replace=force)
