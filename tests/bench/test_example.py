"""The example that a list of meters begins with: nothing in it counts, and each line of it would hold."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.bench import example
from ohmward.bench.meters import load, loads
from ohmward.errors import Refused, Unreachable

NAMES = "[[ name kind serial calibrated due resource profile function range resolution accuracy"
KEYS = tuple(f"# {name}" for name in NAMES.split())


def test_nothing_counts_before_a_person_has_written_it_down(tmp_path: Path) -> None:
    path = tmp_path / "new" / "meters.toml"
    example.begin(path)
    assert load(path) == ()


def test_with_its_comment_signs_taken_away_it_is_a_list_without_mistakes() -> None:
    taken = [line[2:] for line in example.EXAMPLE.splitlines() if line.startswith(KEYS)]
    meters = loads("\n".join(taken))
    assert [each.kind for each in meters] == ["multimeter", "insulation"]
    assert all(each.specifications for each in meters)


def test_a_list_that_is_there_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "meters.toml"
    path.write_text('[[meter]]\nname = "mine"\n', encoding="utf-8")
    with pytest.raises(Refused, match="never written over"):
        example.begin(path)
    assert load(path)[0].name == "mine"


def test_where_nothing_can_be_written_that_is_said(tmp_path: Path) -> None:
    (tmp_path / "logbook").write_text("a file", encoding="utf-8")
    with pytest.raises(Unreachable):
        example.begin(tmp_path / "logbook" / "meters.toml")
