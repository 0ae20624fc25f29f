"""Starting a run: which procedure, who works, why. The questions here, the checks in `run.start`."""

from __future__ import annotations

from pathlib import Path

from ohmward import shipped
from ohmward.desk.opening import TOOL
from ohmward.errors import OhmwardError
from ohmward.procedure import load
from ohmward.run.start import start
from ohmward.tui.desk import Talker


async def begin(
    desk: Talker, logbook: Path, sheet: Path, *, operator: str, simulated: bool, procedure: str = ""
) -> Path | None:
    """Ask for what a run needs and create it; None when the person goes back or it is refused.

    The cursor begins at `procedure`, what the supply is due for, where it is one of those shipped.
    """
    names = list(shipped.names("procedures"))
    chosen = await desk.choose(
        "Start a run: which procedure?",
        [_words(name) for name in names],
        at=names.index(procedure) if procedure in names else _usual(names),
    )
    if chosen is None:
        return None
    who = await desk.ask("Start a run", label="Who works at the bench", value=operator, needed=True)
    if who is None:
        return None
    why = await desk.ask("Start a run", label="Who asked for it, and why (may stay empty)")
    if why is None:
        return None
    try:
        return start(
            logbook,
            sheet,
            procedure=names[chosen],
            operator=who,
            purpose=why,
            simulated=simulated,
            tool=TOOL,
        )
    except OhmwardError as error:
        await desk.tell("The run was not started", str(error).splitlines())
        return None


def _words(name: str) -> str:
    procedure = load(name)
    return f"{name}: {procedure.title}"


def _usual(names: list[str]) -> int:
    return names.index("commissioning") if "commissioning" in names else 0
