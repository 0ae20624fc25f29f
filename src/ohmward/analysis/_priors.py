"""Prior weights of faults, and what the answers of checks say of them: data, open to correction.

Common practice, no source: what breaks in bench supplies is, first of all, electrolytics, joints and
diodes. A weight is relative to the others; each place a fault can sit in (a rail, a transformer) counts
once with the full weight.
"""

from __future__ import annotations

import msgspec

HEALTHY = 0.6
"""Chance that a supply on the bench has nothing wrong that its readings could show."""
UNKNOWN = 0.01
"""Chance of something the library does not hold."""
SECOND = 0.1
"""Chance that a faulty supply has a given second fault too, over that of having it alone."""

WEIGHTS: dict[str, float] = {
    "open-diode": 1.5,
    "shorted-diode": 0.5,
    "diode-high-drop": 0.5,
    "reservoir-dried": 3.0,
    "reservoir-open": 0.7,
    "reservoir-esr": 1.5,
    "reservoir-leaky": 0.7,
    "shorted-turns": 0.5,
    "core-bolt-turn": 0.2,
    "transformer-sheds-badly": 0.5,
    "wrong-tap": 1.0,
    "primaries-in-series": 0.3,
    "secondaries-antiphase": 0.2,
    "undersized-transformer": 0.5,
    "ac-joint": 1.5,
    "output-joint": 2.0,
    "thin-output-wire": 1.0,
    "regulator-dropout": 0.7,
    "regulator-oscillating": 0.7,
    "pass-device-shorted": 0.7,
    "no-minimum-load": 0.5,
    "reference-drift": 1.0,
    "open-sense": 0.4,
    "thermal-shutdown": 0.4,
    "dry-interface": 0.7,
    "sink-sheds-badly": 0.7,
    "washer-punctured": 0.3,
    "no-ventilation": 0.6,
    "bleeder-missing": 0.7,
    "bleeder-unlisted": 3.0,
    "load-missing": 2.0,
    "loose-earth": 2.0,
    "earth-core-broken": 1.0,
    "damp-insulation": 1.5,
    "failing-barrier": 0.3,
    "suppressor-conducting": 0.7,
    "line-neutral-transposed": 0.5,
    "wrong-fuse": 1.0,
    "switch-on-surge": 0.5,
    "low-mains": 1.0,
    "high-mains": 0.5,
}


class Tell(msgspec.Struct, frozen=True, kw_only=True):
    """What one check says: the faults that make it fail, and how often it fails with and without them."""

    faults: tuple[str, ...]
    failed_with: float = 0.9
    failed_without: float = 0.003


SURE = 0.0005
"""Chance that a check which only looks at what the fault is fails without it: somebody saw something."""
CHECKS: dict[str, Tell] = {
    "ripple-frequency": Tell(faults=("open-diode", "diode-high-drop"), failed_with=0.9, failed_without=0.02),
    "oscillation": Tell(faults=("regulator-oscillating",), failed_with=0.95, failed_without=0.02),
    "lamp-first": Tell(faults=("shorted-diode", "shorted-turns", "core-bolt-turn"), failed_without=SURE),
    "direct-start": Tell(
        faults=("shorted-diode", "switch-on-surge", "wrong-fuse"), failed_with=0.6, failed_without=SURE
    ),
    "fuse-value": Tell(faults=("wrong-fuse",), failed_with=0.95, failed_without=SURE),
    "fuse-in-line": Tell(faults=("line-neutral-transposed",), failed_with=0.98, failed_without=SURE),
    "fuse-live-end": Tell(faults=("line-neutral-transposed",), failed_with=0.6, failed_without=0.01),
    "line-core": Tell(faults=("line-neutral-transposed",), failed_with=0.95),
    "cord-cores": Tell(
        faults=("line-neutral-transposed", "earth-core-broken"), failed_with=0.9, failed_without=SURE
    ),
    "plug-wiring": Tell(faults=("line-neutral-transposed",), failed_with=0.7, failed_without=0.02),
    "earth-wiggle": Tell(faults=("loose-earth", "earth-core-broken"), failed_with=0.7, failed_without=SURE),
    "earth-bare-metal": Tell(faults=("loose-earth",), failed_with=0.4, failed_without=0.02),
    "case-voltage-limited": Tell(faults=("earth-core-broken",), failed_with=0.8),
    "case-voltage": Tell(faults=("earth-core-broken",), failed_with=0.8),
    "output-earth": Tell(faults=("washer-punctured",), failed_with=0.9),
    "electrolytics": Tell(
        faults=("reservoir-dried", "reservoir-leaky"), failed_with=0.3, failed_without=0.02
    ),
    "mains-joints": Tell(faults=("ac-joint",), failed_with=0.2, failed_without=0.02),
    "toroid-bolt": Tell(faults=("core-bolt-turn",), failed_with=0.7, failed_without=SURE),
    "bleeder-fitted": Tell(faults=("bleeder-missing",), failed_with=0.7, failed_without=SURE),
    "wire-gauge": Tell(faults=("thin-output-wire",), failed_with=0.7, failed_without=0.01),
    "voltage-selector": Tell(
        faults=("wrong-tap", "primaries-in-series"), failed_with=0.6, failed_without=SURE
    ),
    "device-mounting": Tell(
        faults=("dry-interface", "washer-punctured"), failed_with=0.5, failed_without=SURE
    ),
    "fan": Tell(faults=("no-ventilation",), failed_with=0.6),
    "air-path": Tell(
        faults=("no-ventilation", "sink-sheds-badly", "transformer-sheds-badly"), failed_with=0.6
    ),
    "soak-watch": Tell(faults=("thermal-shutdown",), failed_with=0.8, failed_without=SURE),
    "first-polarity": Tell(
        faults=("secondaries-antiphase", "pass-device-shorted"), failed_with=0.6, failed_without=SURE
    ),
}
"""By step of the shipped procedures, a check or a reading that holds or does not; other steps say nothing of
a cause. That a fault is overlooked is far likelier than that one is seen where there is none."""

EARTH_OHM = (0.06, 0.25)
INSULATION_OHM = (400e6, 0.4)
ISOLATION_OHM = (400e6, 0.4)
"""Usual reading of a sound unit and its spread in decades (common practice, no source)."""
