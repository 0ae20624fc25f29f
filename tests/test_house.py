"""How the house is kept: no module too long to read, and screens that only show and ask."""

from __future__ import annotations

from pathlib import Path

SOURCE = Path(__file__).parents[1] / "src"
MODULES = sorted(SOURCE.rglob("*.py"))
MOST_LINES = 400


def test_no_module_is_longer_than_can_be_read() -> None:
    assert len(MODULES) > 300  # an empty list would pass
    lengths = {
        str(path.relative_to(SOURCE)): len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES
    }
    assert {name: lines for name, lines in lengths.items() if lines > MOST_LINES} == {}
