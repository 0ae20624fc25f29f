"""Values and units: reading what a person types, writing what a person reads.

One parser and one formatter for everything. `M` and `m` are never folded, nothing is guessed. A
bound (``>200M``) and an overload (``OL``) are kinds of value of their own, and a check against a
limit (`within`) has three answers.
"""

from ohmward.quantity.checking import implausible, within
from ohmward.quantity.reading import parse, states_unit
from ohmward.quantity.units import UNITS
from ohmward.quantity.value import Kind, QuantityError, Value
from ohmward.quantity.writing import (
    show,
    show_band,
    show_borne,
    show_centre,
    show_exact,
    show_value,
    unit_of_difference,
)

__all__ = [
    "UNITS",
    "Kind",
    "QuantityError",
    "Value",
    "implausible",
    "parse",
    "show",
    "show_band",
    "show_borne",
    "show_centre",
    "show_exact",
    "show_value",
    "states_unit",
    "unit_of_difference",
    "within",
]
