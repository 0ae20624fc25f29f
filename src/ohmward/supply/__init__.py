"""The unit under test: design sheet model, TOML in and out, findings on the design itself."""

from ohmward.supply.copper import awg_area_mm2, copper_resistance, cord_resistance, earth_path
from ohmward.supply.describing import Row, describe, table
from ohmward.supply.design import findings
from ohmward.supply.files import load, save
from ohmward.supply.finding import Finding
from ohmward.supply.relations import discharge_seconds, highest_peak_v
from ohmward.supply.sheet import loads, to_json
from ohmward.supply.writing import dumps, update

__all__ = [
    "Finding",
    "Row",
    "awg_area_mm2",
    "copper_resistance",
    "cord_resistance",
    "describe",
    "discharge_seconds",
    "dumps",
    "earth_path",
    "findings",
    "highest_peak_v",
    "load",
    "loads",
    "save",
    "table",
    "to_json",
    "update",
]
