"""What can be typed at a run: one table, from which the help is made and a line is understood."""

from __future__ import annotations

from typing import NamedTuple


class Command(NamedTuple):
    """A command: its words, the first of which names it, and a sentence for help."""

    words: tuple[str, ...]
    help: str

    @property
    def name(self) -> str:
        """The word it goes by."""
        return self.words[0]


COMMANDS = (
    Command(("help", "?", "h"), "say what can be typed; help and a word says it of that word"),
    Command(("repeat", "again", "."), "say this entry again"),
    Command(("why",), "say why it is asked for, how it is done, and where its limit comes from"),
    Command(("where", "progress"), "say how far the run is"),
    Command(("pass", "p"), "check: it is as it should be"),
    Command(("fail", "f"), "check: it is not; say what is wrong"),
    Command(("not applicable", "n", "na"), "check: there is no such thing on this supply"),
    Command(("read", "r"), "have the meter at hand read this, and then take what it read"),
    Command(
        ("by itself", "i"),
        "load sweep, soak or overload: have it run by itself over the meters at hand; Enter stops it",
    ),
    Command(
        ("hands free", "hands"),
        "take reading after reading as soon as the probe has settled in a new place; Enter ends that",
    ),
    Command(("waveform", "y"), "take a waveform of this, or attach the file of an oscilloscope"),
    Command(("points", "l"), "say the points of this sweep or soak"),
    Command(
        ("meter", "t"), "say which meter is in use, so that its accuracy counts; a name may stand behind it"
    ),
    Command(
        ("test voltage",), "have insulation tested at the other voltage of the limit set; say why behind it"
    ),
    Command(("begin", "o"), "say that what has to be held for its time is begun: the clock counts from here"),
    Command(("previous", "back"), "go to the entry before this one"),
    Command(("forward",), "go to the entry after this one"),
    Command(("next", "g"), "go to the next entry that is still to be done"),
    Command(
        ("list", "entries"), "list the entries of this stage; 'list open', 'list all', or 'list' and words"
    ),
    Command(("jump", "j", "go to"), "go to an entry: by its number in the list, or by words of its title"),
    Command(("note", "w"), "write a note on this entry"),
    Command(("who", "q"), "say who tests from here on; the name may stand behind it"),
    Command(("skip", "k"), "leave this entry out, with the reason"),
    Command(
        ("override", "v"),
        "go on although it failed, in writing: a failed reading stays failed (never a danger)",
    ),
    Command(
        ("amend", "e"), "correct or withdraw an entry made by mistake; the old one stays on record"
    ),
    Command(("cautions", "a"), "read and acknowledge the cautions of the stage"),
    Command(("parts", "m"), "name the metal parts that a hand can touch"),
    Command(("case", "c"), "say that the case is opened or shut: case open, case shut"),
    Command(("repair", "d"), "say what was mended or changed; checks and tests made before go stale"),
    Command(
        ("as before", "="),
        "after a repair: confirm that the checks of this section were looked at again and are as before",
    ),
    Command(("energise", "u", "energize"), "apply mains, when every gate allows it"),
    Command(("off", "x", "make safe"), "switch off, unplug, and make safe; it works at every question too"),
    Command(("assessment", "s"), "say what the readings so far amount to; 'assessment all' says every row"),
    Command(("close", "z"), "end the run: its summary becomes the last record"),
    Command(("quit", "b", "leave"), "leave; the run stays open, and everything recorded is on disk"),
)  # fmt: skip
HOW = (
    "On a reading, type the value, such as 15.02 or 85m. On a check, type pass, fail or not applicable. "
    "Words behind a command answer its first question: note fan rattles. An empty line goes on with what "
    "'Next' says. In a question, 'back' leaves it without recording anything. Nothing on record is ever "
    "altered: a mistake is amended. Ctrl-C leaves; nothing recorded is lost."
)
_BY_WORDS = {words: command for command in COMMANDS for words in command.words}


def understood(text: str) -> tuple[Command, str] | None:
    """Return the command that a line begins with, and the rest of the line; None where it is none."""
    parts = text.split()
    for count in (2, 1):
        command = _BY_WORDS.get(" ".join(parts[:count]).lower())
        if command is not None and len(parts) >= count:
            return command, text.split(maxsplit=count)[count] if len(parts) > count else ""
    return None


def help_line(command: Command) -> str:
    """Return a command with its other words, and what it does."""
    name, *others = command.words
    also = f" (or {', '.join(others)})" if others else ""
    return f"{name}{also}: {command.help}."
