"""Logs of every format ever written read the same for ever.

``formats/1`` is a whole logbook written by the tool when its format was 1 (version 0.1): one run with every
kind of record that there was then, a torn line set aside, a waveform, a second run copied from paper, and
the chain of both. ``1-without-later-fields.jsonl`` is a journal as it was before fields with defaults were
added to that format. None of these files is ever made again: when the format grows, a new folder is
added beside them.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path
from typing import Any

import msgspec
import pytest

from ohmward.logbook import Logbook, anchors, open_run, read, verify
from ohmward.logbook.events import KINDS, Opened, Record
from ohmward.logbook.whole import verify_all
from ohmward.run.state import Phase, state

FORMATS = Path(__file__).parent / "formats"
SHA256 = {
    "1/anchors/bench-A.chain": ("960f48830b87f6ddbd287a80da0425973bf96817db5548c73ff33de67ea9c641"),
    "1/runs/CR-07/2026-03-01-01-short-wave.csv": (
        "4c0c6de8c073d21f603d2c2a70d99ba035a4f1b7397ff4f8606ab8adccc2b647"
    ),
    "1/runs/CR-07/2026-03-01-01-short.jsonl": (
        "eb11d81fce9d7f3eab10b71bf2a8717916630f00a202b7b46e41f8c3ff744ad0"
    ),
    "1/runs/CR-07/2026-03-01-01-short.seal": (
        "7b5397120243350d1fd91c36362b6f0df854feba23494c5428a20080aee38f2e"
    ),
    "1/runs/CR-07/2026-03-01-01-short.torn-1": (
        "a103b21ac2f904673ec6028d62adb5bd701dffba10e14aeec32dee13104cb06b"
    ),
    "1/runs/CR-11/2019-05-03-01-retest.jsonl": (
        "2b94cd74d1ba0082513968bbd560d267de2d9a675aa980aaea26ec60f2d273de"
    ),
    "1/runs/CR-11/2019-05-03-01-retest.seal": (
        "4e2a2befd69780a686143b8abd38e60d3a65200e88d90a177b801939a13e1850"
    ),
    "1-without-later-fields.jsonl": ("9605da359a9f261f73ea2e726ea39ad4edbfa4cd5606f9235033b8e29b3c18f1"),
}
KINDS_OF_1 = {
    "opened", "resumed", "recovered", "parts", "acknowledged", "case-opened", "case-shut", "repaired",
    "energised", "switched-off", "answered", "reading", "skipped", "overridden", "amended", "noted",
    "series-begun", "series-rows", "series-gap", "series-ended", "captured", "closed",
}  # fmt: skip
JOURNALS = [FORMATS / name for name in SHA256 if name.endswith(".jsonl")]


@pytest.mark.parametrize("name", SHA256)
def test_the_samples_are_as_they_were_made(name: str) -> None:
    assert hashlib.sha256((FORMATS / name).read_bytes()).hexdigest() == SHA256[name]


def holds(body: Any, written: Any) -> bool:
    """Whether everything that is written is in the body, the same; what the body has more is a default."""
    if isinstance(written, dict):
        return isinstance(body, dict) and all(
            key in body and holds(body[key], value) for key, value in written.items()
        )
    if isinstance(written, list):
        return len(body) == len(written) and all(map(holds, body, written))
    return bool(body == written) and type(body) is type(written)


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_every_record_reads_as_it_is_written(path: Path) -> None:
    """Against the JSON itself, read by the standard library."""
    lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    records = read(path)
    assert len(records) == len(lines)
    for record, line in zip(records, lines, strict=True):
        assert type(record.event) is KINDS[line["kind"]]
        assert (record.seq, record.at, record.elapsed_s) == (line["seq"], line["at"], line["elapsed_s"])
        assert (record.prev, record.digest) == (line["prev"], line["digest"])
        assert holds(msgspec.to_builtins(record.event), line["body"]), line["kind"]
    assert verify(path).intact


def test_the_sample_has_every_kind_of_record_that_there_was() -> None:
    path = FORMATS / "1" / "runs" / "CR-07" / "2026-03-01-01-short.jsonl"
    assert {json.loads(line)["kind"] for line in path.read_bytes().splitlines()} == KINDS_OF_1


def test_the_logbook_is_intact_and_its_chain_names_both_runs() -> None:
    found = verify_all(FORMATS / "1")
    assert (found.intact, found.notices, len(found.runs)) == (True, (), 2)
    (head,) = anchors.heads(FORMATS / "1")
    assert (head.bench, head.runs) == ("bench-A", 2)
    assert head.digest == "2bc639ec48f248236bfcd57f6cab3983cb71469c98224db2572e534dfd0bbfb0"


def folded(records: tuple[Record, ...]) -> dict[str, object]:
    result = state(records)
    return {
        "violations": len(result.violations),
        "phase": result.phase,
        "standing": {
            f"{item.step} {item.subject}".strip(): result.standing(item).value
            for item in result.items
            if item.key in result.entries
        },
    }


def test_a_run_of_it_stands_as_it_stood() -> None:
    path = FORMATS / "1" / "runs" / "CR-07" / "2026-03-01-01-short.jsonl"
    assert folded(read(path)) == {
        "violations": 0,
        "phase": Phase.CLOSED,
        "standing": {
            "plug": "passed",
            "label": "passed",
            "vents": "overridden",
            "lead-null": "passed",
            "earth case": "passed",
            "earth front panel": "passed",
            "insulation": "passed",
            "lamp": "passed",
            "mains": "passed",
            "output +15": "passed",
            "soak.temperature room air @ 0 min": "skipped",
            "unplugged": "passed",
            "residual +15": "passed",
        },
    }


def test_the_run_copied_from_paper_says_so() -> None:
    new, old = Logbook(FORMATS / "1").runs()
    assert (new.transcribed, new.verdict) == (False, "conditional pass")
    assert (old.transcribed, old.counts_for, old.tag) == (True, "2019-05-03", "CR-11")


def test_a_journal_without_the_later_fields_has_their_defaults_and_goes_on(tmp_path: Path) -> None:
    place = tmp_path / "runs" / "CR-07" / "old.jsonl"
    place.parent.mkdir(parents=True)
    shutil.copy(FORMATS / "1-without-later-fields.jsonl", place)
    first = read(place)[0].event
    assert isinstance(first, Opened)
    assert first.transcribed is None
    before = place.read_bytes()
    with open_run(place) as journal:
        assert not journal.closed
    assert place.read_bytes() == before  # old logs are read, never rewritten


def test_what_the_reader_calls_the_same_is_told_from_what_is_not() -> None:
    written = {"a": [1, {"b": "x"}]}
    assert holds({"a": [1, {"b": "x", "new": None}], "new": 0}, written)
    for other in ({"a": [1]}, {"a": [1, {"b": "y"}]}, {"a": [1.0, {"b": "x"}]}, {}):
        assert not holds(other, written)
