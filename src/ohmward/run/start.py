"""Starting a run: everything it needs to be read by itself goes into its first record."""

from __future__ import annotations

from pathlib import Path

from ohmward.errors import InputError, Mistake
from ohmward.logbook import Clock, SystemClock, create_run
from ohmward.logbook.events import Opened
from ohmward.procedure import Procedure, loads, loads_limits, source_text, source_text_limits
from ohmward.run.carry import carried
from ohmward.run.live import LiveRun
from ohmward.supply import loads as load_sheet
from ohmward.textfile import read_text


def start(
    logbook: Path,
    sheet: Path,
    *,
    operator: str,
    tool: str,
    procedure: str = "commissioning",
    limits: str = "",
    meters: Path | None = None,
    purpose: str = "",
    simulated: bool = False,
    clock: Clock | None = None,
) -> Path:
    """Create a run in `logbook` and return the path of its journal.

    A procedure other than commissioning takes over what earlier runs of the supply tell: see `run.carry`.

    Raises
    ------
    InputError
        When sheet, procedure, limit set or meters have mistakes (all of them at once), or the
        procedure could let a supply go live without a measured earth or be left charged; when
        meters of the simulated bench are listed and the run is not a rehearsal.
    Unreachable
        When a file cannot be read or the logbook cannot be written.
    """
    sheet_text = read_text(sheet)
    supply = load_sheet(sheet_text, str(sheet))
    procedure_text = source_text(procedure)
    parsed = loads(procedure_text, procedure)
    _require_gates(parsed, procedure, supply.protection_class)
    limits_text = source_text_limits(limits or supply.limit_set)
    limit_set = loads_limits(limits_text, limits or supply.limit_set)
    meters_text = _meters_text(logbook, meters, simulated=simulated)
    known = carried(logbook, sheet_text, supply, procedure=parsed, limits=limit_set, simulated=simulated)
    opened = Opened(
        run="",
        tag=supply.tag,
        operator=operator,
        simulated=simulated,
        tool=tool,
        purpose=purpose,
        sheet=sheet_text,
        procedure=procedure_text,
        limits=limits_text,
        meters=meters_text,
        baseline=known.baseline,
    )
    with create_run(
        logbook, tag=supply.tag, procedure_name=parsed.name, opened=opened, clock=clock or SystemClock()
    ) as journal:
        if known.parts:
            LiveRun(journal).name_parts(known.parts)
        return journal.path


def _require_gates(procedure: Procedure, where: str, protection_class: str) -> None:
    """Refuse a procedure whose energised stages the gates could not guard."""
    if not any(stage.energised for stage in procedure.stages):
        return
    steps = [(stage, step) for stage in procedure.stages for step in stage.steps]
    mistakes = []
    if protection_class == "I" and not any(step.proves_earth and step.reads for _, step in steps):
        mistakes.append(
            Mistake(
                where=where,
                field="stage.step.proves_earth",
                value="",
                mend="Add an earth continuity reading",
                why="an energised stage, but the protective earth is never measured",
            )
        )
    if not any(
        stage.role == "make-safe" and step.reads and step.severity == "danger" for stage, step in steps
    ):
        mistakes.append(
            Mistake(
                where=where,
                field="stage.role",
                value="",
                why="an energised stage, but no make-safe stage",
                mend="Add a stage with role 'make-safe' that reads the residual voltage (severity danger)",
            )
        )
    if mistakes:
        raise InputError(mistakes)


def _meters_text(logbook: Path, meters: Path | None, *, simulated: bool) -> str:
    from ohmward.bench.meters import is_simulated
    from ohmward.bench.meters import loads as load_meters

    path = meters or logbook / "meters.toml"
    if meters is None and not path.exists():
        return ""
    text = read_text(path)
    listed = load_meters(text, str(path))
    known = [each for each in listed if is_simulated(each.idn)]
    if known and not simulated:
        raise InputError(
            [
                Mistake(
                    where=str(path),
                    field="meter.idn",
                    value=known[0].idn,
                    why=f"the file lists {len(known)} meters of the simulated bench: this is no rehearsal",
                    mend="Take them out; or rehearse, with 'ohmward start SHEET --rehearsal'",
                )
            ]
        )
    return text
