"""What is said of a cause, one set of words for a summary, screens, text and documents."""

from __future__ import annotations

from ohmward.analysis._results import Cause
from ohmward.analysis.rows import Assessment
from ohmward.analysis.wording import sentence

MOST_LIKELY = "Most likely"
EARTH_JOINT = (
    "Commonest where an earth fails: paint or oxide under the bond, a loose nut, no star washer; "
    "first put the probe on bare metal and take off the null of the leads."
)
"""Common practice, no source: said of every earth reading that fails, whatever is likeliest."""
UNKNOWN_DANGER = "no fault known here explains what failed: take it as real until it is shown not to be."
WORTH_SAYING = 0.1
"""Probability below which a cause is left to the tables."""


def percent(probability: float) -> str:
    """Return a probability; never 0 or 100 per cent, for nothing is that sure."""
    value = 100.0 * probability
    return "< 1 %" if value < 1.0 else "> 99 %" if value > 99.0 else f"{value:.0f} %"


def likeliest_words(cause: Cause) -> str:
    """Return the likeliest cause in a line, with its probability."""
    if cause.fault == "healthy":
        chance = percent(cause.probability)
        return (
            f"{MOST_LIKELY} ({chance}): no fault; all readings together are what tolerances and meters allow."
        )
    return f"{MOST_LIKELY} ({chance_of(cause)}): {with_alike(cause)}"


def chance_of(cause: Cause) -> str:
    """Return the probability of a cause, and that it rests on one reading where it does."""
    return f"{percent(cause.probability)}{', from one reading' if cause.from_one_reading else ''}"


def with_alike(cause: Cause) -> str:
    """Return what a cause is, with what reads the same."""
    return f"{sentence(cause.title)} {sentence(cause.alike)}" if cause.alike else sentence(cause.title)


def left_out_words(assessment: Assessment) -> str:
    """Return in one sentence what was not weighed for the causes; empty where all was."""
    listed = "; ".join(assessment.causes_left_out)
    return f"Not everything was weighed for these causes: {listed}." if listed else ""
