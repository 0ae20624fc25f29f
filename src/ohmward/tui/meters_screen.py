"""The meters: what there is, whether it is in calibration, whether it answers, what it reads just now."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import ClassVar

from textual import on, work
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.message import Message
from textual.widgets import DataTable, Static

from ohmward.bench.messages import Notice
from ohmward.bench.meters import Meter
from ohmward.bench.survey import Checked
from ohmward.desk import meter_care
from ohmward.desk import meter_rows as rows
from ohmward.desk.meter_targets import undecided_here
from ohmward.errors import OhmwardError
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.deciding import Undecided
from ohmward.taking.live_meter import Lately, follow
from ohmward.text import one_line
from ohmward.tui.desk import Talker
from ohmward.tui.filled_table import FilledTable
from ohmward.tui.keys import METERS, bindings
from ohmward.tui.meters_live import LivePane
from ohmward.tui.showing import plain, styled


class MetersScreen(Talker):
    """The meters of a logbook; they are listed and edited in its meters file, never here."""

    KEYS = METERS
    CSS_PATH: ClassVar = styled("meters")
    HEADING = "the meters"
    BINDINGS: ClassVar = bindings(METERS)

    @dataclass
    class Listed(Message):
        """The list as the file has it; `problem` is why there is none, `missing` that there is no file."""

        meters: tuple[Meter, ...]
        problem: str = ""
        missing: bool = False
        cannot: tuple[Undecided, ...] = ()
        """Limits of the supplies here that they cannot decide."""

    @dataclass
    class Tested(Message):
        """What the test of one meter found; None when all have been told of."""

        found: Checked | None
        problem: str = ""

    @dataclass
    class Read(Message):
        """What a meter shows; None when it is no longer read, and `problem` why."""

        asked: threading.Event
        lately: Lately | None
        problem: str = ""

    def __init__(
        self,
        folder: Path,
        meters: MetersAtHand | None,
        *,
        today: Callable[[], date],
        trouble: Callable[[BaseException], str],
    ) -> None:
        super().__init__()
        self._at_hand = MetersAtHand(folder) if meters is None else meters
        self._own = meters is None
        self._today, self._trouble = today, trouble
        self._meters: tuple[Meter, ...] = ()
        self._cannot: tuple[Undecided, ...] = ()
        self._checked: dict[str, Checked] = {}
        self._testing: set[str] = set()
        self._queues: dict[str, tuple[str, ...]] = {}
        """What error queues held, by session, until a test tells of it."""
        self._functions: dict[str, str] = {}
        """What each meter is to read, where it was chosen."""
        self._live: threading.Event | None = None
        self._problem = ""

    def compose_body(self) -> ComposeResult:
        """Lay out what is between banner and hints."""
        yield Static("Being read …", id="meters-heading", classes="heading", markup=False)
        with Vertical(id="body"):
            yield Static("", id="meters-missing", markup=False)
            yield FilledTable(rows.HEADINGS, id="meters", signed=1, least=12, soft=(0, 4, 5))
            yield LivePane(id="live")
            yield Static("", id="meters-detail", classes="detail", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self._at_hand.notify = self._heard
        self.action_reread()
        self._table.focus()

    def on_unmount(self) -> None:
        """Read no meter any more, and let those go that were opened here."""
        self._stop_live()
        self._at_hand.notify = None
        if self._own:
            threading.Thread(target=self._at_hand.close, name="leave meters", daemon=True).start()

    def _heard(self, notice: Notice) -> None:
        """Keep what an error queue held when its meter was opened; on the meter's thread."""
        if notice.kind == "error queue":
            self._queues[notice.meter] = (*self._queues.get(notice.meter, ()), notice.text)

    # the list

    @property
    def _path(self) -> Path:
        return self._at_hand.path

    @work(thread=True, name="meters", group="meters", exclusive=True, exit_on_error=False)
    def action_reread(self) -> None:
        """Read the list of meters again."""
        try:
            meters = self._at_hand.listed()
            cannot, _ = undecided_here(self._at_hand.logbook, meters)
            found = self.Listed(meters, cannot=tuple(cannot))
        except FileNotFoundError:
            found = self.Listed((), missing=True)
        except OhmwardError as error:
            found = self.Listed((), str(error))
        except Exception as error:  # noqa: BLE001 said in words; no meter is asked
            found = self.Listed((), self._trouble(error))
        self.post_message(found)

    @on(Listed)
    def _take_list(self, event: Listed) -> None:
        self._meters, self._problem, self._cannot = event.meters, event.problem, event.cannot
        names = {each.name for each in event.meters}
        self._checked = {name: found for name, found in self._checked.items() if name in names}
        heading = rows.counted(self._meters, self._today(), self._path)
        lines = rows.missing_words(self._path) if event.missing else self._problem.splitlines()
        if event.missing or self._problem:
            heading = "No list of meters" if event.missing else "The list of meters cannot be used"
        elif not self._meters:
            lines = [f"{self._path} lists no meter yet.", "Fill it in with a text editor; F5 reads it again."]
        self.query_one("#meters-heading", Static).update(plain(heading))
        missing = self.query_one("#meters-missing", Static)
        missing.display = bool(lines)
        missing.update(plain("\n".join(lines)))
        self._show()

    def _show(self) -> None:
        on = self._today()
        asked = {"begin_file"} if self._meters else {"test", "test_all", "live", "function", "pick"}
        self.show_hints([key for key in METERS if key.action not in {*asked, "help"}])
        self.show_rehearsal(rows.simulated(self._meters, self._checked))
        self._table.display = bool(self._meters)
        self._table.show(
            [each.name for each in self._meters],
            [
                rows.cells(each, on, self._checked.get(each.name), testing=each.name in self._testing)
                for each in self._meters
            ],
            [rows.style(each, on, self._checked.get(each.name)) for each in self._meters],
        )
        self._moved()

    @on(DataTable.RowHighlighted)
    def _moved(self) -> None:
        """Say of the meter under the cursor what there is to say."""
        meter = self._meter
        found = None if meter is None else self._checked.get(meter.name)
        words = "" if meter is None else rows.words(meter, self._today(), found, self._cannot)
        detail = self.query_one("#meters-detail", Static)
        detail.display = bool(words)
        detail.update(plain(words))

    @on(DataTable.RowSelected)
    def _picked(self) -> None:
        self.action_pick()

    def action_pick(self) -> None:
        """Show all that is known of the meter under the cursor."""
        meter = self._meter
        if meter is not None:
            found = self._checked.get(meter.name)
            self._tell(meter.name, rows.details(meter, self._today(), found, self._path, self._cannot))
        else:
            self.remark(rows.NONE_LISTED)

    def action_begin_file(self) -> None:
        """Begin a list of meters, where there is none."""
        self.run_worker(self._begin_file(), name="begin file", group="talk")

    async def _begin_file(self) -> None:
        try:
            await asyncio.to_thread(meter_care.begin_list, self._path)
        except OhmwardError as error:
            await self.tell("The list was not begun", str(error).splitlines())
            return
        self.action_reread()
        lines = [
            f"{self._path} holds an example now, all of it in comments: no meter counts yet.",
            "Write your own meters into it with a text editor; F5 reads it again.",
        ]
        await self.tell("A list of meters is begun", lines)

    # testing

    def action_test(self) -> None:
        """Test the connection of the meter under the cursor."""
        meter = self._meter
        if meter is not None and not meter.resource:
            self._tell(meter.name, [rows.words(meter, self._today(), None)])
        elif meter is not None:
            self._begin_test([meter.name])
        else:
            self.remark(rows.NONE_LISTED)

    def action_test_all(self) -> None:
        """Test every connection."""
        reached = [each.name for each in self._meters if each.resource]
        if reached:
            self._begin_test(reached)
        else:
            self.remark(rows.NONE_REACHED if self._meters else rows.NONE_LISTED)

    def _begin_test(self, names: list[str]) -> None:
        wanted = [name for name in names if name not in self._testing]
        if wanted:
            self._testing |= set(wanted)
            self._show()
            self._test(wanted)

    @work(thread=True, name="test", group="meters", exit_on_error=False)
    def _test(self, names: list[str]) -> None:
        try:
            for found in meter_care.tested(self._at_hand, names, lambda name: self._queues.pop(name, ())):
                self.post_message(self.Tested(found))
            self.post_message(self.Tested(None))
        except OhmwardError as error:
            self.post_message(self.Tested(None, str(error)))
        except Exception as error:  # noqa: BLE001 said in words
            self.post_message(self.Tested(None, self._trouble(error)))

    @on(Tested)
    def _take_test(self, event: Tested) -> None:
        if event.found is None:
            if event.problem:
                self._testing.clear()
                self._tell("The meters cannot be tested", event.problem.splitlines())
        else:
            name = event.found.meter.name
            self._testing.discard(name)
            self._checked[name] = event.found
        self._show()

    # reading

    def action_live(self) -> None:
        """Read the meter under the cursor over and over, or stop that."""
        meter = self._meter
        if self._live is not None:
            self._stop_live()
        elif meter is None:
            self.remark(rows.NONE_LISTED)
        elif not meter.resource:
            self._tell(meter.name, [rows.words(meter, self._today(), None)])
        elif meter.kind == "insulation":
            self._tell(meter.name, [rows.NO_LIVE])
        else:
            self._live = stop = threading.Event()
            self._pane.begin(meter.name, self._functions.get(meter.name, ""))
            self._follow(meter.name, self._functions.get(meter.name, ""), stop)

    def _stop_live(self) -> None:
        if self._live is not None:
            self._live.set()
            self._live = None

    @work(thread=True, name="live", group="live", exit_on_error=False)
    def _follow(self, name: str, function: str, stop: threading.Event) -> None:
        problem = ""

        def heard(lately: Lately) -> None:
            self.post_message(self.Read(stop, lately))

        try:
            with self._at_hand.inventory() as inventory:
                follow(inventory, name, function, stop=stop, heard=heard)
        except OhmwardError as error:
            problem = str(error)
        except Exception as error:  # noqa: BLE001 said in words
            problem = self._trouble(error)
        self.post_message(self.Read(stop, None, problem))

    @on(Read)
    def _take_reading(self, event: Read) -> None:
        if event.lately is not None:
            if event.asked is self._live:
                self._pane.show(event.lately)
        elif event.asked is self._live or self._live is None:
            self._live = None
            self._pane.end(event.problem)

    def action_function(self) -> None:
        """Choose what the meter under the cursor is to read."""
        meter = self._meter
        if meter is None:
            self.remark(rows.NONE_LISTED)
        elif not meter.resource:
            self.remark(rows.NO_RESOURCE)
        else:
            self.run_worker(self._choose_function(meter), name="function", group="talk")

    async def _choose_function(self, meter: Meter) -> None:
        try:
            known = await asyncio.to_thread(meter_care.readable, self._at_hand, meter.name)
        except OhmwardError as error:
            await self.tell(meter.name, str(error).splitlines())
            return
        if not known:
            await self.tell(meter.name, [f"Its profile '{meter.profile}' reads no quantity."])
            return
        chosen = await self.choose(f"{one_line(meter.name)}: what is it to read?", rows.functions_of(known))
        if chosen is not None:
            self._functions[meter.name] = known[chosen][0]
            self._stop_live()
            self.action_live()

    def action_back(self) -> None:
        """Stop reading, and go back."""
        self._stop_live()
        self.dismiss(None)

    def _tell(self, heading: str, lines: list[str]) -> None:
        self.run_worker(self.tell(one_line(heading), lines), group="talk")

    @property
    def _table(self) -> FilledTable:
        return self.query_one("#meters", FilledTable)

    @property
    def _pane(self) -> LivePane:
        return self.query_one(LivePane)

    @property
    def _meter(self) -> Meter | None:
        here = self._table.here
        return self._meters[here] if 0 <= here < len(self._meters) else None
