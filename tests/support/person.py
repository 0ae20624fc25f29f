"""A person at the keyboard who does what the screen says comes next, by keys alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from textual.pilot import Pilot

from ohmward.desk.gate import enterable
from ohmward.desk.moves import LEAST_ALIKE
from ohmward.procedure.model import Item
from ohmward.run import guidance
from ohmward.run.guidance import Guidance
from ohmward.run.state import Key, Phase, RunState
from ohmward.run.together import alike
from ohmward.taking.choosing import applies_voltage, can_read
from ohmward.tui.dialogs import Confirm, Dialog
from ohmward.tui.run_screen import RunScreen
from support.screens import press, run_screen, settled, shown, typed

Where = Callable[[RunState, Guidance, Item | None], bool]


@dataclass
class Person:
    """Goes on with a run until it is closed, or until told to stop.

    Readings are taken from the meters; what no meter reads is what the rehearsal shows.
    """

    pilot: Pilot[None]
    left_out: Mapping[Key, str] = field(default_factory=dict)
    """Entries that this person leaves out, and the reason they type."""
    hands_free: str = ""
    """Stage in which readings are taken hands free."""
    soaking: tuple[str, str] = ("60 s", "180 min")
    """How often, and for how long, a soak is sampled."""
    pressed: list[str] = field(default_factory=list)
    """Every key, and every text, in order."""
    driven: set[str] = field(default_factory=set)
    """Sweeps and soaks that were begun by themselves: what is left of them is read one by one."""

    @property
    def screen(self) -> RunScreen:
        """The run screen."""
        return run_screen(self.pilot)

    @property
    def state(self) -> RunState:
        """Where the run stands."""
        return self.screen.live.state

    async def slip(self, step: str, wrong: str, right: str) -> None:
        """Type a wrong value at the entry shown, and amend it."""
        item = self.screen.item
        assert item is not None and item.step == step  # noqa: PT018
        await self.words(wrong)
        await self.keys("e", *["backspace"] * len(wrong))
        await self.words(right)
        await self.words("a slip of the finger")

    async def keys(self, *keys: str) -> None:
        """Press keys, each when the one before has had its effect."""
        self.pressed += keys
        await press(self.pilot, *keys)

    async def words(self, text: str) -> None:
        """Type text and Enter."""
        self.pressed.append(text)
        await typed(self.pilot, text)

    async def goes_on(self, until: Where = lambda *_: False, *, most: int = 2000) -> None:
        """Do what comes next until the run is closed or `until` is met, in at most so many steps."""
        for _ in range(most):
            following, item = guidance(self.state), self.screen.item
            if self.state.phase is Phase.CLOSED or until(self.state, following, item):
                return
            before = (self.state.last_seq, self.screen.at)
            await self._step(following, item)
            if (self.state.last_seq, self.screen.at) == before:
                raise AssertionError(
                    f"nothing came of it: {following.move} {item and item.key}\n{shown(self.pilot)}"
                )
        raise AssertionError("it did not come to an end")

    async def _step(self, following: Guidance, item: Item | None) -> None:
        if following.move == "item" and following.item is not None:
            if item is None or (item.key != following.item.key and not self._open(item)):
                await self.keys("enter")  # the tool leads there
            else:
                await self.take(item)
        elif following.move == "parts":
            await self.keys("enter", "enter")
        elif following.move == "open-case":
            await self.keys("enter")
            await self.words("to look inside")
        elif following.move in {"acknowledge", "shut-case", "energise", "switch-off", "close"}:
            await self.keys("enter", "y")
        else:
            raise AssertionError(f"{following.move}: {following.text}\n{shown(self.pilot)}")

    def _open(self, item: Item) -> bool:
        live = item.energised is (self.state.phase is Phase.LIVE)
        return not self.state.settled(item) and live and enterable(self.state, item)

    async def take(self, item: Item) -> None:
        """Take the entry shown."""
        if item.key in self.left_out:
            await self.keys("k")
            asked = len(alike(self.state, item)) >= LEAST_ALIKE
            await self.words(self.left_out[item.key])
            if asked:
                await self.keys("enter")
        elif item.is_waveform:
            await self._waveform()
        elif item.kind in {"sweep", "soak"} and self._of(item) not in self.driven:
            self.driven.add(self._of(item))
            await self._by_itself(item)
        elif item.read is None:
            await self.keys("r")
        else:
            await self._reading(item)

    async def _reading(self, item: Item) -> None:
        if self.screen.hands_free is not (item.stage == self.hands_free) and can_read(self.state, item):
            await self.keys("h")
        await settled(self.pilot)
        if self.screen.hands_free and self.screen.item is not item:
            return  # it was taken by itself
        await self.keys("r")
        if applies_voltage(self.state, item, self.screen.meter_chosen(item)):
            await self.keys("y")
        if self.screen.typed:
            await self.keys("enter")
        if isinstance(self.pilot.app.screen, Confirm):
            await self.keys("y")  # it is so, however unlikely

    async def _by_itself(self, item: Item) -> None:
        await self.keys("i")
        if item.kind == "sweep":
            await self.keys("y")
        else:
            await self.keys("down", "enter")
            for label in self.soaking:
                await self.keys("ctrl+u")
                await self.words(label)
            await self.keys("enter")
        if isinstance(self.pilot.app.screen, Dialog):
            await self.keys("escape")  # it cannot run by itself, and that was said
        await self.over()

    async def _waveform(self) -> None:
        before = self.state.last_seq
        await self.keys("y", "enter")
        for _ in range(2000):
            if self.state.last_seq > before:
                break
            await self.pilot.pause(0.02)
        await settled(self.pilot)

    async def over(self) -> None:
        """Wait until what runs by itself is over, and said to be."""
        for _ in range(20_000):
            if self.screen.going is None:
                await settled(self.pilot)
                return
            await self.pilot.pause(0.02)
        raise AssertionError("it did not end")

    @staticmethod
    def _of(item: Item) -> str:
        return item.spec.id + ("" if item.kind == "soak" else f" {item.rail}")
