"""What help says before it lists the keys: what a screen is for, and what the step in hand is about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ohmward.desk.card import entry_sign, title
from ohmward.desk.glossary import lines, met_in
from ohmward.desk.meter_will_do import will_do_words
from ohmward.desk.words import LOCAL_CODES, SEVERITIES
from ohmward.procedure.model import Item
from ohmward.run.state import RunState
from ohmward.text import one_line, visible

MOST_WORDS = 8
"""Trade words that help explains of itself; the glossary has the rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A heading and what stands under it."""

    heading: str
    lines: tuple[str, ...]


_SCREENS: Mapping[str, tuple[str, ...]] = {
    "the bench": (
        "Here are the supplies whose design sheets are in the logbook, and the runs made on them. A run is "
        "one commissioning or retest from beginning to end; it can be left and resumed at any time.",
    ),
    "a supply": (
        "What the design sheet says, what it gives away by itself, and what every reading ought to be before "
        "anything is plugged in.",
    ),
    "the form of a design sheet": (
        "Everything the sheet may say, field by field; what is not known stays empty. Each value is checked "
        "as it is typed, and beside it stands what every reading would then be, with what differs from the "
        "sheet as saved.",
        "Nothing is on the disk before Ctrl+S, and a sheet that cannot be read is never saved. Comments and "
        "layout of the file stay. Runs keep the sheet that they were begun with.",
    ),
    "a run": (
        "One entry after another, each on disk before the screen says so. Nothing on record is ever altered: "
        "a mistake is amended, and the amendment says why.",
        "On a reading, start typing a number and the keys write; with nothing typed, a letter is a command. "
        "Enter takes the value, and Enter again goes on.",
    ),
    "an assessment": (
        "What the run amounts to. Each reading has two answers: does it keep its limit (the verdict), and is "
        "it what the design predicts? A reading can pass its limit and still be a warning.",
        "Nothing is judged again here: limit, expected value and verdict are those recorded at the time.",
    ),
    "a history": (
        "The same readings over the years: what has changed, by more than the meters explain, and when a "
        "limit will be reached.",
    ),
    "the meters": (
        "The meters of the logbook: what they are, whether their calibration holds, what they read.",
    ),
}


def screen_help(heading: str) -> tuple[Part, ...]:
    """Return what a screen is for; nothing for one that says it by itself."""
    told = _SCREENS.get(heading, ())
    return (Part(heading="What this screen is for", lines=told),) if told else ()


def step_help(state: RunState, item: Item | None) -> tuple[Part, ...]:
    """Return what the step in hand is about, what can hurt in its stage, and the trade words in it."""
    if item is None:
        return screen_help("a run")
    spec, stage = item.spec, state.stage(item.stage)
    named = (
        ("", visible(spec.do)),
        ("Why: ", visible(spec.why)),
        ("How: ", visible(spec.method)),
        ("A meter that will do: ", will_do_words(item)),
        ("Caution: ", visible(spec.caution)),
        ("If it fails: ", str(SEVERITIES[spec.severity])),
        ("Limit from: ", one_line(item.limit.basis) if item.limit is not None else ""),
        ("It stands: ", str(entry_sign(state, item))),
    )
    parts = [
        Part(
            heading=f"This step: {title(item)}",
            lines=tuple(f"{lead}{words}" for lead, words in named if words),
        )
    ]
    cautions = [*stage.cautions, LOCAL_CODES] if stage.energised else list(stage.cautions)
    about = [one_line(words) for words in (stage.purpose, *(f"‼ {caution}" for caution in cautions)) if words]
    if about:
        parts.append(Part(heading=f"This stage: {one_line(stage.title)}", lines=tuple(about)))
    parts += words_part((*parts[0].lines, *about, title(item)))
    return (*parts, *screen_help("a run"))


def words_part(texts: Sequence[str]) -> list[Part]:
    """Return the trade words that stand in `texts`, explained."""
    met = met_in(texts)[:MOST_WORDS]
    return [Part(heading="Words used here", lines=tuple(lines(met)))] if met else []
