"""The `ohmward` command: parse, one library call, error to exit code, one writer.

stdout carries data, stderr carries talk. Exit codes are `errors.Exit`. Nothing heavy is imported
here at the top, so that `--help` and `--version` stay instant.
"""

from __future__ import annotations

import argparse
import os
import sys

from ohmward.cli.screen import no_command
from ohmward.cli.talking import talk
from ohmward.errors import Exit, OhmwardError
from ohmward.text import PAGE

LEAST_COLUMNS = 60
"""Narrower than this nothing is made to fit."""


def main(argv: list[str] | None = None) -> int:
    """Run one command line; return its exit code."""
    words = sys.argv[1:] if argv is None else argv
    arguments = no_command(words) or _parsed(words)
    if sys.stdout.isatty() and (columns := os.get_terminal_size(sys.stdout.fileno()).columns):
        PAGE.set(max(columns, LEAST_COLUMNS))
    try:
        code = int(arguments.run(arguments))
        sys.stdout.flush()  # a closed pipe shows here, not at the interpreter's end
    except OhmwardError as error:
        talk(str(error))
        return int(error.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return int(Exit.DONE)
    except KeyboardInterrupt:
        talk("Interrupted. What was acknowledged is in the journal.")
        return int(Exit.BAD_INPUT)
    except Exception as error:
        if os.environ.get("OHMWARD_TRACE"):
            raise
        talk(
            f"A fault of ohmward's own, not of your input: {type(error).__name__}: {error}. "
            "What was acknowledged is in the journal. "
            "OHMWARD_TRACE=1 before the command shows where it went wrong; please report that."
        )
        return int(Exit.UNREACHABLE)
    return code


def _parsed(words: list[str]) -> argparse.Namespace:
    from ohmward.cli.parsing import parser

    return parser().parse_args(words)
