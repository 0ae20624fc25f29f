"""What is to be done: stages, steps, limit sets; TOML in, a flat list of items out.

Pure but for `files`, which reads a path or a file shipped with the tool.
"""

from ohmward.procedure.expand import expand
from ohmward.procedure.files import load, load_limits, source_text, source_text_limits
from ohmward.procedure.limits import LIMIT_UNITS, resolve
from ohmward.procedure.limitset import LimitSet, loads_limits
from ohmward.procedure.loader import loads
from ohmward.procedure.model import Item, Limit, Procedure, Read, Stage, Step

__all__ = [
    "LIMIT_UNITS",
    "Item",
    "Limit",
    "LimitSet",
    "Procedure",
    "Read",
    "Stage",
    "Step",
    "expand",
    "load",
    "load_limits",
    "loads",
    "loads_limits",
    "resolve",
    "source_text",
    "source_text_limits",
]
