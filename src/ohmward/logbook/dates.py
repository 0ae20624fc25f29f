"""The date that a result counts for: when it was taken, not when it was written down."""

from __future__ import annotations

from datetime import date

from ohmward.logbook.events import Opened


def date_of(opened: Opened, at: str) -> date:
    """Return the day on which a result was taken.

    Parameters
    ----------
    opened : Opened
        First record of its run.
    at : str
        `at` of the result's own record (for the run as a whole, of its first record).

    Returns
    -------
    date
        For a run made at the bench the local day on which it was recorded; for one copied from
        paper the day that the paper says.
    """
    if opened.transcribed is not None:
        return date.fromisoformat(opened.transcribed.date)
    return date.fromisoformat(at[:10])


def copied_words(opened: Opened) -> str:
    """Return, in words, what a run copied from paper is; empty for any other."""
    copied = opened.transcribed
    if copied is None:
        return ""
    return (
        f"Copied from paper ({copied.source}) by {copied.by}: the results are of {copied.date}, their "
        "uncertainties are not stated, and nothing here shows how the supply is now."
    )
