"""How the house is kept: no module too long to read, and screens that only show and ask.

What screens may import is in the import contracts (`pyproject.toml`). A contract sees modules, not names
and not calls: that no function comes by the doors left open for shapes, and that no screen touches a file
through a path in its hands, is seen here.
"""

from __future__ import annotations

import ast
import importlib
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1] / "src"
MODULES = sorted(SOURCE.rglob("*.py"))
SCREENS = sorted((SOURCE / "ohmward" / "tui").glob("*.py"))
MOST_LINES = 400
FILE_METHODS = {
    "absolute", "chmod", "exists", "expanduser", "glob", "hardlink_to", "is_dir", "is_file", "iterdir",
    "lstat", "mkdir", "open", "read_bytes", "read_text", "readlink", "rename", "resolve", "rglob", "rmdir",
    "samefile", "stat", "symlink_to", "touch", "unlink", "walk", "write_bytes", "write_text",
}  # fmt: skip
"""Methods of `pathlib.Path` that ask the disk; ``replace`` is left out, for text and dates have one."""
ALLOWED = {("sitting", "sys.stderr"), ("sitting", "os.environ"), ("themes", "os.environ")}
"""The last words after the screen is gone, and what the environment asks of the looks."""


def test_no_module_is_longer_than_can_be_read() -> None:
    assert len(MODULES) > 300  # an empty list would pass
    lengths = {
        str(path.relative_to(SOURCE)): len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES
    }
    assert {name: lines for name, lines in lengths.items() if lines > MOST_LINES} == {}


def outside(source: str) -> Iterator[str]:
    """Yield what a module does to files, standard streams or the system, as dotted names."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Name) and called.id in {"open", "print", "input", "exec", "eval"}:
                yield called.id
            elif isinstance(called, ast.Attribute) and called.attr in FILE_METHODS:
                yield f"….{called.attr}"
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            if node.value.id in {"os", "sys"}:
                yield f"{node.value.id}.{node.attr}"
        elif isinstance(node, ast.ImportFrom) and node.module in {"os", "sys", "os.path", "builtins"}:
            yield f"from {node.module}"


@pytest.mark.parametrize("path", SCREENS, ids=lambda path: path.stem)
def test_no_screen_touches_what_is_outside(path: Path) -> None:
    found = {(path.stem, what) for what in outside(path.read_text(encoding="utf-8"))}
    assert found - ALLOWED == set()


@pytest.mark.parametrize(
    "line",
    [
        "text = path.read_text()",
        "Path('x').write_bytes(b'')",
        "with open(path) as file: pass",
        "with path.open() as file: pass",
        "there = self._path.exists()",
        "found = await asyncio.to_thread(lambda: path.stat())",
        "os.listdir(folder)",
        "from os import listdir",
        "print('said')",
    ],
)
def test_touching_what_is_outside_is_seen(line: str) -> None:
    body = "async def shown():\n    " + line
    assert list(outside(body)), line


DOORS = [
    line.split(" -> ")[1]
    for contract in tomllib.loads((SOURCE.parent / "pyproject.toml").read_text(encoding="utf-8"))["tool"][
        "importlinter"
    ]["contracts"]
    for line in contract.get("ignore_imports", ())
]
"""Modules from which screens take the shapes of what they show."""


def through_doors(source: str) -> Iterator[tuple[str, str]]:
    """Yield module and name of what a module takes through the doors."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module is not None and node.module in DOORS:
            for each in node.names:
                yield node.module, each.name


def computes(module: str, name: str) -> bool:
    """Return whether a name is something to call that is no type."""
    found = getattr(importlib.import_module(module), name)
    return callable(found) and not isinstance(found, type)


def test_only_shapes_come_through_the_doors() -> None:
    taken = {pair for path in SCREENS for pair in through_doors(path.read_text(encoding="utf-8"))}
    assert len(taken) > len(DOORS) > 10
    assert {pair for pair in taken if computes(*pair)} == set()


def test_what_computes_would_be_seen_at_the_doors() -> None:
    took = "from ohmward.bench.survey import Checked, checked_in\nfrom ohmward.logbook import open_run"
    assert [name for module, name in through_doors(took) if computes(module, name)] == [
        "checked_in",
        "open_run",
    ]
