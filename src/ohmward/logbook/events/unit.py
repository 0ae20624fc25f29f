"""What is done to the supply, or said of it as a whole: the case, the mains, its metal parts."""

from __future__ import annotations

from ohmward.logbook.events.body import Body


class Parts(Body, frozen=True, kw_only=True):
    """The accessible metal parts, as the person names them."""

    names: tuple[str, ...]


class Acknowledged(Body, frozen=True, kw_only=True):
    """The cautions of a stage were read and accepted."""

    stage: str


class TestVoltage(Body, frozen=True, kw_only=True):
    """Insulation is tested at another of the voltages that the limit set allows, from here on."""

    __test__ = False  # no test of pytest's
    volts: float
    reason: str
    """Why not at the limit set's own; may be empty where it is that again."""


class CaseOpened(Body, frozen=True, kw_only=True):
    """The case is opened: what was proved with it shut is to be proved again."""

    reason: str = ""


class CaseShut(Body, frozen=True, kw_only=True):
    """The case is shut."""


class Repaired(Body, frozen=True, kw_only=True):
    """Something was mended or changed."""

    what: str


class Energised(Body, frozen=True, kw_only=True):
    """Mains applied."""


class SwitchedOff(Body, frozen=True, kw_only=True):
    """Switched off and unplugged; the residual voltage is still to be measured."""

    reason: str = ""
