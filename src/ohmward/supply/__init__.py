"""The unit under test: design sheet model, TOML in and out, findings on the design itself."""

from ohmward.supply.copper import cord_resistance
from ohmward.supply.design import Finding, findings
from ohmward.supply.files import load, save
from ohmward.supply.sheet import loads, to_json
from ohmward.supply.writing import dumps, update

__all__ = ["Finding", "cord_resistance", "dumps", "findings", "load", "loads", "save", "to_json", "update"]
