"""The bells that threads wake each other with, of every system: used by tests as if they were ours."""

from __future__ import annotations

import importlib.util
import os
import sys

import pytest

from ohmward.bench import bell, inbox

every_bell = pytest.mark.usefixtures("bell_of")
"""Run a test of this module once with each; the fixture is in `conftest`."""
KINDS = ("of this system", "a pipe", "a lock")


def take(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have new bells of one kind: a pipe as on macOS, a lock as on Windows."""
    if kind == "a pipe":
        monkeypatch.delattr(os, "eventfd", raising=False)
    elif kind == "a lock":
        with pytest.MonkeyPatch.context() as as_there:
            as_there.setattr(sys, "platform", "win32")
            spec = importlib.util.spec_from_file_location("bell_as_there", bell.__file__)
            assert spec is not None
            assert spec.loader is not None
            there = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(there)
        monkeypatch.setattr(bell, "Bell", there.Bell)
        monkeypatch.setattr(inbox, "Bell", there.Bell)
    monkeypatch.setattr(bell, "_own", bell._Own())
