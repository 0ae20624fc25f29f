"""Runs the rectifier circuits in ngspice, for tests and benchmarks only.

The netlist is made of numbers that we format ourselves and nothing else: a netlist can run commands.
An exit code of nought proves little, so the log, the number of points and the last instant are checked.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from ohmward.supply.model import RectifierKind
from support.machine import tool

Array = npt.NDArray[np.float64]

STEP_S = 10e-6
"""Longest step; with the tolerance below, that the accuracy asked for needs."""
TOLERANCE = 1e-5
CYCLES = 30
KEPT = 6
"""Whole cycles kept for measuring: three pairs, the last of which is the answer."""
SETTLED = 4e-6
"""Relative change of the mean still to come at which a run counts as settled.

At light load the ripple is some thousandths of the mean, and a drift five times this showed in it.
"""
TRIES = 12


@dataclass(frozen=True, kw_only=True)
class Design:
    """One rectifier; the names are those of `steady_state`, units likewise."""

    kind: RectifierKind
    source_rms_v: float
    frequency_hz: float
    source_ohm: float
    capacitance_f: float
    esr_ohm: float
    saturation_a: float
    emission: float
    bulk_ohm: float
    load_a: float | None = None
    load_ohm: float | None = None
    second_rms_v: float | None = None
    second_ohm: float | None = None
    open_half: bool = False


@dataclass(frozen=True, kw_only=True)
class Run:
    """What ngspice shows over the last two cycles, and how far it was from settled."""

    mean_v: float
    valley_v: float
    peak_v: float
    ripple_pp_v: float
    ripple_rms_v: float
    source_rms_a: float
    """Of both halves together."""
    source_peak_a: float
    change_v: float
    """Mean of the last two cycles less that of the two before."""
    to_come_v: float
    """What a geometric approach would still add."""


def available() -> bool:
    """Return True where ngspice can be run."""
    return shutil.which("ngspice") is not None


def require() -> None:
    """Skip the test where ngspice is missing, with the reason; fail it in continuous integration."""
    tool("ngspice")


def settle(design: Design, *, cycles: int = CYCLES, step_s: float = STEP_S) -> Run:
    """Return the settled run, started again from where it got to until it is."""
    start = _plain_guess(design)
    for _ in range(TRIES):
        run, start = _run(design, start, cycles, step_s)
        if abs(run.to_come_v) <= SETTLED * run.mean_v:
            return run
    raise AssertionError(f"ngspice did not settle: {run} of {design}")


def once(design: Design, *, cycles: int = CYCLES, step_s: float = STEP_S) -> Run:
    """Return one run of `cycles` from a plain guess, settled or not."""
    return _run(design, _plain_guess(design), cycles, step_s)[0]


def waveform(design: Design, *, rate_hz: float = 100e3, step_s: float = 5e-6) -> Array:
    """Return `KEPT` settled cycles of the reservoir [V], `rate_hz` samples a second."""
    start = _plain_guess(design)
    for _ in range(TRIES):
        run, start = _run(design, start, CYCLES, STEP_S)
        if abs(run.to_come_v) <= SETTLED * run.mean_v:
            break
    else:
        raise AssertionError(f"ngspice did not settle: {run} of {design}")
    columns = _solved(design, start, KEPT + 2, step_s)
    time = 2.0 / design.frequency_hz + np.arange(round(KEPT / design.frequency_hz * rate_hz)) / rate_hz
    return np.interp(time, columns["time"], columns["v(p)"])


def _plain_guess(design: Design) -> float:
    """Return the peak less 0.9 V a diode and the triangle's half ripple, sagging by a tenth under load."""
    peak = np.sqrt(2) * design.source_rms_v
    current = design.load_a or 0.9 * peak / (design.load_ohm or np.inf)
    one_sided = design.open_half or design.kind == "half-wave"
    ripple = current / (design.frequency_hz * (1 if one_sided else 2) * design.capacitance_f)
    drop = 0.9 * (2 if design.kind == "bridge" else 1)
    return float(max(0.9 * peak - drop - ripple / 2, 0.3 * peak))


def netlist(design: Design, start_v: float, cycles: int, step_s: float) -> str:
    """Return the circuit; the reservoir begins at `start_v`, the source at nought and rising."""
    period = 1 / design.frequency_hz
    peak = np.sqrt(2) * design.source_rms_v
    second = np.sqrt(2) * (design.source_rms_v if design.second_rms_v is None else design.second_rms_v)
    second_ohm = design.source_ohm if design.second_ohm is None else design.second_ohm
    if design.kind == "bridge":
        if second != peak or second_ohm != design.source_ohm:
            raise ValueError("a bridge's halves share one winding here")
        circuit = [
            f"V1 a b SIN(0 {peak:.12g} {design.frequency_hz:.12g})",
            f"R1 a x {design.source_ohm:.12g}",
            "D1 x p d",
            "D4 0 b d",
            "D3 0 x d",
            *([] if design.open_half else ["D2 b p d"]),
        ]
    else:
        circuit = [
            f"V1 a 0 SIN(0 {peak:.12g} {design.frequency_hz:.12g})",
            f"R1 a x {design.source_ohm:.12g}",
            "D1 x p d",
        ]
        if design.kind == "centre-tap" and not design.open_half:
            circuit += [
                f"V2 0 b SIN(0 {second:.12g} {design.frequency_hz:.12g})",
                f"R2 b y {second_ohm:.12g}",
                "D2 y p d",
            ]
    load = (
        f"IL p 0 DC {design.load_a:.12g}" if design.load_a is not None else f"RL p 0 {design.load_ohm:.12g}"
    )
    two = any(line.startswith("V2") for line in circuit)
    return "\n".join(
        [
            "rectifier with capacitor input",
            *circuit,
            # A winding between blocked diodes hangs in the air; 10 pF a junction ties it down, and moves
            # some 50 nA.
            f".model d D(IS={design.saturation_a:.12g} N={design.emission:.12g} RS={design.bulk_ohm:.12g}"
            " CJO=10p)",
            f"C1 c 0 {design.capacitance_f:.12g} IC={start_v:.12g}",
            f"RE p c {design.esr_ohm:.12g}",
            load,
            ".temp 27",
            f".options reltol={TOLERANCE:g} abstol=1e-10 vntol=1e-7 tnom=27",
            f".save v(p) v(c) i(v1){' i(v2)' if two else ''}",
            f".tran {step_s:.12g} {cycles * period:.12g} {(cycles - KEPT) * period:.12g} {step_s:.12g} uic",
            ".end",
            "",
        ]
    )


def _run(design: Design, start_v: float, cycles: int, step_s: float) -> tuple[Run, float]:
    columns = _solved(design, start_v, cycles, step_s)
    return _measure(design, columns, cycles / design.frequency_hz), float(columns["v(c)"][-1])


def _solved(design: Design, start_v: float, cycles: int, step_s: float) -> dict[str, Array]:
    """Return the columns of one run, its last `KEPT` cycles, by name."""
    with tempfile.TemporaryDirectory() as folder:
        deck, raw = Path(folder) / "deck.cir", Path(folder) / "out.raw"
        deck.write_text(netlist(design, start_v, cycles, step_s), encoding="ascii")
        done = subprocess.run(
            ["ngspice", "-b", "-r", str(raw), str(deck)],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        log = done.stdout + done.stderr
        wrong = [
            line for line in log.splitlines() if re.search(r"error|fatal|singular|too small", line, re.I)
        ]
        if done.returncode or wrong or not raw.exists():
            raise AssertionError(f"ngspice failed ({done.returncode}): {wrong or log[-400:]}")
        columns = _read(raw)
    last = cycles / design.frequency_hz
    if abs(columns["time"][-1] - last) > 1e-6 * last:
        raise AssertionError(f"ngspice stopped at {columns['time'][-1]} s of {last} s")
    return columns


def _read(path: Path) -> dict[str, Array]:
    """Return the columns of a binary raw file by name."""
    head, _, body = path.read_bytes().partition(b"Binary:\n")
    text = head.decode("ascii")
    names = re.findall(r"^\t\d+\t(\S+)\t", text, re.M)
    count = re.search(r"^No\. Points:\s*(\d+)", text, re.M)
    if not names or count is None or "Flags: real" not in text:
        raise AssertionError(f"not a raw file we know: {text[:200]}")
    rows = np.frombuffer(body, dtype="<f8", count=int(count[1]) * len(names)).reshape(-1, len(names))
    return dict(zip(names, rows.T, strict=True))


def _mean(time: Array, values: Array, begin: float, end: float) -> float:
    """Return the mean over an interval; the steps are not equal."""
    inner = (time > begin) & (time < end)
    t = np.concatenate([[begin], time[inner], [end]])
    y = np.concatenate([[np.interp(begin, time, values)], values[inner], [np.interp(end, time, values)]])
    return float(np.trapezoid(y, t) / (end - begin))


def _measure(design: Design, columns: dict[str, Array], last: float) -> Run:
    time, vo = columns["time"], columns["v(p)"]
    currents = [column for name, column in columns.items() if name.startswith("i(")]
    squares = np.sum([np.square(current) for current in currents], axis=0)
    pair = 2 / design.frequency_hz
    earlier, before, mean = (_mean(time, vo, last - k * pair, last - (k - 1) * pair) for k in (3, 2, 1))
    change, previous = mean - before, before - earlier
    # A geometric approach: each pair of cycles keeps the same share of what is missing.
    kept = change / previous if previous and abs(change) < abs(previous) else 0.0
    if abs(change) >= abs(previous) and abs(change) > SETTLED / 4 * mean:
        kept = 0.99
    within = time >= last - pair
    variance = _mean(time, np.square(vo - mean), last - pair, last)
    return Run(
        mean_v=mean,
        valley_v=float(vo[within].min()),
        peak_v=float(vo[within].max()),
        ripple_pp_v=float(np.ptp(vo[within])),
        ripple_rms_v=float(np.sqrt(variance)),
        source_rms_a=float(np.sqrt(_mean(time, squares, last - pair, last))),
        source_peak_a=float(max(np.abs(current[within]).max() for current in currents)),
        change_v=change,
        to_come_v=change * kept / (1 - kept),
    )
