"""File names made from what a person typed: always safe, always the same, never two tags in one name."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from datetime import date

JOURNAL = ".jsonl"
SEAL = ".seal"

_KEPT = frozenset("-_+. ")
_MOST_BYTES = 60
_STEM = re.compile(r"(\d{4}-\d\d-\d\d)-(\d{2,6})-(.+)")
# Names that some systems keep for devices, whatever the folder.
_DEVICES = frozenset(
    {"CON", "PRN", "AUX", "NUL"} | {f"{port}{n}" for port in ("COM", "LPT") for n in range(10)}
)


def safe(text: str) -> str:
    """Return `text` as the name of a file or folder.

    Letters, digits and ``-_+.`` and inner spaces stay. Where anything had to change, eight digits of
    the text's SHA-256 follow, so that two texts never share a name by having lost the same sign.
    """
    kept = "".join(
        char if char.isalnum() or char in _KEPT else "_" for char in unicodedata.normalize("NFC", text)
    )
    name = kept.lstrip("-. ").rstrip(". ")
    name = name.encode()[:_MOST_BYTES].decode(errors="ignore").rstrip(". ")
    if name.split(".")[0].upper() in _DEVICES:
        name = f"_{name}"
    if name and name == text:
        return name
    mark = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return f"{name or 'unnamed'}-{mark}"


def safe_part(text: str) -> str:
    """Return `text` where it is the name of one file in its folder, else nothing."""
    return "" if text in {"", ".", ".."} or any(char in text for char in "/\\\0") else text


def is_journal(name: str) -> bool:
    """Return whether a file name is a journal's; hidden ones belong to other programs."""
    return name.endswith(JOURNAL) and not name.startswith(".")


def stem(day: date, number: int, procedure: str) -> str:
    """Return the file name of a run, without its ending."""
    return f"{day.isoformat()}-{number:02d}-{safe(procedure)}"


def parts(name: str) -> tuple[str, int, str] | None:
    """Return (date, number, procedure) of a run's file name, or None when it is not one."""
    found = _STEM.fullmatch(name.removesuffix(JOURNAL))
    return (found[1], int(found[2]), found[3]) if found else None


def first_free(day: date, taken: list[str]) -> int:
    """Return the number after the highest one of that day among the file names `taken`."""
    numbers = [found[1] for found in map(parts, taken) if found and found[0] == day.isoformat()]
    return max(numbers, default=0) + 1
