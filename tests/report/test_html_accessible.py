"""No page keeps anyone from reading it: the serious rules of axe-core, in headless Chromium."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, sync_playwright

from support.machine import tool
from support.pages import RUNS, written

QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
SERIOUS = {"serious", "critical"}
WRONG = """<!DOCTYPE html>
<html><head><title>x</title></head><body><main><h1>x</h1>
<img src="data:image/svg+xml,x"><p style="color:#999;background:#fff">hardly seen</p></main></body></html>
"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all pages, with a profile of its own that is thrown away."""
    chromium = tool("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, headless=True, args=QUIET)
        yield browser
        browser.close()


def hindrances(browser: Browser, path: Path, *, contrast: bool = True) -> list[str]:
    """Rules of serious or critical impact that a page breaks, each with the elements that break it."""
    options = {"resultTypes": ["violations"], "rules": {"color-contrast": {"enabled": contrast}}}
    with browser.new_page(viewport={"width": 1000, "height": 900}) as page:
        page.goto(path.as_uri())
        broken = Axe().run(page, options=options).response["violations"]
    return [
        f"{rule['id']} ({rule['impact']}): {node['html'][:200]}"
        for rule in broken
        if rule["impact"] in SERIOUS
        for node in rule["nodes"]
    ]


@pytest.mark.parametrize("run", RUNS)
def test_no_form_of_a_run_breaks_a_serious_rule(run: str, browser: Browser, tmp_path: Path) -> None:
    for form, path in written(run, tmp_path).items():
        # Contrast takes most of the time on a long page. All colours come from one style sheet, and every
        # class of it is in the full report of the failed run and in the shorter forms.
        contrast = form != "full" or run == "failed"
        assert hindrances(browser, path, contrast=contrast) == [], form


def test_the_checker_sees_what_hinders(browser: Browser, tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.html"
    wrong.write_text(WRONG, encoding="utf-8")
    told = "\n".join(hindrances(browser, wrong))
    for rule in ("image-alt (critical)", "color-contrast (serious)", "html-has-lang (serious)"):
        assert rule in told
