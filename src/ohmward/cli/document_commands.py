"""Commands that print a run: the report in its forms, and the label for the case."""

from __future__ import annotations

import argparse
import os
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.cli.report_commands import tell, write_results
from ohmward.cli.talking import logbook_of, say, talk
from ohmward.errors import Exit, InputError, Mistake
from ohmward.report.document.making import ENDINGS, Wanted, file_name, make

if TYPE_CHECKING:
    from ohmward.report.document.making import Made
    from ohmward.report.document.second_board import SecondBoard
    from ohmward.report.document.source import Source
    from ohmward.report.document.words import Words


def report(arguments: argparse.Namespace) -> int:
    """Print a run as a document."""
    ending = _ending(arguments.out, ENDINGS[arguments.form])
    words, fonts = _words(arguments), _fonts(arguments)
    wanted = Wanted(
        form=arguments.form, ending=ending, paper=arguments.paper, pictures=not arguments.no_pictures
    )
    with _second_board(wanted) as second:
        source = _source(arguments, second)
        out = arguments.out or Path(f"{file_name(f'{source.facts.run} {arguments.form}')}.pdf")
        _require_free(out, arguments)
        made = make(words, source, wanted, fonts=fonts, tell=tell, second=second)
    return _written(arguments, source, out, made)


def label(arguments: argparse.Namespace) -> int:
    """Print the label for the case."""
    from ohmward.report.document.label import parse_size

    size = parse_size(arguments.size)
    ending = _ending(arguments.out, ENDINGS["label"])
    words, fonts = _words(arguments), _fonts(arguments)
    source = _source(arguments)
    out = arguments.out or Path(f"{file_name(f'{source.facts.run} label')}.pdf")
    _require_free(out, arguments)
    made = make(words, source, Wanted(form="label", ending=ending, size=size), fonts=fonts, tell=tell)
    return _written(arguments, source, out, made)


def _second_board(wanted: Wanted) -> AbstractContextManager[SecondBoard | None]:
    """Return what half of the pictures is drawn on, if there are any: it loads while the run is assessed."""
    if wanted.form != "full" or not wanted.pictures:
        return nullcontext()
    from ohmward.report.document.second_board import SecondBoard

    return SecondBoard()


def _source(arguments: argparse.Namespace, second: SecondBoard | None = None) -> Source:
    from ohmward.logbook import Logbook
    from ohmward.report.document.source import load_source

    path = Logbook(logbook_of(arguments)).find(arguments.what)
    tell(f"Reading {path.name}")
    source = load_source(path, second.weigh if second is not None else None)
    if not arguments.due:
        return source
    due = _due(arguments.due)
    if due is not None and source.due is None:
        why = f"run {source.facts.run} does not show a unit that may be used"
        raise _wrong("--due", arguments.due, why, "Leave it out: it is tested again once it is mended")
    return replace(source, due=due)


def _due(text: str) -> date | None:
    if text == "none":
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise _wrong("--due", text, "not a date", "Write it as 2027-03-01, or none") from error


def _words(arguments: argparse.Namespace) -> Words:
    from ohmward.report.document.words import load_words, locale_of

    return load_words(arguments.locale or locale_of(os.environ))


def _fonts(arguments: argparse.Namespace) -> tuple[str, ...]:
    from ohmward.report.document.fonts import require_fonts

    return require_fonts(arguments.fonts)


def _ending(out: Path | None, endings: tuple[str, ...]) -> str:
    """Return the ending of the file asked for; the first of `endings` where none is named."""
    if out is None:
        return endings[0]
    ending = out.suffix.lower()
    if ending in endings:
        return ending
    raise _wrong(
        "-o", str(out), "not a kind of file that can be made", f"End the name in {' or '.join(endings)}"
    )


def _require_free(out: Path, arguments: argparse.Namespace) -> None:
    """Refuse a file in the way before the work, as writing it would."""
    if os.path.lexists(out) and not arguments.force:
        raise _wrong(
            "-o", str(out), "the file is already there", "Give another name, or --force to overwrite it"
        )


def _written(arguments: argparse.Namespace, source: Source, out: Path, made: Made) -> int:
    write_results([(out, made.data)], force=arguments.force)
    if made.scripts:
        talk(
            f"No font here for: {', '.join(made.scripts)}. Such text is printed as the codes of its "
            "characters. --fonts FOLDER names a folder with fonts for it; HTML shows it as it was written"
        )
    if source.facts.simulated:
        talk("REHEARSAL: readings from a simulated bench")
    told = {
        "run": source.facts.run,
        "simulated": source.facts.simulated,
        "outcome": source.outcome.replace("_", " "),
        "file": str(out),
        "bytes": len(made.data),
        "digest": source.verification.last_digest,
        "next_due": source.due.isoformat() if source.due else None,
        "scripts_without_font": list(made.scripts),
    }
    say(told, str(out), arguments.json)
    return int(Exit.DONE)


def _wrong(field: str, value: str, why: str, mend: str) -> InputError:
    return InputError([Mistake(where="command line", field=field, value=value, why=why, mend=mend)])
