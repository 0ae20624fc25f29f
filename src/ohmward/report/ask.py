"""Asking for a design sheet in a terminal, question by question."""

from __future__ import annotations

from collections.abc import Callable

from ohmward.errors import InputError
from ohmward.supply.question import NOT_KNOWN, Question, as_before, check, meant, offered, understood
from ohmward.supply.questions import build, next_question
from ohmward.text import one_line

_OPENING = """\
Answer with a value and its unit, such as '230 V' or '4700 µF'.
Only what says 'needed' has to be known.
Elsewhere Enter alone takes what stands in brackets, or means 'not known'.
What was said of one rail is never taken for the next by itself.
Type '?' to be told what is asked for, 'back' for the question before.
Ctrl-C leaves, and nothing is written."""
_LAST = "That was the last question. Write the sheet (Enter or y; 'back' for the last question): "


def ask_sheet(read: Callable[[str], str], write: Callable[[str], None]) -> tuple[str, str]:
    """Ask every question and return the tag and the commented sheet.

    Parameters
    ----------
    read : callable
        Shows a prompt and returns what is typed; an EOFError or KeyboardInterrupt ends the asking.
    write : callable
        Shows a line.
    """
    write(_OPENING)
    answers: dict[str, str] = {}
    before: dict[str, str] = {}
    section = ""
    while True:
        question = next_question(answers)
        if question is None:
            try:
                text = build(answers)
            except InputError as error:  # each will do alone, but they do not fit together
                for mistake in error.mistakes:
                    write(f"  {one_line(str(mistake))}")
                write("  Answer the last question again; 'back' goes on to those before.")
                answers.popitem()
                continue
            if _to_be_written(read, write):
                return answers["tag"], text
            before.update([answers.popitem()])
            continue
        if question.section != section:
            section = question.section
            write(f"\n{section.upper()}")
        was = before.get(question.key, "")
        answer = read(_prompt(question, was)).strip() or was
        typed = meant(question, answer)
        if typed == "back":
            if answers:
                before.update([answers.popitem()])
            continue
        wrong = check(question, typed)
        if wrong is not None:
            write(f"  {one_line(wrong)}")
            continue
        answers[question.key] = typed
        taken = understood(question, typed)
        if taken != answer:
            write(f"  = {taken}")


def _to_be_written(read: Callable[[str], str], write: Callable[[str], None]) -> bool:
    """Ask for a last look before the sheet is written; False for 'back'."""
    while True:
        said = read(_LAST).strip().lower()
        if said in {"", "y", "yes", "back"}:
            return said != "back"
        write("  Enter or y writes it, 'back' goes to the last question, Ctrl-C leaves.")


def _prompt(question: Question, was: str) -> str:
    why = f" - {question.why}" if question.why else ""
    return f"{question.prompt}{why}{_hint(question, was)}: "


def _hint(question: Question, was: str) -> str:
    usual = was or question.default
    if usual:
        needed = "" if question.required or question.choices else f"{NOT_KNOWN} if not known"
    else:
        needed = "needed" if question.required else "Enter if not known"
    example = f"such as {question.example}" if question.example and not usual else ""
    parts = [part for part in (offered(question) or example, needed, as_before(question)) if part]
    return (f" ({'; '.join(parts)})" if parts else "") + (f" [{usual}]" if usual else "")
