"""Whether the stages and steps of a procedure go together: what no single field shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ohmward.errors import Mistake
from ohmward.fields import closest
from ohmward.physics.expectation import RAIL_LOADED_KEYS, RAIL_NO_LOAD_KEYS, SECONDARY_KEYS
from ohmward.procedure.limits import RAIL_LIMITS
from ohmward.procedure.model import WAITED_FROM, Read, Stage, Step

RAIL_KEYS = frozenset({*RAIL_NO_LOAD_KEYS, *RAIL_LOADED_KEYS, "discharge_s"})
_RAILS = frozenset({"rail", "regulated-rail"})


def incoherent(stages: Sequence[Stage], where: str) -> list[Mistake]:
    """Return the mistakes in how `stages` go together."""
    return [
        *_twice([stage.name for stage in stages], where, "stage", "name"),
        *_twice([step.id for stage in stages for step in stage.steps], where, "stage.step", "id"),
        *_order(stages, where),
        *_subtractions(stages, where),
        *_waits(stages, where),
        *_settled(stages, where),
        *_held(stages, where),
        *_left_out(stages, where),
        *(mistake for stage in stages for step in stage.steps for mistake in _step(stage, step, where)),
    ]


def _twice(names: Sequence[str], where: str, table: str, key: str) -> Iterator[Mistake]:
    for name in dict.fromkeys(name for name in names if name and names.count(name) > 1):
        yield Mistake(
            where=where,
            field=f"{table}[{name}].{key}",
            value=name,
            why="this is used more than once",
            mend="Give each its own",
        )


def _order(stages: Sequence[Stage], where: str) -> Iterator[Mistake]:
    live = ""
    for stage in stages:
        path = f"stage[{stage.name}]"
        if stage.energised and stage.role == "make-safe":
            yield Mistake(
                where=where,
                field=f"{path}.energised",
                value="true",
                mend="Write energised = false",
                why="making safe is done with the plug out",
            )
        elif stage.energised:
            live = live or stage.name
        elif live and not stage.role:
            yield Mistake(
                where=where,
                field=path,
                value="",
                mend="Put it first, or give it role = 'make-safe'",
                why=f"this stage is dead but comes after the energised stage '{live}': mains is refused "
                "until every dead step holds, so it could never be reached in order",
            )


def _subtractions(stages: Sequence[Stage], where: str) -> Iterator[Mistake]:
    every = {step.id: step for stage in stages for step in stage.steps}
    before: dict[str, Step] = {}
    for stage in stages:
        for step in stage.steps:
            for read in step.reads:
                fault = _subtraction(read, before.get(read.subtract), every) if read.subtract else None
                if fault is not None:
                    field = _path(stage, step, read, "subtract")
                    yield Mistake(where=where, field=field, value=read.subtract, why=fault[0], mend=fault[1])
            before[step.id] = step


def _waits(stages: Sequence[Stage], where: str) -> Iterator[Mistake]:
    """Yield waits from what comes later, is not there, or is done more than once."""
    before: list[str] = []
    for stage in stages:
        for step in stage.steps:
            if step.wait_from and step.wait_from not in {*WAITED_FROM, *before}:
                yield Mistake(
                    where=where, field=f"stage[{stage.name}].step[{step.id}].wait_from", value=step.wait_from,
                    why="no earlier check has this id", mend=closest(step.wait_from, [*WAITED_FROM, *before]),
                )  # fmt: skip
            before += [step.id] if step.kind == "check" and not step.each else []


def _settled(stages: Sequence[Stage], where: str) -> Iterator[Mistake]:
    """Yield checks that say of no earlier soak that it has settled."""
    soaks: list[str] = []
    for stage in stages:
        for step in stage.steps:
            if step.settles and step.settles not in soaks:
                yield Mistake(
                    where=where, field=f"stage[{stage.name}].step[{step.id}].settles", value=step.settles,
                    why="no earlier soak has this id", mend=closest(step.settles, soaks),
                )  # fmt: skip
            soaks += [step.id] if step.kind == "soak" else []


def _held(stages: Sequence[Stage], where: str) -> Iterator[Mistake]:
    """Yield checks that speak of a held reading that is not before them, or is not one."""
    held: list[str] = []
    for stage in stages:
        for step in stage.steps:
            if step.held_reading and step.held_reading not in held:
                yield Mistake(
                    where=where, field=f"stage[{stage.name}].step[{step.id}].held_reading",
                    value=step.held_reading, why="no earlier reading that is held has this id",
                    mend=closest(step.held_reading, held),
                )  # fmt: skip
            held += (
                [step.id] if step.kind == "reading" and step.wait_from == "begun" and not step.each else []
            )


def _left_out(stages: Sequence[Stage], where: str) -> Iterator[Mistake]:
    """Yield steps left out with one that is not before them, or that has to be done in any case."""
    before: dict[str, tuple[Stage, Step]] = {}
    for stage in stages:
        for step in stage.steps:
            if step.left_out_with:
                fault = _guard(stage, step) or _lead(before.get(step.left_out_with))
                usable = [name for name, found in before.items() if _lead(found) is None]
                if fault is not None:
                    yield Mistake(
                        where=where, field=f"stage[{stage.name}].step[{step.id}].left_out_with",
                        value=step.left_out_with, why=fault[0],
                        mend=fault[1] or closest(step.left_out_with, usable),
                    )  # fmt: skip
            before[step.id] = stage, step


def _guard(stage: Stage, step: Step) -> tuple[str, str] | None:
    """Return why a step may never be left out because of another, and the mend."""
    if step.severity == "danger" or step.always or step.proves_earth or stage.role == "make-safe":
        return "this guards against injury: it is never left out because of another step", "Leave it out here"
    return None


def _lead(found: tuple[Stage, Step] | None) -> tuple[str, str] | None:
    """Return why a step cannot be the one that others are left out with; no mend where another is meant."""
    if found is None:
        return "no earlier step has this id", ""
    stage, step = found
    if step.kind not in {"check", "reading"} or step.each or any(read.name for read in step.reads):
        return (
            "only a step taken once takes others with it",
            "Name a check or reading without 'each'",
        )
    if step.left_out_with:
        return "it is itself left out with another", f"Name '{step.left_out_with}'"
    if (step.severity == "danger" and step.required) or step.proves_earth or stage.role == "make-safe":
        return "it guards against injury and is never left out itself", "Name another"
    return None


def _subtraction(read: Read, null: Step | None, every: dict[str, Step]) -> tuple[str, str] | None:
    """Return what is wrong with a subtraction and its mend; `null` is the step if it comes before."""
    if read.subtract not in every:
        plain = [each.id for each in every.values() if each.kind == "reading" and not each.each]
        return "no step has this id", closest(read.subtract, plain)
    if null is None:
        return "it is read only after this step", "Put the step that is subtracted first"
    if null.kind == "reading" and not null.reads:
        return None  # its kind is itself a mistake
    if null.kind != "reading" or null.each or len(null.reads) != 1 or null.reads[0].name:
        return "only a reading taken once can be subtracted", "Name a step of kind 'reading' without 'each'"
    if null.reads[0].unit != read.unit:
        return f"it is read in {null.reads[0].unit}, this in {read.unit}", "Subtract like from like"
    return None


def _step(stage: Stage, step: Step, where: str) -> Iterator[Mistake]:
    for key, why, mend in _step_faults(stage, step):
        value = getattr(step, key, "")
        shown = str(value).lower() if isinstance(value, bool) else str(value or "")
        yield Mistake(
            where=where, field=f"stage[{stage.name}].step[{step.id}].{key}", value=shown, why=why, mend=mend
        )
    for read in step.reads:
        for key, why, mend in _read_faults(stage, step, read):
            yield Mistake(
                where=where, field=_path(stage, step, read, key), value=getattr(read, key), why=why, mend=mend
            )


def _step_faults(stage: Stage, step: Step) -> Iterator[tuple[str, str, str]]:
    if step.load_fractions and not stage.energised:
        yield "kind", "load points need a live supply, and this stage is dead", "Move it to a live stage"
    if step.load_fractions and step.each not in _RAILS and not step.together:
        yield "each", "load points are of a rail", "Write each = 'rail' or 'regulated-rail'"
    if step.together and step.load_fractions not in {(), (1.0,)}:
        yield "together", "all rails together carry their rated current only", 'Write load = ["100 %"]'
    if step.kind == "capture" and not step.reads and not stage.energised:
        yield (
            "kind",
            "a waveform is taken of a live supply, and this stage is dead",
            "Move it to a live stage",
        )
    if step.drive == "overload" and (not stage.energised or step.each not in _RAILS):
        yield (
            "drive",
            "an overload is of a rail of a live supply",
            "Write each = 'regulated-rail', or leave it out",
        )
    if step.kind == "soak" and step.each == "secondary":
        yield "each", "nothing of a secondary is watched in a soak", "Write each = 'transformer'"
    if step.proves_earth and stage.energised:
        yield "proves_earth", "the earth is proven before mains is applied", "Move it to a dead stage"
    if step.proves_earth and not step.required:
        yield "required", "the proof of the protective earth cannot be left out", "Write required = true"
    if step.enclosure == "open" and stage.energised:
        yield (
            "enclosure",
            "mains is applied only with the case shut",
            "Bring leads out; write 'any' or 'shut'",
        )


def _read_faults(stage: Stage, step: Step, read: Read) -> Iterator[tuple[str, str, str]]:
    per_rail = step.each in _RAILS
    for key, name in (("limit", read.limit), ("stop", read.stop)):
        if name in RAIL_LIMITS and not per_rail:
            yield key, "this limit is of one rail", "Write each = 'rail' or 'regulated-rail' in the step"
    if (read.stop or read.stop_literal) and not stage.energised:
        yield "stop", "a stop limit halts a live supply, and this stage is dead", "Use limit instead"
    if read.expect in RAIL_KEYS and not per_rail:
        yield "expect", "this is expected of one rail", "Write each = 'rail' or 'regulated-rail' in the step"
    if read.expect in SECONDARY_KEYS and step.each != "secondary":
        yield "expect", "this is expected of one secondary", "Write each = 'secondary' in the step"


def _path(stage: Stage, step: Step, read: Read, key: str) -> str:
    inside = f".reads[{read.name}]" if read.name else ""
    return f"stage[{stage.name}].step[{step.id}]{inside}.{key}"
