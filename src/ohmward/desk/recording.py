"""Recording through the gates, and what is said when it does not come to that."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Protocol

from ohmward.desk.asking import Act, Desk
from ohmward.desk.typed import reason
from ohmward.errors import InputError, OhmwardError, Refused, Unreachable
from ohmward.logbook.events import Recovered, Resumed
from ohmward.run import AskAgain
from ohmward.run import state as fold

NOT_RECORDED = "Not recorded"


class Keeper(Desk, Protocol):
    """A desk that can write down trouble and open its journal anew."""

    @property
    def trouble(self) -> Callable[[BaseException], str]:
        """Write the details of an error down; return one sentence."""

    @property
    def reopen(self) -> Callable[[], None]:
        """Open the journal in hand anew; raises as `open_run` does."""

    def show_state(self) -> None:
        """Show where the run stands."""


async def recorded(
    desk: Keeper, act: Act, refused: Callable[[Refused], Awaitable[bool | None]] | None = None
) -> bool:
    """Act through the gates; whatever goes wrong is said in words. Return whether it was recorded by `act`.

    What `refused` recorded of a refusal is shown by itself.
    """
    try:
        return await _kept(desk, act)
    except Refused as refusal:
        handled = await refused(refusal) if refused is not None else None
        if handled is None:
            await desk.tell(NOT_RECORDED, [*(f"• {words}" for words in refusal.reasons), refusal.mend])
        return bool(handled)
    except OhmwardError as error:
        await desk.tell(NOT_RECORDED, [reason(error) if isinstance(error, InputError) else str(error)])
        return False
    except Exception as error:  # noqa: BLE001 no traceback is ever shown; what is on disk decides
        desk.live.state = fold(desk.live.journal.records)
        await desk.tell(NOT_RECORDED, [desk.trouble(error), "What was recorded before is safe. Go on."])
        desk.show_state()
        return False


async def _kept(desk: Keeper, act: Act) -> bool:
    """Act; where the journal takes nothing more, offer to open the run again, and then act again."""
    while True:
        known = desk.live.state.last_seq
        try:
            return await _acted(desk, act)
        except (Unreachable, Refused) as error:
            if isinstance(error, Refused) and error.gate != "not-open":
                raise
            if not await _opened_again(desk, str(error)):
                return False
        fresh = [r for r in desk.live.journal.records if r.seq > known]
        if any(not isinstance(record.event, (Recovered, Resumed)) for record in fresh):
            return True  # it had reached the disk after all
        desk.show_state()


async def _opened_again(desk: Keeper, problem: str) -> bool:
    while await desk.confirm(
        NOT_RECORDED,
        [
            problem,
            "What was recorded before is safe. Opening the run again goes on with this very entry.",
        ],
        "Open the run again",
        "Not now",
    ):
        try:
            desk.reopen()
        except OhmwardError as error:
            problem = str(error)
        else:
            return True
    return False


async def _acted(desk: Desk, act: Act) -> bool:
    try:
        act(False)
    except AskAgain as question:
        if not await desk.confirm("Is that so?", [question.question], "Yes, it is so", "No"):
            if question.declined is not None:
                desk.live.do(question.declined)
            return False
        act(True)
    return True
