"""Files that are no journals: named, refused at once, left alone."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmward.errors import Damaged, Unreachable
from ohmward.logbook import open_run, read, verify

FOREIGN: dict[str, bytes] = {
    "empty": b"",
    "one line end": b"\n",
    "text": b"Dear diary,\ntoday the lamp stayed dark.\n",
    "other json lines": b'{"a": 1}\n{"a": 2}\n',
    "a list": b"[]\n",
    "zeros": bytes(5000),
    "binary": bytes(range(256)) * 20,
    "not UTF-8": b'{"seq":0,"at":"\xff\xfe"}\n',
    "deep": b"[" * 100_000 + b"\n",
    "carriage returns": b'{"seq":0}\r\n{"seq":1}\r\n',
}


@pytest.mark.parametrize("name", FOREIGN)
@pytest.mark.parametrize("function", [read, open_run])
def test_a_foreign_file_is_damage_named_by_line_and_is_left_alone(
    tmp_path: Path, name: str, function: Callable[[Path], object]
) -> None:
    path = tmp_path / "foreign.jsonl"
    path.write_bytes(FOREIGN[name])
    found = verify(path)
    assert not found.intact
    assert found.problems[0][0] == 1
    with pytest.raises(Damaged, match=r"foreign\.jsonl: line 1: "):
        function(path)
    assert path.read_bytes() == FOREIGN[name]
    assert list(tmp_path.iterdir()) == [path]


def test_many_bad_lines_are_not_all_printed(tmp_path: Path) -> None:
    path = tmp_path / "foreign.jsonl"
    path.write_bytes(b"nonsense\n" * 5000)
    assert len(verify(path).problems) == 5000
    with pytest.raises(Damaged, match="and 4980 more") as caught:
        read(path)
    assert len(str(caught.value).splitlines()) == 21


def test_what_is_no_regular_file_is_refused_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fifo = tmp_path / "pipe.jsonl"
    os.mkfifo(fifo)
    loop = tmp_path / "loop.jsonl"
    loop.symlink_to(loop)
    places: list[Path] = [
        tmp_path, fifo, loop, tmp_path / "absent.jsonl", Path("/dev/zero"), Path("/dev/full"), Path(),
        tmp_path / "nul\0.jsonl", tmp_path / ("x" * 300), tmp_path / "absent" / "x.jsonl",
    ]  # fmt: skip
    with socket.socket(socket.AF_UNIX) as plug:
        monkeypatch.chdir(tmp_path)  # the name of a socket must be short
        plug.bind("plug")
        for place in [*places, tmp_path / "plug"]:
            for function in (read, verify, open_run):
                with pytest.raises(Unreachable):
                    function(place)


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "huge.jsonl"
    with path.open("wb") as file:
        file.truncate(1 << 40)  # a hole: takes no room
    for function in (read, verify, open_run):
        with pytest.raises(Unreachable, match="too large"):
            function(path)
