"""How long a full report takes, cold, and where the time goes.

    python tests/benchmarks/bench_report.py [RUN.jsonl]

Reference: `ohmward assess` of the same run, in the same way and in the same minutes.
"""

# ruff: noqa: T201 a script that prints
from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

RUN = Path(__file__).resolve().parents[2] / "sample_logs/runs/CR-07/2026-03-02-01-commissioning.jsonl"
ROUNDS = 5


def cold(*arguments: str) -> float:
    """Seconds of processor that one command takes in a fresh process."""
    import resource

    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-m", "ohmward.cli", *arguments], check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def phases(run: Path) -> list[tuple[str, float]]:
    """Seconds of processor of each part, in this process."""
    found = []
    last = time.process_time()

    def mark(name: str) -> None:
        nonlocal last
        now = time.process_time()
        found.append((name, now - last))
        last = now

    from ohmward.report.document import documents
    from ohmward.report.document.html import to_html
    from ohmward.report.document.pdf import to_pdf
    from ohmward.report.document.pictures import drawn
    from ohmward.report.document.source import load_source
    from ohmward.report.document.words import load_words

    words = load_words()
    mark("imports and words")
    source = load_source(run)
    mark("reading, verifying, assessing")
    pictures = drawn(words, source)
    mark(f"{len(pictures)} pictures (with matplotlib)")
    document = documents.full(words, source, pictures=pictures)
    mark("document")
    to_pdf(document)
    mark("typesetting the PDF (with typst)")
    to_html(document)
    mark("HTML")
    documents.short(words, source)
    to_pdf(documents.short(words, source))
    mark("short form")
    return found


def main() -> None:
    """Print times and the ratio."""
    run = Path(sys.argv[1]) if len(sys.argv) > 1 else RUN
    with tempfile.TemporaryDirectory() as folder:
        out = f"{folder}/report.pdf"
        reports, plain, assessed, clock = [], [], [], []
        for _ in range(ROUNDS):
            began = time.perf_counter()
            reports.append(cold("report", str(run), "-o", out, "--force"))
            clock.append(time.perf_counter() - began)
            plain.append(cold("report", str(run), "-o", out, "--force", "--no-pictures"))
            assessed.append(cold("assess", str(run)))
    print(f"full report, cold: {median(reports):.2f} s of processor, {min(clock):.2f} s by the clock at best")
    print(f"without pictures:  {median(plain):.2f} s of processor")
    print(f"assess, cold:      {median(assessed):.2f} s of processor (reference)")
    print(f"ratio:             {median(reports) / median(assessed):.2f}")
    for name, seconds in phases(run):
        print(f"  {seconds:6.2f} s  {name}")


if __name__ == "__main__":
    main()
