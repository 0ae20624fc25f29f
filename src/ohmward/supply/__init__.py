"""The unit under test: design sheet model, TOML in and out, findings on the design itself."""

from ohmward.supply.copper import cord_resistance
from ohmward.supply.files import load, save
from ohmward.supply.sheet import dumps, loads, to_json

__all__ = ["cord_resistance", "dumps", "load", "loads", "save", "to_json"]
