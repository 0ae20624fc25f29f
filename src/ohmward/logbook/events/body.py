"""What every kind of record has in common."""

from __future__ import annotations

import msgspec


class Body(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, gc=False):
    """Records hold no cycles, so the collector need not look through a million of them."""
