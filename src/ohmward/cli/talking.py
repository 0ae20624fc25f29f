"""What every command shares: where things are, one writer, and how it talks to a person."""

from __future__ import annotations

import argparse
import os
import sys
import threading
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.errors import InputError, Mistake, Unreachable
from ohmward.text import folded, visible

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from ohmward.desk.who_tests import Who
    from ohmward.logbook.events import Record


def logbook_of(arguments: argparse.Namespace) -> Path:
    """Return the logbook folder: the option, the environment, or the person's data folder."""
    return usual_logbook() if arguments.logbook is None else Path(arguments.logbook)


def usual_logbook() -> Path:
    """Return the logbook folder that is taken without the option."""
    if os.environ.get("OHMWARD_LOGBOOK"):
        return Path(os.environ["OHMWARD_LOGBOOK"])
    from platformdirs import user_data_path

    return user_data_path("ohmward")


def today_here() -> date:
    """Return the day it is where the person works."""
    return datetime.now().astimezone().date()


def switch_off_what_was_left(logbook: Path) -> tuple[str, ...]:
    """Switch off what an ended session left on, and say so; return the words for what may still be on."""
    from ohmward.bench.leaving import anything_written

    if not anything_written(logbook):
        return ()
    from ohmward.bench.left_on import recover

    found = recover(logbook)
    for each in found:
        talk(each.text)
    return tuple(each.text for each in found if not each.off)


def lines_for_ever() -> Iterator[str]:
    """Yield the lines of standard input; at its end wait until interrupted."""
    yield from sys.stdin
    threading.Event().wait()


def operator_given(arguments: argparse.Namespace) -> str:
    """Return who was named, by option or environment; empty when nobody was."""
    return str(arguments.operator or os.environ.get("OHMWARD_OPERATOR", "")).strip()


def who_tests(arguments: argparse.Namespace) -> Who:
    """Return who tests: by option, by environment, else the name that the person typed last, if any."""
    from ohmward.desk.who_tests import Who, who_file

    given = arguments.operator if arguments.operator is not None else os.environ.get("OHMWARD_OPERATOR")
    return Who(given, file=who_file())


def who_asked(arguments: argparse.Namespace) -> Who:
    """Return who tests, asked for at the terminal where nobody has said it yet; without one no name is given.

    Raises KeyboardInterrupt where the person leaves instead.
    """
    who = who_tests(arguments)
    if not who.known and has_terminal():
        talk("Nobody is named yet as who tests. The name stands in the record, and is kept for the next run.")
        try:
            problem = who.take(input("Who tests (may stay empty)? "))
        except EOFError as error:
            raise KeyboardInterrupt from error
        if problem:
            talk(problem)
    elif not who.known:
        here = ", 'who NAME' here, " if getattr(arguments, "plain", False) else " "
        talk(f"Recorded with no name of who tests; --operator NAME{here}or OHMWARD_OPERATOR gives one.")
    return who


def who_goes_on(arguments: argparse.Namespace, records: Sequence[Record]) -> str:
    """Return who goes on with a run: as named, else who tested in it last, told; else `who_asked`."""
    from ohmward.desk.place import operator_of
    from ohmward.desk.who_tests import going_on_words

    sitting = who_tests(arguments)
    who = sitting.going_on(operator_of(records))
    if who is sitting:
        return who_asked(arguments).name
    for words in going_on_words(who, sitting, "--operator NAME"):
        talk(words)
    return who.name


def option(text: str | None, unit: str, name: str) -> float | None:
    """Return a value given on the command line [base unit], None when it was not given."""
    from ohmward.quantity import QuantityError, parse

    if text is None:
        return None
    try:
        value = parse(text, unit)
    except QuantityError as error:
        raise InputError(
            [
                Mistake(where="command line", field=name, value=text, why=mistake.why, mend=mistake.mend)
                for mistake in error.mistakes
            ]
        ) from error
    if value.kind != "exact":
        raise InputError(
            [
                Mistake(
                    where="command line",
                    field=name,
                    value=text,
                    why="not a plain number",
                    mend="Give a value",
                )
            ]
        )
    return value.si


def require_new(path: Path) -> None:
    """Refuse a name that is taken, before anything is asked."""
    if path.exists():
        raise InputError(
            [
                Mistake(
                    where=str(path),
                    field="",
                    value="",
                    why="the file is already there",
                    mend="Give another name",
                )
            ]
        )


def free_name(tag: str) -> Path:
    """Return a file name for a tag that is not taken: ``CR-02.toml``, else ``CR-02-2.toml`` and so on."""
    stem = "".join(char if char.isalnum() or char in "-_+." else "-" for char in tag).strip(".-") or "sheet"
    path, number = Path(f"{stem}.toml"), 1
    while path.exists():
        number += 1
        path = Path(f"{stem}-{number}.toml")
    return path


def write_new(path: Path, text: str) -> None:
    """Write a file that is not there yet."""
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise InputError(
            [
                Mistake(
                    where=str(path),
                    field="",
                    value="",
                    why="the file is already there",
                    mend="Give another name",
                )
            ]
        ) from error
    except OSError as error:
        raise Unreachable(f"{visible(str(path))}: cannot be written ({error.strerror})") from error


def has_terminal() -> bool:
    """Return whether a person sits at both ends."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def need_terminal(mend: str) -> None:
    """Refuse, with the mend, when there is no terminal."""
    if not has_terminal():
        raise InputError(
            [
                Mistake(
                    where="terminal",
                    field="",
                    value="",
                    why="this needs a terminal and there is none",
                    mend=mend,
                )
            ]
        )


def progress() -> Callable[[int], None] | None:
    """Return what tells of progress on a terminal, None elsewhere."""
    if not sys.stderr.isatty():
        return None

    def tell(count: int) -> None:
        sys.stderr.write(f"\r{count} rows recorded ")
        sys.stderr.flush()

    return tell


def say(data: object, text: str, as_json: bool) -> None:
    """Print a result: data to stdout."""
    import json  # the first picture of the bench does not wait for it

    print(json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) if as_json else folded(text))


def talk(text: str) -> None:
    """Say something to the person: stderr."""
    sys.stderr.write(folded(visible(text)) + "\n")
