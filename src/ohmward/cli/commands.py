"""The commands: each parses nothing, makes one library call, and prints its result."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward import __version__
from ohmward.cli.in_hand import begin_or_go_on
from ohmward.cli.screen import open_screen
from ohmward.cli.talking import (
    free_name,
    has_terminal,
    lines_for_ever,
    logbook_of,
    need_terminal,
    option,
    progress,
    require_new,
    say,
    switch_off_what_was_left,
    talk,
    today_here,
    who_asked,
    who_goes_on,
    who_tests,
    write_new,
)
from ohmward.errors import Exit, InputError, Mistake, OhmwardError
from ohmward.text import folded, plural
from ohmward.textfile import read_text

if TYPE_CHECKING:
    from ohmward.bench.meters import Meter
    from ohmward.desk.who_tests import Who
    from ohmward.run.live import LiveRun

TOOL = f"ohmward {__version__}"


def demo(arguments: argparse.Namespace) -> int:
    """Rehearse the whole job: by hand on the simulated bench, or without a person."""
    from ohmward import demo
    from ohmward.demo.playing import play_live
    from ohmward.demo.told import told

    bench = demo.bench_of(arguments.fault, arguments.seed, arguments.story)
    folder = arguments.logbook or demo.scratch_logbook()
    if not arguments.auto:
        if not arguments.plain:
            need_terminal("rehearse in the terminal UI, or use 'ohmward demo --plain' or '--auto'")
        code = demo.rehearse(
            folder, bench, story=arguments.story, operator="bench A", tool=TOOL, plain=arguments.plain
        )
        talk(f"The rehearsal's logbook is {folder}")
        return code
    talk(f"Rehearsal logbook: {folder}")
    faults = bench.unit.faults
    path, why = play_live(folder, bench, tool=TOOL, story=arguments.story, progress=progress())
    if why:
        talk(f"Stopped before the end: {why}")
    for line in told(path, faults, bench.supply):
        talk(line)
    return _print_assessment(path, as_json=arguments.json, strict=False)


def simulate(arguments: argparse.Namespace) -> int:
    """Run a simulated bench until Ctrl-C, or until its hands say 'quit'."""
    from ohmward.bench.simulated.forever import simulate_forever

    try:
        simulate_forever(
            arguments.sheet,
            arguments.fault,
            arguments.speed,
            arguments.seed or 0,
            lambda text: print(text, flush=True),
            told=talk,
            hands=lines_for_ever(),
        )
    except KeyboardInterrupt:
        talk("Simulated bench stopped.")
    return int(Exit.DONE)


def start(arguments: argparse.Namespace) -> int:
    """Start a run on a design sheet, and keep a copy of the sheet where the bench finds it."""
    from ohmward.desk.sheet_files import kept
    from ohmward.run.start import start

    logbook = logbook_of(arguments)
    wanted = begin_or_go_on(arguments, logbook)
    if wanted is None:
        talk("Nothing was begun.")
        return int(Exit.DONE)
    if wanted.resume is not None:
        return _go_on(arguments, logbook, wanted.resume)
    who = who_asked(arguments)
    path = start(
        logbook,
        arguments.sheet,
        procedure=arguments.procedure,
        limits=arguments.limits,
        meters=arguments.meters,
        operator=who.name,
        purpose=arguments.purpose,
        simulated=arguments.rehearsal,
        tool=TOOL,
    )
    print(path)
    try:
        said = kept(logbook, arguments.sheet)
    except OhmwardError as error:
        said = f"The sheet was not copied into the logbook: {error}"
    if said:
        talk(said)
    for words in _found_at_start(path):
        talk(words)
    if arguments.rehearsal:
        talk("REHEARSAL: this run is marked as one")
    if arguments.plain:
        return _lines(logbook, path, who, resumed=False)
    if arguments.no_screen or not has_terminal():
        return int(Exit.DONE)
    return open_screen(logbook, path, who)


def _found_at_start(path: Path) -> list[str]:
    """What is wrong with the design, and what the meters cannot decide."""
    from ohmward.desk.expectations import grave_words
    from ohmward.desk.opening import looked_into
    from ohmward.taking.deciding import undecided

    state = looked_into(path)
    design = grave_words(state.supply) if state.supply is not None else []
    return [*design, *(f"Meters: {each.words}" for each in undecided(state.items, state.meters))]


def resume(arguments: argparse.Namespace) -> int:
    """Go on with a run in the terminal UI, or line by line."""
    logbook = logbook_of(arguments)
    return _go_on(arguments, logbook, _find(logbook, arguments.what))


def _go_on(arguments: argparse.Namespace, logbook: Path, path: Path) -> int:
    if arguments.plain:
        return _lines(logbook, path, _who_goes_on(arguments, path), resumed=True)
    return open_screen(logbook, path, who_tests(arguments))


def _who_goes_on(arguments: argparse.Namespace, path: Path) -> Who:
    """Return who goes on with a run; where mains may be on, that is asked first, and no name before it."""
    from ohmward.desk.opening import to_be_asked

    who = who_tests(arguments)
    return who_asked(arguments) if to_be_asked(path, who) else who


def record(arguments: argparse.Namespace) -> int:
    """Feed a file of answers through the gates."""
    from ohmward.report.rehearsal import counted
    from ohmward.run.answers import parse_answers, play
    from ohmward.taking.timing import time_by

    path = _find(logbook_of(arguments), arguments.what)
    rows = parse_answers(read_text(arguments.answers), str(arguments.answers))
    rows = tuple(row for row in rows if row.line >= arguments.first)
    with _open_live(path) as live:
        live.resume(who_goes_on(arguments, live.journal.records), TOOL, fed=arguments.answers.name)
        time_by(live, None)
        count = play(live, rows, str(arguments.answers), progress())
        simulated = live.state.simulated
    data = {"run": str(path), "simulated": simulated, "recorded": count}
    words = [f"{plural(count, 'row')} recorded in {path}", *counted(simulated, 1)]
    say(data, "\n".join(words), arguments.json)
    return int(Exit.DONE)


def new(arguments: argparse.Namespace) -> int:
    """Ask for a design sheet and write it."""
    from ohmward.desk.expectations import grave_words
    from ohmward.report.ask import ask_sheet
    from ohmward.supply import load

    need_terminal("answer the questions in a terminal, or copy a sheet and edit it")
    if arguments.path is not None:
        if arguments.logbook is not None:
            why, mend = "a file is named, and a logbook too", "Give one of them"
            raise InputError([Mistake(where="command line", field="--logbook", value="", why=why, mend=mend)])
        require_new(arguments.path)
    try:
        tag, text = ask_sheet(lambda prompt: input(folded(prompt)), lambda line: print(folded(line)))
    except (EOFError, KeyboardInterrupt):
        talk("\nLeft before the last question; nothing was written.")
        return int(Exit.BAD_INPUT)
    path = _put(arguments, tag, text)
    talk("\nDone: that was the last question, and the sheet is written.")
    print(path)
    for words in grave_words(load(path)):
        talk(words)
    talk(f"'ohmward check {path}' looks it over, 'ohmward start {path}' begins a run on it.")
    return int(Exit.DONE)


def _put(arguments: argparse.Namespace, tag: str, text: str) -> Path:
    """Write a new sheet where it was asked for; here, where the logbook does not take it."""
    from ohmward.desk.sheet_files import save_only

    if arguments.logbook is not None:
        try:
            return save_only(arguments.logbook, text)
        except OhmwardError as error:  # so many answers are not thrown away
            talk(f"The sheet was not put into the logbook. {error}")
    path: Path = arguments.path or free_name(tag)
    write_new(path, text)
    return path


def check(arguments: argparse.Namespace) -> int:
    """Validate a design sheet and print it."""
    from ohmward import physics
    from ohmward.physics.targets import all_findings
    from ohmward.procedure import load_limits
    from ohmward.report.text import sheet_text
    from ohmward.supply import load, to_json

    supply = load(arguments.sheet)
    load_limits(supply.limit_set)  # named in the sheet: a mistake there is told here, not at the start
    found = all_findings(supply, physics.expect(supply))
    data = {"sheet": to_json(supply), "findings": [finding.as_json() for finding in found]}
    say(data, sheet_text(supply, found), arguments.json)
    return int(Exit.DONE)


def expect(arguments: argparse.Namespace) -> int:
    """Print what every reading ought to be."""
    from ohmward.physics import expect
    from ohmward.procedure import load_limits
    from ohmward.report.text import expectation_json, expectation_text
    from ohmward.supply import load

    supply = load(arguments.sheet)
    limits = load_limits(supply.limit_set)
    mains = option(arguments.mains, "V", "--mains")
    ambient = option(arguments.ambient, "°C", "--ambient")
    result = expect(supply, mains_v=mains, ambient_c=25.0 if ambient is None else ambient)
    if arguments.plot is not None:
        from ohmward.report.plots import expectation_figure, save

        save(expectation_figure(supply, result), arguments.plot)
        talk(f"Drawn in {arguments.plot}")
    say(expectation_json(supply, result, limits), expectation_text(supply, result, limits), arguments.json)
    return int(Exit.DONE)


def assess(arguments: argparse.Namespace) -> int:
    """Judge a run."""
    path = _find(logbook_of(arguments), arguments.what)
    if arguments.budget:
        return _print_budget(path, arguments.budget, as_json=arguments.json)
    return _print_assessment(path, as_json=arguments.json, strict=arguments.strict)


def meters_list(arguments: argparse.Namespace) -> int:
    """List the meters of the logbook."""
    from ohmward.desk.meter_targets import undecided_here, undecided_json, undecided_text
    from ohmward.report.meters import inventory_json, inventory_text

    logbook, today = logbook_of(arguments), today_here()
    meters = _meters(logbook)
    found, unread = undecided_here(logbook, meters)
    data = {"meters": inventory_json(meters, today), "cannot_decide": undecided_json(found)}
    text = "\n\n".join(filter(None, (inventory_text(meters, today), undecided_text(found, unread))))
    say(data, text, arguments.json)
    return int(Exit.DONE)


def meters_find(arguments: argparse.Namespace) -> int:
    """Ask what answers at the places named."""
    from ohmward.bench.survey import find, places
    from ohmward.report.meters import found_json, found_text

    where = places(serial=arguments.serial, addresses=arguments.address)
    limit_s = sum(place.limit_s for place in where)
    talk(f"Asking '*IDN?' at places named ({len(where)}), at most {limit_s:.0f} s in all; nowhere else.")
    found = find(where)
    say({"found": found_json(found)}, found_text(found), arguments.json)
    silent = any(each.problem and each.place.what in arguments.address for each in found)
    return int(Exit.UNREACHABLE if silent else Exit.DONE)


def meters_check(arguments: argparse.Namespace) -> int:
    """Open each meter and say how it is."""
    from ohmward.bench.survey import check
    from ohmward.desk.meter_targets import undecided_here, undecided_json, undecided_text
    from ohmward.report.meters import checked_json, checked_text

    logbook, today = logbook_of(arguments), today_here()
    switch_off_what_was_left(logbook)
    meters = _meters(logbook)
    found, (cannot, unread) = check(meters, logbook), undecided_here(logbook, meters)
    data = {"meters": checked_json(found, today), "cannot_decide": undecided_json(cannot)}
    text = "\n\n".join(filter(None, (checked_text(found, today), undecided_text(cannot, unread))))
    say(data, text, arguments.json)
    return int(Exit.UNREACHABLE if any(each.problem for each in found) else Exit.DONE)


def meters_read(arguments: argparse.Namespace) -> int:
    """Take one settled reading."""
    from ohmward.bench.inventory import Inventory
    from ohmward.bench.survey import read
    from ohmward.quantity import parse
    from ohmward.report.meters import measured_json, measured_text

    logbook = logbook_of(arguments)
    switch_off_what_was_left(logbook)
    with Inventory(_meters(logbook), logbook, lambda notice: talk(f"{notice.meter}: {notice.text}")) as bench:
        volts = parse(arguments.test_voltage, "V").si if arguments.test_voltage else None
        try:
            found = read(bench, arguments.name, arguments.function, count=arguments.count, volts=volts)
        except InputError as error:
            if volts is not None:
                raise
            mend = "Give --test-voltage, such as '250 V': no more than the unit is made for"
            told = [replace(each, mend=mend) if each.field == "volts" else each for each in error.mistakes]
            raise InputError(told) from error
        meter = bench.meters[arguments.name]
    today = today_here()
    say(measured_json(found, meter, today), measured_text(found, meter, today), arguments.json)
    return int(Exit.DONE)


def _print_assessment(path: Path, *, as_json: bool, strict: bool) -> int:
    from ohmward.analysis.assessment import to_json
    from ohmward.report.text import assessment_text
    from ohmward.run import assess_run

    result = assess_run(path)
    say(to_json(result), assessment_text(result), as_json)
    against = bool(result.failed) or result.likely_fault is not None
    return int(Exit.OUT_OF_TOLERANCE if strict and against else Exit.DONE)


def _print_budget(path: Path, named: list[str], *, as_json: bool) -> int:
    from ohmward.logbook import read
    from ohmward.report.assessed import budget_json, budget_text
    from ohmward.run import state
    from ohmward.run.budget import budget_of

    step, *subject = named
    found = budget_of(state(read(path)), step, " ".join(subject))
    say(budget_json(found), budget_text(found), as_json)
    return int(Exit.DONE)


def _lines(logbook: Path, path: Path, who: Who, *, resumed: bool) -> int:
    from ohmward.bench.leaving import install_signals
    from ohmward.plain.opening import run_plain
    from ohmward.taking.at_hand import MetersAtHand

    left = switch_off_what_was_left(logbook)
    install_signals()
    with MetersAtHand(logbook) as meters:
        return run_plain(logbook, path, meters=meters, who=who, resumed=resumed, notice="\n".join(left))


def _meters(logbook: Path) -> tuple[Meter, ...]:
    from ohmward.bench.meters import load

    return load(logbook / "meters.toml")


def _open_live(path: Path) -> LiveRun:
    from ohmward.logbook import open_run
    from ohmward.run import LiveRun

    return LiveRun(open_run(path))


def _find(logbook: Path, what: str) -> Path:
    from ohmward.logbook import Logbook

    return Logbook(logbook).find(what)
