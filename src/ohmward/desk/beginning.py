"""Starting a run: which procedure, who tests, why; the questions here, the checks in `run.start`."""

from __future__ import annotations

from pathlib import Path

from ohmward import shipped
from ohmward.desk.asking import Talks
from ohmward.desk.opening import TOOL
from ohmward.desk.who_tests import Who, ask_once
from ohmward.errors import OhmwardError
from ohmward.procedure import load
from ohmward.run.start import start
from ohmward.text import tester


async def begin(
    desk: Talks,
    logbook: Path,
    sheet: Path,
    *,
    who: Who,
    simulated: bool,
    procedure: str = "",
    meters: Path | None = None,
) -> Path | None:
    """Ask for what a run needs and create it; None when the person goes back or it is refused.

    The cursor begins at `procedure`, what the supply is due for, where it is one of those shipped.
    `meters` is a list of meters other than the logbook's own.
    """
    names, words = await desk.aside(_procedures)
    chosen = await desk.choose(
        "Start a run: which procedure?",
        words,
        at=names.index(procedure) if procedure in names else _usual(names),
    )
    if chosen is None:
        return None
    if not await ask_once(desk, who):
        return None
    lines = [f"Tested by: {tester(who.name)}. Another name: q, on the bench or in the run."]
    why = await desk.ask("Start a run", lines, label="Who asked for it, and why (may stay empty)")
    if why is None:
        return None
    try:
        return await desk.aside(
            lambda: start(
                logbook,
                sheet,
                procedure=names[chosen],
                operator=who.name,
                purpose=why,
                simulated=simulated,
                meters=meters,
                tool=TOOL,
            )
        )
    except OhmwardError as error:
        await desk.tell("The run was not started", str(error).splitlines())
        return None


def _procedures() -> tuple[list[str], list[str]]:
    """Return the procedures shipped, by name and in words."""
    names = list(shipped.names("procedures"))
    return names, [f"{name}: {load(name).title}" for name in names]


def _usual(names: list[str]) -> int:
    return names.index("commissioning") if "commissioning" in names else 0
