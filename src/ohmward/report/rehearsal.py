"""What everything made from a rehearsal says of itself."""

from __future__ import annotations

REHEARSAL = "REHEARSAL: readings from a simulated bench, not from a real supply"
