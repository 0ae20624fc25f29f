"""What checking, merging and copying found, as text and as plain data: functions of a result."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ohmward.analysis.outcomes import outcome_said
from ohmward.logbook.anchors import Head
from ohmward.logbook.merge import Merged
from ohmward.logbook.signing import Signature
from ohmward.logbook.whole import Remark, WholeVerification
from ohmward.report.rehearsal import REHEARSAL, counted
from ohmward.report.text import verification_json
from ohmward.run.transcribe import PaperRun
from ohmward.text import one_line, plural

EXPLAINED = """\
What a check proves, and what it does not

Every line of a journal holds a hash (SHA-256) of the line before it and one of its own bytes. So:
- A byte changed, a line taken out, put in, doubled or moved shows, and the line is named.
- When a run is closed, a seal is written beside it that counts its lines and names the last. A journal
  cut at its end shows by the seal.
- The closed run is then added to the logbook's chain, in the folder 'anchors'. A journal that is missing
  altogether, or was cut together with its seal, or closed a second time, shows by the chain.
- Files that a journal names (waveforms, torn lines set aside) are checked by the hashes in it.

What none of this can show by itself:
- Someone who can write in the folder can write journal, seal and chain anew, every hash computed again:
  the result looks intact. What they cannot change is paper. Each report shows the last digest of its run
  and the head of the chain: keep the paper, and check it with 'ohmward verify --all --head DIGEST'.
  Whatever was there when it was printed must still be there.
- Records cut from the end of a run that was never closed. A digest noted earlier must still be found.
- Who wrote it. A signature (ohmward sign) shows that somebody with that key vouched for these bytes, as
  far as the key was kept safe; not when, and not that what they vouched for is true.
- When it was written. Times are those of the computer's clock; where that was set during a session, it is
  noted by line. Between sessions only a step back shows.
- That the readings are true: that the meter was right, that the leads were where the entry says, that the
  entry was typed as it was read. A run copied from paper shows only that somebody copied it.
- A simulated bench: a rehearsal says so in its first line, by the word of the tool that wrote it.
"""


def head_text(head: Head) -> str:
    """Return the head of a chain on one line, to be printed."""
    return (
        f"chain of {one_line(head.bench)}: {head.runs} closed runs until {head.at[:10]}, head {head.digest}"
    )


def head_json(head: Head | None) -> dict[str, object] | None:
    """Return the head of a chain as plain data."""
    if head is None:
        return None
    return {"bench": head.bench, "runs": head.runs, "digest": head.digest, "at": head.at}


def whole_text(found: WholeVerification) -> str:
    """Return what checking a whole logbook found."""
    good = sum(run.intact for run in found.runs)
    closed = sum(run.closed for run in found.runs)
    state = "intact" if found.intact else "DAMAGED"
    lines = [
        f"{one_line(str(found.folder))}: {state}; {plural(len(found.runs), 'run')}, {closed} closed, "
        f"{good} intact",
    ]
    for run in found.damaged:
        lines.append(f"{one_line(str(run.path))}: DAMAGED")
        lines += [f"  line {number}: {one_line(words)}" for number, words in run.problems]
    lines += [_remark("not read", each) for each in found.unread]
    lines += [_remark("PROBLEM", each) for each in found.problems]
    lines += [_remark("note", each) for each in found.notices]
    if found.noted:
        lines.append(f"the digest noted is {one_line(found.noted)}")
    lines += [head_text(head) for head in found.heads]
    lines += counted(sum(run.path in found.rehearsals for run in found.runs), len(found.runs))
    return "\n".join(lines)


def whole_json(found: WholeVerification) -> dict[str, object]:
    """Return what checking a whole logbook found as plain data."""
    return {
        "folder": str(found.folder),
        "intact": found.intact,
        "runs": [
            {
                **verification_json(run),
                "simulated": run.path in found.rehearsals,
                "anchored": run.anchored,
                "head": head_json(run.head),
            }
            for run in found.runs
        ],
        "unread": [_plain(each) for each in found.unread],
        "problems": [_plain(each) for each in found.problems],
        "notices": [_plain(each) for each in found.notices],
        "noted": found.noted,
        "heads": [head_json(head) for head in found.heads],
    }


def signatures_text(found: Sequence[Signature]) -> str:
    """Return what checking the signatures of a run found."""
    if not found:
        return "no signature stands beside it"
    return "\n".join(_signature_line(each) for each in found)


def _signature_line(each: Signature) -> str:
    name = one_line(each.path.name)
    if not each.good:
        return f"{name}: DOES NOT HOLD: {one_line(each.text)}"
    who = f"by {one_line(each.who)}" if each.who else f"with a key; {one_line(each.text)}"
    return f"{name}: good, {who} ({one_line(each.key)})"


def signatures_json(found: Sequence[Signature]) -> list[dict[str, object]]:
    """Return what checking the signatures of a run found as plain data."""
    return [
        {"path": str(each.path), "good": each.good, "who": each.who, "key": each.key, "text": each.text}
        for each in found
    ]


def merged_text(found: Sequence[Merged], *, try_only: bool) -> str:
    """Return what became of each run of another logbook."""
    lines = [
        f"{each.outcome}: {one_line(each.name)}{f': {one_line(each.text)}' if each.text else ''}"
        for each in found
        if each.outcome != "here already" or each.text
    ]
    counts = {word: sum(each.outcome == word for each in found) for word in _OUTCOMES}
    told = ", ".join(f"{count} {word}" for word, count in counts.items() if count) or "nothing to bring"
    lines.append(f"{told}{'; nothing was changed: this was a trial' if try_only else ''}")
    runs = [each for each in found if each.path is not None and each.path.suffix == ".jsonl"]
    return "\n".join([*lines, *counted(sum(each.simulated for each in runs), len(runs))])


_OUTCOMES = ("brought", "here already", "left", "refused")


def merged_json(found: Sequence[Merged]) -> list[dict[str, object]]:
    """Return what became of each run of another logbook as plain data."""
    return [
        {
            "name": each.name,
            "outcome": each.outcome,
            "text": each.text,
            "path": _path(each.path),
            "simulated": each.simulated,
        }
        for each in found
    ]


def paper_text(found: Sequence[PaperRun], *, try_only: bool, simulated: bool) -> str:
    """Return what each date of a paper became."""
    lines = [_paper_line(each, try_only=try_only) for each in found]
    return "\n".join([*lines, REHEARSAL] if simulated else lines)


def _paper_line(each: PaperRun, *, try_only: bool) -> str:
    verdict = outcome_said(each.verdict)
    what = f"{each.day.isoformat()}: {each.readings} readings, {each.checks} checks, {verdict}"
    if each.already:
        return f"{what}; here already: {one_line(str(each.path))}"
    where = "sound, not written: this was a trial" if try_only else one_line(str(each.path))
    if each.beside:
        where += f"; also copied from paper, of that date: {one_line(', '.join(each.beside))}"
    return f"{what}; {where}"


def paper_json(found: Sequence[PaperRun], *, simulated: bool) -> list[dict[str, object]]:
    """Return what each date of a paper became as plain data."""
    return [
        {
            "date": each.day.isoformat(),
            "readings": each.readings,
            "checks": each.checks,
            "verdict": each.verdict,
            "path": _path(each.path),
            "already": each.already,
            "simulated": simulated,
            "beside": list(each.beside),
        }
        for each in found
    ]


def _remark(word: str, each: Remark) -> str:
    return f"{word}: {one_line(each.where)}: {one_line(each.text)}"


def _plain(each: Remark) -> dict[str, object]:
    return {"where": each.where, "text": each.text}


def _path(path: Path | None) -> str | None:
    return None if path is None else str(path)
