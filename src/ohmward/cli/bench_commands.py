"""Commands that take something from the bench into a run: one library call each, as in `commands`."""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.cli.commands import TOOL
from ohmward.cli.talking import logbook_of, option, say, switch_off_what_was_left, talk, who_goes_on
from ohmward.errors import Exit, InputError, Mistake

if TYPE_CHECKING:
    from ohmward.bench.capture import Digitised
    from ohmward.bench.waveform import Waveform
    from ohmward.run.state import RunState
    from ohmward.run.taken import Taken


def capture(arguments: argparse.Namespace) -> int:
    """Attach a waveform to a run: from an instrument, or from the file that an oscilloscope saved."""
    from ohmward.logbook import Logbook, open_run
    from ohmward.report.waveforms import captured_json, captured_text, withdrawn_text
    from ohmward.run import LiveRun
    from ohmward.run.capturing import attach, require, require_now

    logbook = logbook_of(arguments)
    path = Logbook(logbook).find(arguments.what)
    _require_file_for(arguments)
    with LiveRun(open_run(path)) as live:
        step, subject = arguments.step, _subject(live.state, arguments.step, arguments.subject)
        taken, wrong = None, _wrong(live.state, step, subject, arguments)
        if wrong is not None and arguments.withdraw is not None:
            live.resume(who_goes_on(arguments, live.journal.records), TOOL)
            live.withdraw(wrong.seq, arguments.withdraw)
            gone = captured_json(wrong.event, str(path)) | {"withdrawn": arguments.withdraw}
            say(gone, withdrawn_text(wrong.event, path.stem), arguments.json)
            return int(Exit.DONE)
        if arguments.meter:
            require_now(live.state, step, subject, arguments.meter)
            taken = _from_meter(logbook, arguments.meter)
        else:
            require(live.state, step, subject)
        waveform = _from_file(arguments) if taken is None else taken.waveform
        live.resume(who_goes_on(arguments, live.journal.records), TOOL)
        if taken is not None:
            live.attempts_failed(step, subject, taken.meter, taken.failed)
        event = attach(
            live, waveform, step, subject, meter=arguments.meter,
            identity="" if taken is None else taken.identity, point=arguments.point,
        )  # fmt: skip
        if wrong is not None:
            live.withdraw(wrong.seq, arguments.instead)
    say(captured_json(event, str(path)), captured_text(event, path.stem), arguments.json)
    return int(Exit.DONE)


def _subject(state: RunState, step: str, named: str) -> str:
    """Return a subject in full: ``+15`` is ``+15 @ 100 %`` where the step has no other of that rail."""
    known = [subject for each, subject in state.by_key if each == step]
    meant = [subject for subject in known if named in {"", subject.partition(" @ ")[0]}]
    return meant[0] if named not in known and len(meant) == 1 else named


def _wrong(state: RunState, step: str, subject: str, arguments: argparse.Namespace) -> Taken | None:
    """Return the waveform that is to be taken back, where one is; refused before anything is read."""
    from ohmward.logbook.events import Amended
    from ohmward.run.gates import admit

    reason = arguments.instead if arguments.withdraw is None else arguments.withdraw
    if reason is None:
        return None
    taken = state.captures.get((step, subject), ())
    if not taken:
        named = f"{step} {subject}".strip()
        raise InputError([_mistake("STEP", named, "there is no waveform of it", "Name the step that has it")])
    admit(state, Amended(seq=taken[-1].seq, reason=reason))
    return taken[-1]


def _require_file_for(arguments: argparse.Namespace) -> None:
    """Refuse options that say how a file is read where there is none."""
    given = {
        "--column": arguments.column, "--time-column": arguments.time_column, "--scale": arguments.scale,
        "--interval": arguments.interval, "--unit": arguments.unit,
    }  # fmt: skip
    if arguments.withdraw is not None and arguments.instead is not None:
        raise InputError([_mistake("--instead", arguments.instead, "and --withdraw", "Give one of the two")])
    if not arguments.meter and arguments.withdraw is None:
        return
    wrong = [
        _mistake(name, str(value), "this says how a file is read", "Leave it out, or give --file")
        for name, value in given.items()
        if value is not None
    ]
    if wrong:
        raise InputError(wrong)


def _from_file(arguments: argparse.Namespace) -> Waveform:
    from ohmward.bench.capture import from_csv

    scale = 1.0 if arguments.scale is None else arguments.scale
    if not math.isfinite(scale) or scale == 0.0:
        mend = "Give the factor of the probe, such as 10"
        raise InputError([_mistake("--scale", str(scale), "no factor", mend)])
    interval_s = option(arguments.interval, "s", "--interval")
    if interval_s is not None and interval_s <= 0.0:
        why = "time between two samples is above zero"
        raise InputError([_mistake("--interval", arguments.interval, why, "Give it, such as '10 µs'")])
    return from_csv(
        arguments.file, column=_place(arguments.column), time_column=_place(arguments.time_column),
        scale=scale, interval_s=interval_s, unit=arguments.unit or "V",
    )  # fmt: skip


def _place(text: str | None) -> str | int | None:
    """Return a column as its place from 1 where a whole number is given, else as its heading."""
    return int(text) if text is not None and text.isascii() and text.isdigit() else text


def _mistake(field: str, value: str, why: str, mend: str) -> Mistake:
    return Mistake(where="command line", field=field, value=value, why=why, mend=mend)


def _from_meter(logbook: Path, name: str) -> Digitised:
    from ohmward.bench.capture import take
    from ohmward.bench.inventory import Inventory
    from ohmward.bench.meters import load

    switch_off_what_was_left(logbook)
    meters = load(logbook / "meters.toml")
    with Inventory(meters, logbook, lambda notice: talk(f"{notice.meter}: {notice.text}")) as bench:
        return take(bench, name)
