"""Where the files shipped with the tool are found, installed or in a checkout.

A wheel holds the repository's top-level ``procedures/`` as ``ohmward/shipped/procedures``; in a
checkout (or an editable install) they are read where they stand.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

Kind = Literal["procedures", "limits", "demo", "profiles"]

_HERE = Path(__file__).resolve().parent
_CHECKOUT = _HERE.parents[2]


def folder(kind: Kind) -> Path:
    """Return the folder of the shipped files of a kind.

    Parameters
    ----------
    kind : str
        ``procedures``, ``limits`` (the limit sets, inside ``procedures``), ``demo`` or ``profiles``.
    """
    if kind in {"demo", "profiles"}:
        return _HERE / kind
    procedures = _HERE / "procedures"
    if not procedures.is_dir():
        procedures = _CHECKOUT / "procedures"
    return procedures / "limits" if kind == "limits" else procedures


def names(kind: Kind, suffix: str = ".toml") -> tuple[str, ...]:
    """Return the names (without suffix) of the shipped files of a kind, in alphabetical order."""
    return tuple(sorted(path.stem for path in folder(kind).glob(f"*{suffix}")))
