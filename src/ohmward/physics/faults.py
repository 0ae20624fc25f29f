"""The fault library: every fault by name, and the unit that results from one.

Sizes and signs are workshop experience unless the tests name a source; each fault's words are for a
person at the bench.
"""

from __future__ import annotations

from ohmward.errors import InputError, Mistake
from ohmward.physics.condition import Unit, as_unit
from ohmward.physics.fault import Direction, Fault, Scope, Severity
from ohmward.physics.faults_output import OUTPUT_FAULTS
from ohmward.physics.faults_safety import SAFETY_FAULTS
from ohmward.physics.faults_source import SOURCE_FAULTS
from ohmward.supply.model import Supply

__all__ = ["FAULTS", "Direction", "Fault", "Scope", "Severity", "apply", "fault", "subjects"]

FAULTS: dict[str, Fault] = {entry.name: entry for entry in (*SOURCE_FAULTS, *OUTPUT_FAULTS, *SAFETY_FAULTS)}


def fault(name: str) -> Fault:
    """Return the fault called `name`.

    Raises
    ------
    InputError
        When there is none; the mend lists those there are.
    """
    if name in FAULTS:
        return FAULTS[name]
    known = ", ".join(FAULTS)
    mistake = Mistake(where="", field="fault", value=name, why="no such fault", mend=f"One of: {known}")
    raise InputError([mistake])


def subjects(which: Fault | str, supply: Supply | Unit) -> tuple[str, ...]:
    """Return what it can sit in: rails or transformers of the sheet, or ('',) for the unit as a whole."""
    entry = fault(which) if isinstance(which, str) else which
    sheet = as_unit(supply).sheet
    if entry.scope == "unit":
        return ("",)
    if entry.scope == "transformer":
        return tuple(transformer.name for transformer in sheet.transformers)
    return tuple(rail.name for rail in sheet.rails if entry.scope == "rail" or rail.regulator is not None)


def apply(
    which: Fault | str, supply: Supply | Unit, subject: str | None = None, *, size: float | None = None
) -> Unit:
    """Return the unit with the fault in it. Pure; faults add up when applied one after the other.

    Parameters
    ----------
    which : Fault or str
    supply : Supply or Unit
        A sheet, or a unit that has faults already.
    subject : str, optional
        Rail or transformer it sits in; None takes the first that it can sit in.
    size : float, optional
        In the fault's own measure; None takes the usual one.

    Returns
    -------
    Unit
        Unchanged by a fault that no reading of the model shows (its ``change`` is None).

    Raises
    ------
    InputError
        When there is no such fault, or it cannot sit there.
    """
    entry = fault(which) if isinstance(which, str) else which
    unit = as_unit(supply)
    possible = subjects(entry, unit)
    chosen = possible[0] if subject is None and possible else subject
    if chosen not in possible or chosen is None:
        mend = (
            f"One of: {', '.join(possible)}"
            if any(possible)
            else f"The sheet has no {entry.scope} to put it in"
        )
        why = f"'{entry.name}' cannot sit there"
        raise InputError([Mistake(where="", field="fault", value=subject or "", why=why, mend=mend)])
    if entry.change is None:
        return unit
    return entry.change(unit, chosen, entry.size if size is None else size)
