"""Supplies whose readings are made by ngspice, with the fault in the netlist; our model never touches them.

Run: ``python tests/benchmarks/diagnosis_ngspice.py`` writes `tests/data/diagnosis_ngspice.json` anew (some
minutes). `tests/analysis/test_diagnose.py` diagnoses them, and makes a few of them again to see that the
file is what ngspice says.

Each supply has two rails on two transformers. A netlist holds source, primary and secondary resistance,
joint, four diodes, reservoir with its ESR, bleeder and output wiring; its values are drawn here from the
tolerances that the sheet states. An overload is told here by the transformer that is too
small for its load.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.diagnosis import shown
from ohmward.analysis._observations import CheckAnswer, Observation
from ohmward.supply.model import Mains, Rail, Rectifier, Reservoir, Secondary, Supply, Transformer

STORE = Path(__file__).parents[1] / "data" / "diagnosis_ngspice.json"
FRACTIONS = (0.0, 0.25, 0.5, 1.0)
CYCLES = 60
FAULTS = {
    "healthy": (1.0,),
    "open-diode": (1.0,),
    "reservoir-dried": (0.3, 0.5, 0.6),
    "reservoir-esr": (0.2, 0.3, 0.5),
    "ac-joint": (0.2, 0.35, 0.5),
    "diode-high-drop": (0.8, 1.2, 1.6),
    "wrong-tap": (240 / 230, 220 / 230),
    "undersized-transformer": (1.6, 2.0),
}
COUNT = 56


def drawn(seed: int) -> dict[str, Any]:
    """Return a sheet, a fault and the values of the unit."""
    rng = np.random.default_rng(seed)

    def within(percent: float) -> float:
        return float(1 + rng.uniform(-1, 1) * percent / 100)

    fault = list(FAULTS)[seed % len(FAULTS)]
    size = float(rng.choice(FAULTS[fault]))
    faulty = int(rng.integers(2))
    mains = float(np.round(rng.uniform(224.0, 238.0), 1))
    rails = []
    for index in range(2):
        volts = float(rng.choice([12.0, 15.0, 18.0, 24.0, 30.0]))
        amps = float(np.round(rng.uniform(0.8, 2.5), 1))
        winding, current = round((volts + 1.8) / 1.2, 1), round(1.8 * amps, 2)
        regulation = float(np.round(rng.uniform(8.0, 13.0), 1))
        farad = float(f"{amps / (100 * (0.05 * volts + 0.5)):.2g}")
        esr = float(f"{0.15 / (628.3 * farad):.2g}")
        real = {
            # regulation is (no-load - full-load) / full-load; copper at rated load is a quarter above 20 °C
            "open_v": winding * (1 + regulation / 100 * within(10)) * within(2) * mains / 230,
            "copper_ohm": regulation / 100 * winding / current * within(10) / 1.25 * 1.04,
            "joint_ohm": rng.uniform(0.01, 0.05),
            "forward_v": rng.uniform(0.85, 0.95),
            "capacitance_f": farad * within(20),
            "esr_ohm": esr * within(30),
            "bleeder_ohm": volts / 0.01 * within(5),
            "wiring_ohm": 0.015 * within(10),
        }
        rails.append(
            {"name": "ab"[index], "volts": volts, "amps": amps, "winding_v": winding, "winding_a": current,
             "regulation_pct": regulation, "capacitance_f": farad, "esr_ohm": esr, "real": real}
        )  # fmt: skip
    return {"seed": seed, "fault": fault, "size": size, "subject": "" if fault == "healthy" else "ab"[faulty],
            "mains_v": mains, "rails": rails}  # fmt: skip


def netlist(case: dict[str, Any], fraction: float) -> str:
    """Return both rails at a share of their rated current."""
    lines = ["two rails", ".temp 27", ".options reltol=1e-4 abstol=1e-9 vntol=1e-6 tnom=27"]
    begin, end, half = (CYCLES - 4) * 0.02, CYCLES * 0.02, 0.01
    for rail in case["rails"]:
        k, real = rail["name"], dict(rail["real"])
        fault = case["fault"] if case["subject"] == k else ""
        size, drop = case["size"], 0.0
        if fault == "reservoir-dried":
            real["capacitance_f"] *= size
        elif fault == "reservoir-esr":
            real["esr_ohm"] += size
        elif fault == "ac-joint":
            real["joint_ohm"] += size
        elif fault == "undersized-transformer":
            real["copper_ohm"] *= size
        elif fault == "wrong-tap":
            real["open_v"] /= size
        elif fault == "diode-high-drop":
            drop = size
        load = fraction * rail["amps"]
        saturation = rail["amps"] * np.exp(-(real["forward_v"] - 0.05) / (1.8 * 0.025865))
        peak = np.sqrt(2) * real["open_v"]
        lines += [
            f"V{k} s{k} b{k} SIN(0 {peak:.9g} 50)",
            f"R{k} s{k} t{k} {real['copper_ohm']:.9g}",
            f"RJ{k} t{k} x{k} {real['joint_ohm']:.9g}",
            f"D1{k} x{k} p{k} d{k}",
            f"D4{k} 0 b{k} d{k}",
            f"D3{k} 0 x{k} d{k}",
            *([] if fault == "open-diode" else [f"VD{k} b{k} y{k} {drop:.9g}", f"D2{k} y{k} p{k} d{k}"]),
            f".model d{k} D(IS={saturation:.9g} N=1.8 RS={0.05 / rail['amps']:.9g} CJO=10p)",
            f"C{k} p{k} c{k} {real['capacitance_f']:.9g} IC={0.92 * peak - 1.5:.9g}",
            f"RE{k} c{k} 0 {real['esr_ohm']:.9g}",
            f"RB{k} p{k} 0 {real['bleeder_ohm']:.9g}",
            f"RL{k} p{k} 0 {1e5:.9g}",
            f"RW{k} p{k} o{k} {real['wiring_ohm']:.9g}",
            f"IL{k} o{k} 0 DC {load:.9g}",
            f".meas tran mean{k} AVG v(p{k}) from={begin} to={end}",
            f".meas tran before{k} AVG v(p{k}) from={begin - 0.08} to={end - 0.08}",
            f".meas tran out{k} AVG v(o{k}) from={begin} to={end}",
            f".meas tran ripple{k} PP v(p{k}) from={begin} to={end}",
            f".meas tran first{k} MAX v(p{k}) from={end - 2 * half} to={end - half}",
            f".meas tran second{k} MAX v(p{k}) from={end - half} to={end}",
            f".meas tran secondary{k} RMS par('v(t{k})-v(b{k})') from={begin} to={end}",
        ]
    return "\n".join([*lines, f".tran 2e-5 {end} 0 2e-5 uic", ".end", ""])


def run(text: str) -> dict[str, float]:
    """Return what ngspice measures."""
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder) / "deck.cir"
        deck.write_text(text, encoding="ascii")
        done = subprocess.run(
            ["ngspice", "-b", str(deck)],
            stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=120, check=False,
        )  # fmt: skip
    found = {m[1]: float(m[2]) for m in re.finditer(r"^(\w+)\s*=\s*([-+\d.eE]+)", done.stdout, re.M)}
    wanted = re.findall(r"^\.meas tran (\w+)", text, re.M)
    missing = set(wanted) - found.keys()
    if missing:
        raise AssertionError(f"ngspice did not measure {missing}: {(done.stdout + done.stderr)[-600:]}")
    return {name: found[name] for name in wanted}


def made(seed: int, fractions: tuple[float, ...] = FRACTIONS) -> dict[str, Any]:
    """Return a case with what ngspice reads at each load."""
    case = drawn(seed)
    case["readings"] = {f"{fraction:g}": run(netlist(case, fraction)) for fraction in fractions}
    return case


def supply(case: dict[str, Any]) -> Supply:
    """Return the sheet of a case."""
    return Supply(
        tag="S",
        title="read by ngspice",
        protection_class="I",
        mains=Mains(voltage_v=230.0, frequency_hz=50.0),
        transformers=tuple(
            Transformer(
                name=f"T{rail['name']}",
                rating_va=round(rail["winding_v"] * rail["winding_a"]),
                regulation_pct=rail["regulation_pct"],
                secondaries=(Secondary(name="a", voltage_v=rail["winding_v"], current_a=rail["winding_a"]),),
            )
            for rail in case["rails"]
        ),
        rails=tuple(
            Rail(
                name=rail["name"],
                nominal_v=rail["volts"],
                rated_current_a=rail["amps"],
                sources=(f"T{rail['name']}.a",),
                rectifier=Rectifier(kind="bridge", forward_v=0.9),
                reservoir=Reservoir(
                    capacitance_f=rail["capacitance_f"],
                    esr_ohm=rail["esr_ohm"],
                    bleeder_ohm=rail["volts"] / 0.01,
                ),
                wiring_ohm=0.015,
            )
            for rail in case["rails"]
        ),
    )


def subject(case: dict[str, Any]) -> str:
    """Return where the fault sits, as the library names it."""
    transformer = case["fault"] in ("wrong-tap", "undersized-transformer")
    return f"T{case['subject']}" if transformer else str(case["subject"])


def readings(case: dict[str, Any]) -> tuple[list[Observation], list[CheckAnswer]]:
    """Return what meters show of ngspice's readings, and what an oscilloscope shows of the peaks."""
    rng = np.random.default_rng(1000 + case["seed"])
    seen: list[Observation] = []
    true: list[float] = []
    answers = []

    def add(key: str, subject: str, value: float, loads: tuple[tuple[str, float], ...] = ()) -> None:
        seen.append(
            Observation(
                key=key,
                subject=subject,
                value=0.0,
                loads=loads,
                mains_v=case["mains_v"],
                title=f"{key} {subject}",
            )
        )
        true.append(value)

    for rail in case["rails"]:
        k = rail["name"]
        add("no_load_v", f"T{k}.a", case["readings"]["0"][f"secondary{k}"])
        for fraction, found in case["readings"].items():
            loads = ((k, float(fraction) * rail["amps"]),) if float(fraction) else ()
            add("output_v", k, found[f"out{k}"], loads)
            add("reservoir_v", k, found[f"mean{k}"], loads)
            if fraction == "1":
                add("secondary_v", k, found[f"secondary{k}"], loads)
                add("reservoir_ripple_pp_v", k, found[f"ripple{k}"], loads)
                unequal = abs(found[f"first{k}"] - found[f"second{k}"])
                answers.append(
                    CheckAnswer(
                        step="ripple-frequency", subject=k, failed=unequal > 0.1 * found[f"ripple{k}"]
                    )
                )
    return shown(rng, seen, np.array(true)), answers


def main() -> None:
    cases = [made(seed) for seed in range(COUNT)]
    for case in cases:
        for fraction, found in case["readings"].items():
            for k in "ab":
                drift = abs(found[f"mean{k}"] - found[f"before{k}"])
                if drift > 1e-3 * found[f"mean{k}"]:
                    sys.stdout.write(
                        f"{case['seed']} {case['fault']} {fraction} {k}: not settled, {drift:.4f} V\n"
                    )
    STORE.write_text(json.dumps(cases, indent=0) + "\n", encoding="ascii")


if __name__ == "__main__":
    main()
