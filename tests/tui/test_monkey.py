"""Keys at random, from every state of a run: no traceback, no illegal state, no lost record.

Every test run sends some 2,000 events, others each day; `OHMWARD_MONKEY=20000` asks for so many in all (some
four minutes), and `OHMWARD_SEED` for those of one seed again: a run that fails says which it was.
"""

from __future__ import annotations

import os
import sys
import traceback
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ohmward.logbook import read, verify
from ohmward.run.state import Phase
from ohmward.tui.app import OhmwardApp
from support.monkey import Monkey
from support.screens import NARROW
from support.taking import TO_LOADED, TO_SOAK, Job, job

EVENTS = int(os.environ.get("OHMWARD_MONKEY", "2000"))
SEED = int(os.environ.get("OHMWARD_SEED", str(datetime.now(UTC).toordinal())))
HEAD = "step,subject,value,meter,note\n"
OFF = "switched-off,,,,\n"
SAFE = OFF + "unplugged,,pass,,\nresidual,+15,0.1,,\n"
AT_SOAK = TO_SOAK + "".join(f"load-points.mains,+15 @ {share} %,231,,\n" for share in (0, 50, 100))
LIVE = TO_LOADED.partition("lamp,")[0]
STATES = {
    "begun": HEAD,
    "dead stages half done": TO_LOADED.partition("earth,front panel")[0],
    "dead stages done": TO_LOADED.partition("acknowledge,no-load")[0],
    "live, no load": LIVE,
    "loaded": TO_LOADED,
    "soak": AT_SOAK,
    "halted": LIVE + "lamp,,fail,,stays bright\n",
    "off": TO_LOADED + OFF,
    "made safe": TO_SOAK + SAFE,
    "mended": TO_LOADED.partition("lamp,")[0]
    + "lamp,,fail,,stays bright\n"
    + SAFE
    + "repaired,,,,new bridge\n",
    "closed": TO_LOADED + SAFE + "close,,,,\n",
}


@pytest.mark.timeout(3600)
@pytest.mark.parametrize("start", STATES)
async def test_keys_at_random_lose_nothing_and_break_no_law(start: str, tmp_path: Path) -> None:
    seed, events = SEED * 1000 + list(STATES).index(start), -(-EVENTS // len(STATES))
    sys.stdout.write(f"OHMWARD_SEED={SEED} OHMWARD_MONKEY={EVENTS}\n")
    sent: list[str] = []
    phases: Counter[Phase] = Counter()
    with job(tmp_path, STATES[start]) as it:
        path = it.live.journal.path
        it.live.close_file()
        while len(sent) < events:  # a monkey that leaves the program comes back to it
            monkey = await sitting(tmp_path, path, it, seed + len(sent), events - len(sent))
            sent += monkey.sent
            phases += monkey.phases
        for each in tmp_path.rglob("*.jsonl"):
            assert verify(each).intact, each
    if os.environ.get("OHMWARD_MONKEY"):
        kinds = Counter(type(record.event).__name__ for record in read(path))
        sys.stdout.write(f"{start}: {len(sent)} events, seen {dict(phases)}, recorded {dict(kinds)}\n")


async def sitting(logbook: Path, path: Path, it: Job, seed: int, events: int) -> Monkey:
    """Have a monkey at the run until it leaves, or has sent its events."""
    app = OhmwardApp(logbook, run_path=path, meters=lambda: it.meters)
    async with app.run_test(size=NARROW) as pilot:
        monkey = Monkey(pilot, path, seed)
        await monkey.types(events)
        if monkey.run is not None:
            await monkey.run.stopped()
    app.let_go()
    if app.crash is not None:
        said = "".join(traceback.format_exception(app.crash))
        raise AssertionError(f"after {monkey.sent[-40:]}:\n{said}")
    monkey.over()
    return monkey
