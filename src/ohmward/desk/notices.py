"""What meters have to say by themselves: what a person has to see, once and not with each of many tries."""

from __future__ import annotations

from ohmward.bench.messages import Notice

LOUD = frozenset({"lost", "still on"})
"""What a meter says that a person has to see, and the journal has to hold."""


class Alarms:
    """What is loud now, by meter."""

    def __init__(self) -> None:
        self._loud: dict[str, str] = {}

    def heard(self, notice: Notice) -> str | None:
        """Take a notice in; return the words for the journal, empty where it is no news, None where quiet."""
        before = self._loud.get(notice.meter, "")
        if notice.kind in LOUD:
            self._loud[notice.meter] = notice.text
        elif notice.kind in {"switched off", "left"} and "MAY STILL" not in notice.text:
            self._loud.pop(notice.meter, None)
        else:
            return None
        news = not before if notice.kind in LOUD else bool(before)  # not each of many tries
        return f"meter {notice.meter}: {notice.text}" if news else ""

    def __str__(self) -> str:
        return "; ".join(f"{meter}: {words}" for meter, words in self._loud.items())
