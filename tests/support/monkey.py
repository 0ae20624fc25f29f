"""A monkey at the keyboard: seeded keys, values, words, sizes and waits, biased so that it gets on.

It looks at what kind of screen it has before it, as a person does, and now and then does anything at all.
"""

from __future__ import annotations

import asyncio
import contextlib
import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from textual.command import CommandPalette
from textual.events import Key, Resize
from textual.geometry import Size
from textual.pilot import Pilot

from ohmward.logbook import read, verify
from ohmward.logbook.events import Record
from ohmward.run.state import Phase, RunState
from ohmward.tui.app import OhmwardApp
from ohmward.tui.bench_screen import BenchScreen
from ohmward.tui.dialogs import Ask, AskList, Choose, Confirm, Tell
from ohmward.tui.run_screen import RunScreen
from support.oracle import lawful

ANSWER_S = 5.0
SIZES = ((80, 24), (80, 24), (140, 45), (60, 20), (110, 34), (40, 12), (200, 60))
USUAL = {"lead-null": "0.2", "earth": "0.25", "insulation": ">200M", "mains": "231", "output": "15.02",
         "load-points": "15.01", "soak": "30", "residual": "0.1"}  # fmt: skip
VALUES = {
    "Ω": ("0.2", "0.21", "0.25", ">200M", ">200M", "1", "9", "0", "R47", "-3", "1e3", "OL"),
    "V": ("231", "15.02", "15", "14.9", "0.1", "0.02", "24.5", "40", "0", "-15", "15 mV"),
    "°C": ("21.5", "45", "60", "120", "-3", "21,5", "21.50"),
}
WORDS = (
    "x", "cracked", "mended: new plug", "", " ", "0.2", "15", "0.1 s", "1 s", "30 min", "Ω ✓ é", "[b]no[/b]",
    "a" * 300, "/no/such/file.csv", "room air @ 0", "lamp", "50 %",
)  # fmt: skip
ANYTHING = (
    *"abcdefghijklmnopqrstuvwxyz0123456789 .,;-<>[]?", "enter", "enter", "escape", "up", "down", "left",
    "right", "tab", "shift+tab", "backspace", "delete", "home", "end", "pageup", "pagedown", "space", "f1",
    "f2", "f5", "ctrl+a", "ctrl+k", "ctrl+u", "ctrl+o", "ctrl+p", "ctrl+t", "ctrl+z", "ctrl+s",
)  # fmt: skip
MOVES = (
    *("enter",) * 12, *"ppppppfnrrrriihhyytgjlwwkkvveaamcdduuxsb", "up", "down", "down", "pageup", "pagedown",
    "escape", "ctrl+o",
)  # fmt: skip


@dataclass
class Monkey:
    """Sends events to an app that has a run open, and sees to it that nothing is lost or illegal."""

    pilot: Pilot[None]
    path: Path
    seed: int
    sent: list[str] = field(default_factory=list)
    """Every event, in order."""
    phases: Counter[Phase] = field(default_factory=Counter)
    acknowledged: list[Record] = field(default_factory=list)
    """Each record of this sitting, as the run said that it was on the disk."""

    def __post_init__(self) -> None:
        self._random = random.Random(self.seed)
        self._watched: object = None
        self._away = 0

    @property
    def app(self) -> OhmwardApp:
        """The app."""
        assert isinstance(self.pilot.app, OhmwardApp)
        return self.pilot.app

    async def types(self, events: int, *, look_each: int = 250) -> None:
        """Send so many events."""
        looked = 0
        while len(self.sent) < events and not self.over_with:
            for _ in range(self._random.randint(1, 8)):
                self._watch()
                await self._event()
            await self._lets_it_work()
            if len(self.sent) // look_each != looked:
                looked = len(self.sent) // look_each
                self.look()
        for _ in range(20 if not self.over_with else 0):
            await self._lets_it_work()

    @property
    def over_with(self) -> bool:
        """Whether the app has ended: by an error, or because the monkey left it."""
        return self.app.crash is not None or self.app._exit or not self.app.is_running

    async def _lets_it_work(self) -> None:
        """Let what was sent be heard, and now and then be done; the app has to answer within seconds."""
        for pump in (self.app, self.app.screen):
            heard = asyncio.Event()
            if pump.call_later(heard.set):
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(heard.wait(), ANSWER_S if pump is self.app else 0.02)
                if self.over_with:
                    return
                assert heard.is_set() or pump is not self.app, f"it hangs: {self.sent[-30:]}"
        if self._random.random() < 0.15:
            await asyncio.sleep(self._random.choice((0.0, 0.01, 0.05)))

    def _watch(self) -> None:
        """Keep what a run newly opened says is recorded."""
        run = self.run
        if run is not None and run.live is not self._watched:
            self._watched, live = run.live, run.live
            live.watch(lambda _: self.acknowledged.append(live.journal.records[-1]))
        if run is not None:
            self.phases[run.live.state.phase] += 1

    @property
    def run(self) -> RunScreen | None:
        """The run screen, wherever it is."""
        return next((each for each in self.app.screen_stack if isinstance(each, RunScreen)), None)

    async def _event(self) -> None:
        chance = self._random.random()
        if chance < 0.01:
            size = self._random.choice(SIZES)
            self.sent.append(f"resize {size[0]}×{size[1]}")
            assert self.app._driver is not None
            self.app._driver._size = size  # as the pilot does it, which waits for more than there may be
            self.app.post_message(Resize(Size(*size), Size(*size)))
        elif chance < 0.08:
            self._send(self._random.choice(ANYTHING))
        else:
            for key in self._chosen():
                self._send(key)

    def _chosen(self) -> Sequence[str]:  # noqa: PLR0911 one return a kind of screen
        screen, pick = self.app.screen, self._random.choice
        match screen:
            case Confirm():
                return [pick("yyyyyyyyyn") if self._random.random() < 0.9 else pick(("escape", "enter"))]
            case Ask():
                return [*pick(WORDS), pick(("enter", "enter", "enter", "escape"))]
            case AskList():
                return [*pick(("lid", "case", "front panel", "", "")), pick(("enter", "enter", "escape"))]
            case Choose():
                return [pick(("enter", "enter", "enter", "down", "up", "escape", "pagedown", *"abc"))]
            case Tell():
                return [pick(("enter", "enter", "escape", "space"))]
            case RunScreen():
                return self._at_run(screen)
            case CommandPalette():
                return pick((["escape"], ["escape"], [*"note", "enter"], ["down", "enter"]))
            case BenchScreen():
                return self._at_bench()
            case _:
                return [pick(("escape", "escape", "b", "1", "2", "down", "enter"))]

    def _at_run(self, screen: RunScreen) -> Sequence[str]:  # noqa: PLR0911 one return a choice
        """Do what is asked, more or less; else anything that the run screen knows."""
        self._away = 0
        item, pick, chance = screen.item, self._random.choice, self._random.random()
        if not screen.is_mounted:
            return [pick(MOVES)]
        if screen.typed and chance < 0.3:
            return ["escape"]
        if item is None or chance > 0.6:
            return [pick(MOVES)]
        if chance < 0.15 and screen.live.state.settled(item):
            return ["enter"]
        if item.kind in {"sweep", "soak"} and chance < 0.25 and screen.going is None:
            return ["i"]
        if item.read is None:
            return [pick("pppppppppfn")]
        usual = USUAL.get(item.step.split(".")[0], "1")
        value = usual if chance < 0.5 else pick(VALUES.get(item.read.unit, ("1",)))
        return [*value, pick(("enter", "enter", "enter", "escape"))]

    def _at_bench(self) -> Sequence[str]:
        self._away += 1
        if self._away % 6 == 0:  # back to work
            self.app.post_message(BenchScreen.Wanted("run", self.path))
            return []
        return [self._random.choice(("down", "up", "tab", "f5", "slash", "escape", "enter"))]

    def _send(self, key: str) -> None:
        self.sent.append(key)
        self.app.post_message(Key(key, key if len(key) == 1 else None))

    def look(self) -> RunState:
        """Look at the journal: whole, lawful, with everything acknowledged, and what the screen tells of."""
        run, acknowledged = self.run, tuple(self.acknowledged)
        told = run.live.state if run is not None else None
        records = read(self.path)
        state = lawful(records)
        for record in acknowledged:
            assert record.seq < len(records), f"lost: {record}"
            assert records[record.seq] == record, f"lost: {record}"
        if told is not None:
            assert told.violations == ()
            assert told == lawful(records[: told.last_seq + 1])
        return state

    def over(self) -> RunState:
        """Look once more, when the app is gone."""
        found = verify(self.path)
        assert found.intact, found.problems
        return self.look()
