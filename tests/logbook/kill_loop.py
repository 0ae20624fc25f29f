"""Children that record, killed at random moments; run as a script by test_kill.

A process of its own, so that it may fork without threads about. A child writes to a pipe what was
acknowledged to it, after `append` returned; the parent kills it with SIGKILL, and looks whether the
journal holds all of that. Prints what it saw as JSON.

This shows what survives a killed process. A power cut also loses what the system had not yet
written; that `append` waits for the disk is shown in test_journal.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from collections import Counter
from pathlib import Path
from typing import NoReturn

from ohmward.errors import Damaged
from ohmward.logbook import contents, create_run, open_run, verify
from ohmward.logbook.events import Closed, Noted, Opened, Recovered

ROUNDS_A_RUN = 6


def child(logbook: Path, path: Path | None, pipe: int, seed: int) -> NoReturn:
    """Record until killed; say on the pipe what was acknowledged."""
    chance = random.Random(seed)
    if path is None:
        opened = Opened(
            run="", tag="CR-07", operator="bench A", simulated=True, tool="ohmward test", sheet="s" * 3000,
            procedure="p", limits="l",
        )  # fmt: skip
        journal = create_run(logbook, tag="CR-07", procedure_name="retest", opened=opened)
        os.write(pipe, f"path {journal.path}\n".encode())
    else:
        journal = open_run(path)
    count = 0
    while not journal.closed:
        names = [f"{seed}.{count + extra}" for extra in range(chance.choice((1, 1, 1, 5)))]
        count += len(names)
        filler = "x" * chance.choice((10, 10, 300, 20_000, 300_000))
        journal.append_many([Noted(text=filler, subject=name) for name in names])
        os.write(pipe, "".join(f"note {name}\n" for name in names).encode())
        if chance.random() < 0.02:
            journal.append(Closed(verdict="pass", records=len(journal.records)))
            os.write(pipe, b"closed\n")
    os._exit(0)


def killed_child(logbook: Path, path: Path | None, seed: int, chance: random.Random) -> list[str]:
    """Fork a child, kill it, and return what was acknowledged to it, in order.

    Killed some time after its start, or some time after a number of acknowledgements: the second
    reaches into the recording however slow the disk is.
    """
    reading, writing = os.pipe()
    process = os.fork()
    if process == 0:
        try:
            os.close(reading)
            child(logbook, path, writing, seed)
        except BaseException as error:  # noqa: BLE001 told to the parent, which fails the test
            os.write(writing, f"error {error!r}\n".encode())
        finally:
            os._exit(1)
    os.close(writing)
    told = b""
    wanted = chance.choice((0, 0, 1, 1, 2, 3))
    while told.count(b"\n") < wanted and (more := os.read(reading, 4096)):
        told += more
    time.sleep(chance.uniform(0.0, 0.005 if wanted else 0.02))
    os.kill(process, signal.SIGKILL)
    os.waitpid(process, 0)
    with os.fdopen(reading, "rb") as pipe:
        return (told + pipe.read()).decode().splitlines()


class Loop:
    """Kills children one after the other and looks after each what the journal holds."""

    def __init__(self, logbook: Path, seed: int) -> None:
        self.logbook = logbook
        self.chance = random.Random(seed)
        self.seen = Counter[str]()
        self.known: set[Path] = set()
        self.path: Path | None = None
        self.acknowledged: list[str] = []

    def round(self, number: int) -> None:
        """Kill one child; every few rounds it begins a new run."""
        if number % ROUNDS_A_RUN == 0:
            self.path, self.acknowledged = None, []
        told = killed_child(self.logbook, self.path, number + 1, self.chance)
        self.seen["killed"] += 1
        for line in told:
            self._heard(*line.split(" ", 1))
        if self.path is not None:
            self._look(self.path, "closed" in told)
        if "closed" in told:
            self.path, self.acknowledged = None, []

    def _heard(self, word: str, rest: str = "") -> None:
        self.seen[word] += 1
        if word == "error":
            raise SystemExit(f"a child failed: {rest}")
        if word == "path":
            self.path = Path(rest)
            self.known.add(self.path)
        elif word == "note":
            self.acknowledged.append(rest)

    def _look(self, path: Path, closed: bool) -> None:
        held = contents(path)
        self.seen["torn"] += held.torn_bytes > 0
        have = [record.event.subject for record in held.records if isinstance(record.event, Noted)]
        if [name for name in have if name in set(self.acknowledged)] != self.acknowledged:
            raise SystemExit(f"lost {set(self.acknowledged) - set(have)} of {path}")
        if closed and not isinstance(held.records[-1].event, Closed):
            raise SystemExit(f"the closing record of {path} is lost")
        # Else the next child recovers it, and may be killed at that.
        if held.sealed or self.chance.random() < 0.5:
            open_run(path).close()
            if not verify(path).intact:
                raise SystemExit(f"{path}: {verify(path).problems}")

    def end(self) -> None:
        """Open every run there is for the last time."""
        for place in sorted(self.logbook.rglob("*.jsonl")):
            try:
                with open_run(place) as journal:
                    torn = sum(isinstance(record.event, Recovered) for record in journal.records)
                    self.seen["recovered"] += torn
            except Damaged:
                if place in self.known or b"\n" in place.read_bytes():
                    raise
                self.seen["never begun"] += 1
                continue
            self.seen["intact"] += verify(place).intact
            self.seen["runs"] += 1


def main(folder: str, rounds: int, seed: int) -> None:
    """Kill `rounds` children and print what was seen."""
    loop = Loop(Path(folder), seed)
    for number in range(rounds):
        loop.round(number)
    loop.end()
    print(json.dumps(loop.seen))  # noqa: T201 the script's result


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
