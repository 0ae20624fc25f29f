"""The first page: what, when, with what, under which conditions, found what, on whose authority."""

from __future__ import annotations

import re
from collections import Counter

from ohmward.analysis.cause_words import WORTH_SAYING, with_alike
from ohmward.analysis.history_baseline import comparison_words, earlier_run
from ohmward.analysis.summary import ADVICE, follows_a_cause, is_danger, is_watch
from ohmward.bench.meters import Meter
from ohmward.logbook.events import Reading
from ohmward.quantity import show
from ohmward.report.document.blocks import (
    AnyBlock,
    Digest,
    Fields,
    Heading,
    Listing,
    Paragraph,
    Signatures,
    Verdict,
)
from ohmward.report.document.keyfigures import cut_short, full_load_s, humidity, mains_range, room_range
from ohmward.report.document.phrases import (
    chance,
    outcome_key,
    outcome_sentence,
    outcome_tone,
    outcome_word,
    tester,
    value,
    where,
)
from ohmward.report.document.source import Source
from ohmward.report.document.words import Words
from ohmward.supply.model import Fuse

MOST_FINDINGS = 3
MOST_OVERRIDES = 4
"""On the first page; all of them are in the report."""
MOST_RAILS = 8
LONGEST = 420
"""Characters of a line on the first page; the whole of it is in the tables."""

Fact = tuple[str, str]


def front(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return the first page."""
    return (
        *outcome(words, source),
        Heading(level=2, text=words("front.findings")),
        Listing(items=findings(words, source), numbered=True),
        *overrides(words, source),
        Heading(level=2, text=words("front.unit")),
        Fields(rows=unit(words, source), columns=2),
        Heading(level=2, text=words("front.test")),
        Fields(rows=(*test(words, source), *conditions(words, source)), columns=2),
        *statement(words, source),
        signatures(words),
        *journal(words, source),
    )


def outcome(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return the verdict, framed, with the rehearsal said in words."""
    said: tuple[AnyBlock, ...] = ()
    if source.facts.simulated:
        said = (Paragraph(text=words("plain.rehearsal_sentence"), framed=True),)
    copied = source.opened.transcribed
    if copied is not None:
        told = words("front.copied", source=copied.source, by=copied.by, date=words.day(copied.date))
        said = (*said, Paragraph(text=told, framed=True))
    if source.facts.fed:
        said = (*said, Paragraph(text=fed(words, source), framed=True))
    sentence, short = outcome_sentence(words, source), cut_short(words, source)
    if short and source.assessment.verdict in {"pass", "conditional pass"}:
        sentence = f"{sentence} {words('outcome.cut_short', short=short)}"
    return (
        *said,
        Verdict(
            word=outcome_word(words, source),
            sentence=sentence,
            tone=outcome_tone(source.outcome),
        ),
    )


def fed(words: Words, source: Source) -> str:
    """Return which files of answers a run was fed from, and that nobody timed what takes its time."""
    each = (words("front.fed_value", name=name, count=count) for name, count in source.facts.fed)
    return words("front.fed" if source.facts.untimed else "front.fed_timed", files="; ".join(each))


def findings(words: Words, source: Source) -> tuple[str, ...]:
    """Return the three findings that matter most, among them the likeliest cause and what changed since.

    What is only to be watched comes after what has changed since the last test.
    """
    found = source.assessment
    lines = list(dict.fromkeys(found.summary[1:]))
    causes = [
        cause for cause in found.causes if cause.probability >= WORTH_SAYING and cause.fault != "healthy"
    ]
    first: list[str] = []
    last: list[str] = []
    then: list[str] = []
    if causes:
        said = words("front.cause", chance=chance(words, causes[0]), title=with_alike(causes[0]))
        lines = [line for line in lines if causes[0].title not in line and not follows_a_cause(line)]
        (last if found.likely_fault is None else first).append(said)
    earlier = earlier_run(source.opened)
    if earlier is not None and any(each.verdict == "changed" for each in found.comparison):
        since, *then = comparison_words(earlier, found.comparison)
        last.append(since)
        lines = [line for line in lines if line not in {since, *then}]
    watched = [line for line in lines if is_watch(line, found, source.facts)]
    grave = [line for line in lines if line not in watched]
    dangers = [line for line in grave if is_danger(line)]
    grave = [line for line in grave if line not in dangers]
    room = MOST_FINDINGS - len(first) - len(last)
    lines = [*dangers[:room], *first, *grave[: max(room - len(dangers), 0)], *last, *then[:1], *watched]
    told = tuple(cut(line.removesuffix(ADVICE)) for line in lines[:MOST_FINDINGS])
    return told or (words("front.no_findings"),)


def cut(text: str, most: int = LONGEST) -> str:
    """Return text on one line; of what is longer than there is room for, the sentences that have room.

    Where these would leave more than half of it free, the next stays whole too, up to twice the room: it
    wraps. Nothing but a longer first sentence is cut inside.
    """
    plain = " ".join(text.split())
    if len(plain) <= most:
        return plain
    ends = [found.start() for found in _SENTENCE_END.finditer(plain)] + [len(plain)]
    fitting = max((end for end in ends if end <= most), default=0)
    if fitting < most / 2:
        fitting = next((end for end in ends if most < end <= 2 * most), fitting)
    return plain[:fitting] if fitting else cut_anywhere(plain, most)


_SENTENCE_END = re.compile(r"(?<=[.!?])\s(?=[^a-z])")


def cut_anywhere(text: str, most: int) -> str:
    """Return text on one line of at most so many characters, with '…' for what is gone."""
    plain = " ".join(text.split())
    return plain if len(plain) <= most else f"{plain[: most - 1].rstrip()}…"


def overrides(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return what failed and was gone on with in writing, with the reasons."""
    rows = source.assessment.overrides
    if not rows:
        return ()
    lines = [
        cut(words("front.override_value", where=where(row.title, row.subject), reason=row.reason))
        for row in rows[:MOST_OVERRIDES]
    ]
    if len(rows) > MOST_OVERRIDES:
        lines.append(words("plain.and_more", count=len(rows) - MOST_OVERRIDES))
    return (Heading(level=2, text=words("front.overrides")), Listing(items=tuple(lines)))


def unit(words: Words, source: Source) -> tuple[Fact, ...]:
    """Return what the unit is."""
    supply = source.supply
    mains = words(
        "front.mains_value",
        voltage=value(words, supply.mains.voltage_v, "V"),
        frequency=value(words, supply.mains.frequency_hz, "Hz"),
        low=value(words, supply.mains.voltage_v * (1 + supply.mains.low_pct / 100), "V"),
        high=value(words, supply.mains.voltage_v * (1 + supply.mains.high_pct / 100), "V"),
    )
    rails = [
        words(
            "front.rail_value",
            name=rail.name,
            voltage=value(words, rail.nominal_v, "V"),
            current=value(words, rail.rated_current_a, "A"),
        )
        for rail in supply.rails
    ]
    if len(rails) > MOST_RAILS:
        rails = [*rails[: MOST_RAILS - 1], words("front.more_rails", count=len(rails) - MOST_RAILS + 1)]
    facts = [
        (words("front.tag"), supply.tag),
        (words("front.title"), supply.title),
        (words("front.serial"), supply.serial or words("plain.not_stated")),
        (words("front.protection"), supply.protection_class),
        (words("front.mains"), mains),
        (words("front.fuse"), fuse(words, supply.mains.fuse)),
        (words("front.rails"), "; ".join(rails)),
    ]
    if supply.transformers:
        facts.append((words("front.transformers"), _transformers(words, source)))
    if supply.note:
        facts.append((words("front.sheet_note"), supply.note))
    return tuple(facts)


def _transformers(words: Words, source: Source) -> str:
    return "; ".join(
        words(
            "front.transformer_value",
            name=each.name,
            rating=value(words, each.rating_va, "VA"),
            windings=", ".join(f"{one.name} {value(words, one.voltage_v, 'V')}" for one in each.secondaries),
        )
        for each in source.supply.transformers[:MOST_RAILS]
    )


def fuse(words: Words, rated: Fuse | None) -> str:
    """Return the mains fuse as it is marked."""
    from ohmward.supply.writing import fuse_words

    return words("plain.not_stated") if rated is None else fuse_words(rated)


def test(words: Words, source: Source) -> tuple[Fact, ...]:
    """Return how and by whom it was tested."""
    state, opened = source.state, source.opened
    procedure = f"{state.procedure.title} ({state.procedure.name})" if state.procedure else ""
    limits = f"{state.limits.title} ({state.limits.name})" if state.limits else ""
    facts = [
        (words("front.run"), source.facts.run),
        (words("front.procedure"), procedure),
        (words("front.limits"), limits),
        (words("front.began"), words.moment(source.began_at)),
        (words("front.ended"), words.moment(source.last_at)),
        (words("front.operators"), ", ".join(tester(words, each) for each in source.operators)),
    ]
    if opened.purpose:
        facts.append((words("front.purpose"), opened.purpose))
    facts += [
        (words("front.amount"), _amount(words, source)),
        (words("front.meters"), meters(words, source)),
        (words("front.tool"), opened.tool),
    ]
    return tuple(facts)


def _amount(words: Words, source: Source) -> str:
    found = source.assessment
    return words(
        "front.amount_value",
        readings=sum(bool(row.raw) for row in found.readings),
        checks=sum(row.answer != "not done" for row in found.checks),
        overrides=len(found.overrides),
        missing=len(found.missing),
    )


def meters(words: Words, source: Source) -> str:
    """Return in one line how many meters were used, and how their calibration stood."""
    taken = [entry.event.meter for entry in source.facts.entries.values() if isinstance(entry.event, Reading)]
    used = set(taken) - {""}
    listed = {meter.name: meter for meter in source.state.meters}
    stands = Counter(calibration_key(source, listed[name]) if name in listed else "unstated" for name in used)
    parts = [
        f"{stands[key]} {words(f'calibration.{key}')}"
        for key in ("overdue", "in_date", "no_due", "unstated")
        if stands[key]
    ]
    if "" in taken:
        parts.append(words("front.meters_unnamed", count=taken.count("")))
    return words("front.meters_value", count=len(used), parts="; ".join(parts) or words("plain.none"))


def calibration_key(source: Source, meter: Meter) -> str:
    """Return how the calibration of a meter stood when it was used: in_date, overdue, no_due or unstated."""
    if meter.name in source.facts.overdue_meters:
        return "overdue"
    if meter.due is not None:
        return "in_date"
    return "unstated" if meter.calibrated is None else "no_due"


def conditions(words: Words, source: Source) -> tuple[Fact, ...]:
    """Return the conditions under which it was tested."""
    loaded = full_load_s(source)
    loaded_words = words("plain.none") if loaded is None else words.number(show(round(loaded), "s"))
    untimed = any(item.kind == "soak" for item in source.facts.untimed)
    by_file = words("front.by_the_file") if untimed else ""
    facts = [
        (words("front.mains_read"), mains_range(words, source)),
        (words("front.room"), room_range(words, source)),
        (words("front.humidity"), humidity(words, source)),
        (
            words("front.full_load"),
            "; ".join(part for part in (loaded_words, cut_short(words, source), by_file) if part),
        ),
        (words("front.energised"), _times(words, source.energised)),
        (words("front.case"), words("front.case_open" if source.state.case_open else "front.case_shut")),
    ]
    mended = "; ".join(what for _, what in source.facts.repairs)
    facts.append((words("front.repairs"), mended or words("front.repairs_none")))
    facts.append((words("front.next_due"), due(words, source)))
    return tuple(facts)


def due(words: Words, source: Source) -> str:
    """Return when the next test is due."""
    if source.due is None:
        unfinished = source.outcome in {"incomplete", "open", "copied", "unsound"}
        return words("front.next_due_unfinished" if unfinished else "front.next_due_none")
    return words("front.next_due_value", date=words.day(source.due.isoformat()))


def _times(words: Words, count: int) -> str:
    if count == 0:
        return words("front.never")
    return words("front.once") if count == 1 else words("front.times", count=count)


def statement(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return the limits of what is stated."""
    said = words("front.statement", date=words.day(source.tested.isoformat()))
    if source.facts.simulated:
        said = f"{words('front.statement_rehearsal')} {said}"
    return (Heading(level=2, text=words("front.statement_title")), Paragraph(text=said))


def signatures(words: Words, role: str = "role_tester") -> Signatures:
    """Return the lines to sign on: for who did it, and for who read it."""
    return Signatures(
        roles=(words(f"front.{role}"), words("front.role_checker")),
        name=words("front.sign_name"),
        signature=words("front.sign_signature"),
        date=words("front.sign_date"),
    )


def journal(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return the hash that stands for every record, and how to check it."""
    blocks: list[AnyBlock] = [
        Digest(
            label=words("front.digest", records=source.verification.records),
            text=source.verification.last_digest,
        ),
        Paragraph(text=words("front.digest_check", name=source.name), quiet=True),
    ]
    if source.state.closed is None:
        blocks.append(Paragraph(text=words("front.digest_open"), quiet=True))
    elif source.state.closed.verdict != source.assessment.verdict:
        closed, now = source.state.closed, source.assessment
        was = words(f"outcome.{outcome_key(closed.verdict, likely=bool(closed.likely_fault))}")
        word = words(f"outcome.{outcome_key(now.verdict, likely=now.likely_fault is not None)}")
        said = words("front.closed_as", verdict=was, now=word)
        blocks.append(Paragraph(text=said))
    return tuple(blocks)
