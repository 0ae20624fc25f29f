"""The key map: one table a screen, from which bindings, hints and the help screen are all made."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from textual.binding import Binding, BindingType


class Key(NamedTuple):
    """A key, how it is written, the action it starts, words for the hint line, a sentence for help."""

    key: str
    shown: str
    action: str
    hint: str
    help: str


ANYWHERE = (
    Key("question_mark,f1", "?", "help", "help", "say what this step is about, and show every key; F1 too"),
    Key(
        "ctrl+p",
        "Ctrl+P",
        "app.command_palette",
        "find",
        "find anything that can be done here, or go anywhere, by a few letters of it",
    ),
    Key("ctrl+t", "Ctrl+T", "app.look", "light/dark", "turn between the dark look and the light one"),
    Key("ctrl+q", "Ctrl+Q", "app.quit", "quit", "leave ohmward; everything recorded is on disk already"),
    Key(
        "ctrl+z",
        "Ctrl+Z",
        "app.suspend_process",
        "put aside",
        "go back to the shell for a while; 'fg' there comes back (not while something runs by itself)",
    ),
)
RUN = (
    Key("enter", "Enter", "go_on", "go on", "take the value typed; with nothing typed, do what 'Next' says"),
    Key("p", "p", "answer('pass')", "pass", "check: it is as it should be"),
    Key("f", "f", "answer('fail')", "fail", "check: it is not; say what is wrong"),
    Key(
        "n", "n", "answer('not applicable')", "not applicable", "check: there is no such thing on this supply"
    ),
    Key(
        "r",
        "r",
        "meter_reading",
        "take the reading",
        "have the meter read, and fill in what it shows; Enter takes it",
    ),
    Key(
        "i",
        "i",
        "by_itself",
        "run by itself",
        "load sweep, soak or overload: have it run by itself over the meters at hand; once more stops it",
    ),
    Key(
        "h",
        "h",
        "hands_free",
        "hands free",
        "take every reading by itself as soon as the probe has settled in a new place; once more ends that",
    ),
    Key("y", "y", "waveform", "waveform", "take a waveform of this, or attach the file of an oscilloscope"),
    Key(
        "t",
        "t",
        "move('meter')",
        "which meter",
        "say which meter is in use, so that its accuracy counts; or at what voltage insulation is tested",
    ),
    Key("o", "o", "move('begin')", "begin hold", "what has to be held is begun: the clock counts from here"),
    Key("up", "↑", "step(-1)", "back", "go to the entry before this one"),
    Key("down", "↓", "step(1)", "forward", "go to the entry after this one"),
    Key("g", "g", "next_open", "next open", "go to the next entry that is still to be done"),
    Key("j", "j", "move('jump')", "list", "list every entry and go to one"),
    Key("pageup", "PgUp", "scroll_card(-1)", "scroll", "scroll the instructions up"),
    Key("pagedown", "PgDn", "scroll_card(1)", "scroll", "scroll the instructions down"),
    Key("l", "l", "turn_page", "points/plot", "turn between instructions, table of points and plot"),
    Key("w", "w", "move('note')", "note", "write a note on this entry"),
    Key("q", "q", "move('who')", "who tests", "say who tests from here on; an empty name is not given"),
    Key("k", "k", "move('skip')", "leave out", "leave this entry out, with the reason"),
    Key(
        "v",
        "v",
        "move('override')",
        "override",
        "go on although it failed, in writing: a failed reading stays so (never a danger)",
    ),
    Key(
        "e",
        "e",
        "move('amend')",
        "amend",
        "correct or withdraw an entry made by mistake; the old one stays on record",
    ),
    Key("a", "a", "move('cautions')", "cautions", "read and acknowledge the cautions of the stage"),
    Key("m", "m", "move('parts')", "metal parts", "name the metal parts that a hand can touch"),
    Key("c", "c", "move('case')", "open/shut case", "say that the case is opened or shut"),
    Key(
        "d",
        "d",
        "move('repair')",
        "repair done",
        "say what was mended or changed; checks and tests made before go stale",
    ),
    Key(
        "equals_sign",
        "=",
        "move('as before')",
        "as before",
        "after a repair: confirm that the checks of this section were looked at again and are as before",
    ),
    Key("u", "u", "move('energise')", "mains on", "apply mains, when every gate allows it"),
    Key("x", "x", "move('off')", "SWITCH OFF", "switch off, unplug, and make safe"),
    Key(
        "ctrl+o", "Ctrl+O", "move('off')", "SWITCH OFF", "the same, and it works while a value is being typed"
    ),
    Key("s", "s", "assessment", "assessment", "show what the readings so far amount to"),
    Key("z", "z", "move('close')", "close run", "end the run: its summary becomes the last record"),
    Key("b", "b", "bench", "bench", "go back to the bench; the run stays open"),
    Key("escape", "Esc", "clear", "clear", "empty the entry; in a dialogue, go back without doing anything"),
    *ANYWHERE,
)
BENCH = (
    Key("enter", "Enter", "pick", "open", "open the supply or the run under the cursor"),
    Key("n", "n", "new_run", "new run", "start a run on the supply under the cursor"),
    Key("r", "r", "resume", "resume", "go on with the run in hand of the supply under the cursor"),
    Key("a", "a", "new_supply", "new supply", "describe a supply that is not here yet"),
    Key("h", "h", "history", "history", "show the years of the supply under the cursor: trends, comparison"),
    Key(
        "s",
        "s",
        "assessment",
        "assessment",
        "show what the run under the cursor, or the supply's latest, amounts to",
    ),
    Key("slash", "/", "search", "search", "type words that narrow both tables; Enter goes to what is left"),
    Key("m", "m", "meters", "meters", "show the meters: calibration, connection test, live reading"),
    Key("q", "q", "who", "who tests", "say who tests; it is kept for the next run"),
    Key("tab", "Tab", "app.focus_next", "other table", "move between the two tables"),
    Key("escape", "Esc", "clear_search", "show all", "end the search, and show everything again"),
    Key("f5", "F5", "reread", "read again", "read the folder again"),
    *ANYWHERE,
)
HISTORY = (
    Key("1", "1", "tab(1)", "quantities", "show every quantity, then and now, with its trend"),
    Key("2", "2", "tab(2)", "plot", "show the quantity under the cursor over the years"),
    Key("3", "3", "tab(3)", "runs", "show the runs"),
    Key("4", "4", "tab(4)", "compared", "show two runs beside each other"),
    Key("left", "←", "next_quantity(-1)", "the one before", "plot: show the quantity before"),
    Key("right", "→", "next_quantity(1)", "the next", "plot: show the quantity after"),
    Key("enter", "Enter", "pick", "open", "quantity: its plot; run: what it amounts to"),
    Key("c", "c", "compare", "compare", "run: mark it; on a second run, compare the two"),
    Key("t", "t", "baseline", "baseline", "run: compare everything with it; once more ends that"),
    Key("r", "r", "rehearsals", "rehearsals", "turn between runs of the real supply and rehearsals"),
    Key("f5", "F5", "reread", "read again", "read the runs again"),
    Key("escape,b", "Esc", "back", "back", "go back; b does the same"),
    *ANYWHERE,
)
METERS = (
    Key("t", "t", "test", "test", "test the connection of the meter under the cursor"),
    Key("a", "a", "test_all", "test all", "test the connection of every meter that can be reached"),
    Key(
        "r",
        "r",
        "live",
        "live reading",
        "read the meter under the cursor again and again; once more stops it",
    ),
    Key("f", "f", "function", "what to read", "choose what the meter is to read"),
    Key("enter", "Enter", "pick", "all of it", "show all that is known of the meter, its accuracy too"),
    Key("e", "e", "begin_file", "begin a list", "where there is no list yet: begin one with an example"),
    Key("f5", "F5", "reread", "read again", "read the list of meters again"),
    Key("escape,b", "Esc", "back", "back", "stop reading, and go back; b does the same"),
    *ANYWHERE,
)
SUPPLY = (
    Key("enter", "Enter", "pick", "open", "runs: open the one under the cursor; design sheet: change it"),
    Key("n", "n", "new_run", "new run", "start a run on this supply"),
    Key("e", "e", "edit", "edit", "change the design sheet, and see what that does to every reading"),
    Key("1", "1", "tab(1)", "sheet", "show the design sheet"),
    Key("2", "2", "tab(2)", "findings", "show what the sheet itself gives away"),
    Key("3", "3", "tab(3)", "expected", "show what every reading ought to be"),
    Key("4", "4", "tab(4)", "drawing", "show the chain of every rail, from the mains to its output"),
    Key("5", "5", "tab(5)", "runs", "show the runs made on this supply; Enter opens one"),
    Key("c", "c", "copy", "copy", "begin the sheet of another supply from this one, under its own tag"),
    Key("escape,b", "Esc", "back", "back", "go back to the bench; b does the same"),
    *ANYWHERE,
)
SHEET = (
    Key(
        "enter",
        "Enter",
        "pick",
        "change",
        "field: change it, then Enter takes it and goes down; a part left out: add it",
    ),
    Key("ctrl+s,f2", "Ctrl+S", "save", "save", "save the sheet, if it can be read (F2 does the same)"),
    Key("a", "a", "add", "add", "add a rail, a transformer or a secondary"),
    Key("d", "d", "remove", "take out", "take out the part under the cursor, with all that stands in it"),
    Key("u", "u", "undo", "undo", "undo the last change; once more, the one before"),
    Key("g", "g", "go_to", "go to", "list the parts of the sheet and go to one"),
    Key(
        "w,f4",
        "w",
        "wrong",
        "what is wrong",
        "show every mistake, and everything found on the design (F4 does the same while a field is changed)",
    ),
    Key("v", "v", "changes", "changes", "show what differs from the sheet as saved"),
    Key("tab", "Tab", "app.focus_next", "readings", "move between the form and the readings"),
    Key("up", "↑", "step(-1)", "field before", "while changing a field: take it, and change the one before"),
    Key("down", "↓", "step(1)", "field after", "while changing a field: take it, and change the one after"),
    Key("escape", "Esc", "back", "leave", "while changing a field: put back what stood there; else leave"),
    *ANYWHERE,
)
ASSESSMENT = (
    Key("1", "1", "tab(1)", "summary", "show the verdict and what to act on"),
    Key("2", "2", "tab(2)", "readings", "show the readings with limit, expected value and verdict"),
    Key("4", "4", "tab(4)", "causes", "show what is most likely wrong, and how to make sure of it safely"),
    Key("f", "f", "filter", "filter", "readings: all, failed, unexpected, not done, gone on with, in turn"),
    Key("u", "u", "budget", "± from where", "readings: say where the ± of the one at the cursor comes from"),
    Key("r", "r", "report", "report", "print the report, the short form or the fault sheet to a file"),
    Key("t", "t", "label", "label", "print the label for the case to a file"),
    Key("escape,b", "Esc", "back", "back", "end the search; with none going on, go back, as b does"),
    Key("enter", "Enter", "in_full", "in full", "say all of the row under the cursor"),
    Key("slash", "/", "search", "search", "readings: type words that narrow them"),
    Key("o", "o", "only", "one rail", "readings: those of one stage or one rail"),
    Key("l", "l", "picture", "picture", "rails, soak, waves: turn between table and picture"),
    Key("3", "3", "tab(3)", "checks", "show every check"),
    Key("5", "5", "tab(5)", "rails", "show what the readings of each rail say together, with its load line"),
    Key("6", "6", "tab(6)", "soak", "show how hot each part gets, here and in the hottest room"),
    Key("7", "7", "tab(7)", "waves", "show what the waveforms say"),
    Key("8", "8", "tab(8)", "limits", "show where each reading lies between its limits"),
    Key(
        "9",
        "9",
        "tab(9)",
        "gaps",
        "show what was gone on with in writing, is to be done, happened on the way, or is amiss by design",
    ),
    *ANYWHERE,
)
APP_KEYS = frozenset({"ctrl+o", "ctrl+p", "ctrl+q", "ctrl+t", "ctrl+z"})
"""Bound by the app with priority: they work over a dialogue, and while a value is being typed."""


def bindings(keys: Iterable[Key]) -> list[BindingType]:
    """Return the bindings of a table, but for the keys that the app binds with priority."""
    return [Binding(key.key, key.action, key.hint, show=False) for key in keys if key.key not in APP_KEYS]


def sheet_hints(*, typing: bool) -> list[Key]:
    """Return the keys of the form that matter now, the most important first."""
    keys = {key.action: key for key in SHEET}
    if typing:
        named = {
            "pick": "take it, go down",
            "step(1)": "next field",
            "step(-1)": "field before",
            "back": "put back",
        }
        return [*(keys[action]._replace(hint=words) for action, words in named.items()), keys["save"]]
    return [key for key in SHEET if key.action not in {"help", "step(-1)", "step(1)"}]
