"""How a class of instrument is asked: profiles, as TOML, shipped and a person's own.

A profile is data: the exact commands, the form of the reply, how long to wait, and what the instrument
must be told on leaving. ``{channel}`` in a command is the channel of the meter's entry, ``{value}`` the
number to set, ``{volts}`` the test voltage of an insulation tester. See ``shipped/profiles`` for examples;
every key is listed in `Profile` and below it.
"""

from __future__ import annotations

import string
from collections.abc import Iterable
from pathlib import Path
from typing import Literal

import msgspec

from ohmward.bench.meters import FUNCTIONS, KINDS
from ohmward.bench.reply import SAMPLES_FORMS
from ohmward.errors import InputError, Mistake, Unreachable
from ohmward.fields import Fields, closest, parse_toml, raise_if_any
from ohmward.procedure.limitset import MOST_TEST_V
from ohmward.shipped import folder, names
from ohmward.text import visible

FORMAT = 1
TIMEOUT_S = 2.0
SAMPLE_FORMS = (
    *SAMPLES_FORMS,
    *(f"{form}-swapped" for form in SAMPLES_FORMS if not form.endswith("8")),
    "ascii",
)

INSULATION = "insulation"
_VOLTS_UNSAID = (
    "it is not said what voltage this puts on the unit",
    'Write {volts} where the tester is told it, or volts = "500 V" where it cannot be told',
)
_NO_VOLTS = "only insulation is read at a test voltage", "Leave it out"
_VOLTS_WRONG = (
    "this is no test voltage, or {volts} is there too",
    'Write volts = "500 V", or {volts}, not both',
)

Form = Literal["number", "numbers"]


class Measure(msgspec.Struct, frozen=True, kw_only=True):
    """One quantity that the instrument measures."""

    name: str
    function: str
    """One of `meters.FUNCTIONS`; says which accuracy applies."""
    unit: str
    prepare: tuple[str, ...] = ()
    """Sent when the instrument was last asked for something else."""
    ask: str
    form: Form = "number"
    place: int = 1
    """Which number of the reply, from 1, where it holds several."""
    scale: float = 1.0
    """What the reply is multiplied by to be in `unit`."""
    settling_s: float = 0.0
    """Waited after `prepare`, before the first reading."""
    timeout_s: float = TIMEOUT_S
    volts: float | None = None
    """Test voltage that it puts on the unit [V], where it cannot be told (``{volts}``)."""

    def test_v(self, asked: float | None) -> float | None:
        """Return the voltage that this puts on the unit [V]; None where it puts none.

        Parameters
        ----------
        asked : float or None
            What it may put on it at most, and will where it can be told; None where that is not known.

        Raises
        ------
        InputError
            When it is not known, or the instrument applies more.
        """
        if self.volts is None and not any("{volts}" in each for each in (*self.prepare, self.ask)):
            return None
        found = asked if self.volts is None else self.volts
        if found is not None and (asked is None or 0 < found <= asked):
            return found
        why = "no test voltage is known for this reading"
        if found is not None:
            why = f"this puts {found:g} V on the unit, and {asked:g} V is the most that is allowed"
        mend = "Have the step name test_voltage, or the limit set; or take another tester"
        value = "" if found is None else f"{found:g} V"
        raise InputError(
            [Mistake(where=f"measure {self.name}", field="volts", value=value, why=why, mend=mend)]
        )


class Setting(msgspec.Struct, frozen=True, kw_only=True):
    """One quantity that the instrument can be set to."""

    name: str
    unit: str
    tell: str
    confirm: str = ""
    """Question whose answer has to agree with what was set."""
    tolerance: float = 0.0
    """How closely [unit]."""
    settling_s: float = 0.0


class Output(msgspec.Struct, frozen=True, kw_only=True):
    """The output of a source or the input of a load: what must never be left on."""

    on: tuple[str, ...]
    off: tuple[str, ...]
    confirm: str = ""
    """Question answered 1 when it is on, 0 when it is off."""


class Capturing(msgspec.Struct, frozen=True, kw_only=True):
    """How a digitising instrument hands over a waveform."""

    unit: str = "V"
    prepare: tuple[str, ...] = ()
    ask: str
    form: str = "real32"
    interval: str
    """Question answered by the time between two samples [s]."""
    gain: str = ""
    """Question answered by what a sample is multiplied by; sent only for whole-number forms."""
    offset: str = ""
    """Question answered by what is then added [unit]."""
    timeout_s: float = 20.0


class Profile(msgspec.Struct, frozen=True, kw_only=True):
    """How one class of instrument is asked."""

    name: str
    kind: str
    title: str
    timeout_s: float = TIMEOUT_S
    error: str = "SYST:ERR?"
    """Question for one entry of the error queue; empty where there is none."""
    opening: tuple[str, ...] = ("*CLS",)
    leaving: tuple[str, ...] = ()
    """Said on leaving; what must be off on leaving stands under `output`."""
    stamps: bool = True
    """Whether to try to stamp each question (`in_step`): a late answer then cannot pass."""
    measures: tuple[Measure, ...] = ()
    settings: tuple[Setting, ...] = ()
    output: Output | None = None
    capture: Capturing | None = None

    def measure(self, name: str = "") -> Measure:
        """Return a measure by name or function; the first where none is named.

        Raises
        ------
        InputError
            When there is none such.
        """
        for each in self.measures:
            if not name or name in {each.name, each.function}:
                return each
        raise self._none("measure", name, [each.name for each in self.measures])

    def setting(self, name: str) -> Setting:
        """Return a setting by name; raises as `measure`."""
        for each in self.settings:
            if each.name == name:
                return each
        raise self._none("set", name, [each.name for each in self.settings])

    def _none(self, what: str, name: str, known: list[str]) -> InputError:
        why = f"the instrument is not known to {what} that" if known else f"there is nothing it can {what}"
        mend = closest(name, known) if known else "Take a profile that can"
        return InputError([Mistake(where=f"profile {self.name}", field=what, value=name, why=why, mend=mend)])


def load(name: str, own: Path | None = None) -> Profile:
    """Return a profile by name: a person's own from the folder `own`, else one of those shipped.

    Raises
    ------
    Unreachable
        When its file cannot be read.
    InputError
        When there is none of that name, or all the mistakes in it at once.
    """
    places = ([own] if own else []) + [folder("profiles")]
    for place in places:
        path = place / f"{name}.toml"
        if name and Path(name).name == name and path.is_file():
            try:
                return loads(path.read_text(encoding="utf-8"), str(path.name))
            except (OSError, UnicodeDecodeError) as error:
                raise Unreachable(f"{visible(str(path))}: cannot be read") from error
    known = sorted(
        {*names("profiles"), *(path.stem for path in own.glob("*.toml"))} if own else names("profiles")
    )
    raise InputError(
        [
            Mistake(
                where="meters",
                field="profile",
                value=name,
                why="no profile has that name",
                mend=closest(name, known),
            )
        ]
    )


def loads(text: str, where: str = "profile") -> Profile:
    """Read the text of a profile; raises `InputError` with all its mistakes."""
    mistakes: list[Mistake] = []
    top = Fields(parse_toml(text, where), where, "", mistakes)
    if top.table.get("format") != FORMAT:
        top.miss("format", "this is not a format known here", f"Write format = {FORMAT}")
    top.has("format")
    found = Profile(
        name=top.name("name"),
        kind=top.choice("kind", KINDS),
        title=top.text("title"),
        timeout_s=_time(top, "timeout", TIMEOUT_S),
        error=_command(top, "error", default="SYST:ERR?"),
        opening=_commands(top, "opening") if top.has("opening") else ("*CLS",),
        leaving=_commands(top, "leaving"),
        stamps=top.flag("stamps", default=True),
        measures=tuple(_measure(each) for each in top.rows("measure", "name")),
        settings=tuple(_setting(each) for each in top.rows("set", "name")),
        output=_output(top.below("output")),
        capture=_capture(top.below("capture")),
    )
    top.finish()
    if found.settings and found.output is None:
        top.miss("output", "it can be set and has nothing to be switched off", "Add [output] with on and off")
    for kind, given in (("measure", found.measures), ("set", found.settings)):
        called = [each.name for each in given]
        for name in {each for each in called if called.count(each) > 1}:
            top.miss(kind, f"two have the name '{name}'", "Give each its own", "")
    raise_if_any(mistakes)
    return found


def _measure(row: Fields) -> Measure:
    function = row.choice("function", tuple(FUNCTIONS))
    name = row.text("name", function)
    form: Form = row.choice("reply", ("number", "numbers"), "number")
    place = row.number("place", "", 1.0)
    place = 1.0 if place is None else place
    if place != int(place) or place < 1:
        row.miss("place", "a place is a whole number from 1", 'Write place = "1"')
    scale = row.number("scale", "", 1.0)
    if not scale:
        row.miss(
            "scale", "nothing can be multiplied by that", 'Write scale = "0.001" for a reply in thousandths'
        )
    found = Measure(
        name=name, function=function, unit=FUNCTIONS[function],
        prepare=_commands(row, "prepare", volts=function == INSULATION),
        ask=_question(row, "ask", volts=function == INSULATION),
        form=form, place=int(place), scale=scale or 1.0,
        settling_s=_time(row, "settling", 0.0, zero=True), timeout_s=_time(row, "timeout", TIMEOUT_S),
        volts=row.number("volts", "V", None),
    )  # fmt: skip
    told = any("{volts}" in each for each in (*found.prepare, found.ask))
    if (function == INSULATION) is not (told or found.volts is not None):
        row.miss("volts", *_VOLTS_UNSAID if function == INSULATION else _NO_VOLTS)
    elif found.volts is not None and (told or not 0 < found.volts <= MOST_TEST_V):
        row.miss("volts", *_VOLTS_WRONG)
    row.finish()
    return found


def _setting(row: Fields) -> Setting:
    unit = row.choice("unit", ("A", "V", "W", "Ω"))
    tell = _command(row, "tell", value=True)
    if tell and "{value}" not in tell:
        row.miss("tell", "it does not say where the value goes", "Write it as 'CURR {value}'")
    found = Setting(
        name=row.text("name"), unit=unit, tell=tell, confirm=_question(row, "confirm", optional=True),
        tolerance=row.number("tolerance", unit, 0.0) or 0.0,
        settling_s=_time(row, "settling", 0.0, zero=True),
    )  # fmt: skip
    row.finish()
    return found


def _output(table: Fields | None) -> Output | None:
    if table is None:
        return None
    found = Output(
        on=_commands(table, "on"),
        off=_commands(table, "off"),
        confirm=_question(table, "confirm", optional=True),
    )
    for key, given in (("on", found.on), ("off", found.off)):
        if not given:
            table.miss(key, "it says nothing", f'Write {key} = ["…"]')
    table.finish()
    return found


def _capture(table: Fields | None) -> Capturing | None:
    if table is None:
        return None
    found = Capturing(
        unit=table.choice("unit", ("V", "A"), "V"), prepare=_commands(table, "prepare"),
        ask=_question(table, "ask"), form=table.choice("form", SAMPLE_FORMS, "real32"),
        interval=_question(table, "interval"), gain=_question(table, "gain", optional=True),
        offset=_question(table, "offset", optional=True), timeout_s=_time(table, "timeout", 20.0),
    )  # fmt: skip
    table.finish()
    return found


def _time(row: Fields, key: str, default: float, *, zero: bool = False) -> float:
    found = row.number(key, "s", default)
    if found is None or found < 0 or (found == 0 and not zero) or found > 3600:
        if found is not None:
            row.miss(key, "a time to wait is above zero and at most an hour", f'Write {key} = "2 s"')
        return default
    return found


def _commands(row: Fields, key: str, *, volts: bool = False) -> tuple[str, ...]:
    found = row.texts(key)
    for each in found:
        _check(row, key, each, volts=volts)
    return found


def _command(
    row: Fields, key: str, *, default: str | None = None, value: bool = False, volts: bool = False
) -> str:
    found = row.text(key, default)
    _check(row, key, found, value=value, volts=volts)
    return found


def _question(row: Fields, key: str, *, optional: bool = False, volts: bool = False) -> str:
    found = _command(row, key, default="" if optional else None, volts=volts)
    if found and "?" not in found:
        row.miss(key, "it asks nothing", "A question has a '?', such as 'READ?'")
    return found


def _check(row: Fields, key: str, text: str, *, value: bool = False, volts: bool = False) -> None:
    """Refuse what cannot be sent as one line, or has a place to fill that nobody fills."""
    allowed = {"channel"} | ({"value"} if value else set()) | ({"volts"} if volts else set())
    if not all(0x20 <= ord(each) < 0x7F for each in text):
        row.miss(key, "a command is one line of plain ASCII", "Leave out other characters", text)
        return
    try:
        wanted: Iterable[str] = [name for _, name, _, _ in string.Formatter().parse(text) if name is not None]
    except ValueError:
        wanted = ["?"]
    for name in wanted:
        if name not in allowed:
            places = " and ".join(sorted(f"{{{each}}}" for each in allowed))
            row.miss(key, f"only {places} can be filled in here", "Write the command as it is sent", text)
