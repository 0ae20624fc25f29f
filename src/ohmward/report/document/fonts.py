"""The fonts that a document is set in: those inside the typesetter, and DejaVu Sans, which comes with
matplotlib; and what they cover. System fonts are left out, so that a run looks the same everywhere.
"""

from __future__ import annotations

import importlib.util
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path

from ohmward.errors import InputError, Mistake, Unreachable
from ohmward.text import visible

FACES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
ENDINGS = (".ttf", ".otf", ".ttc", ".otc")


@contextmanager
def font_folder() -> Iterator[str]:
    """Yield a folder that holds `FACES` alone: beside them matplotlib keeps one that draws only boxes."""
    with tempfile.TemporaryDirectory(prefix="ohmward-fonts-") as folder:
        for face in _faces():
            shutil.copy(face, folder)
        yield folder


@lru_cache(maxsize=8)
def coverage(folders: tuple[str, ...] = ()) -> frozenset[int]:
    """Return the characters that some font has: DejaVu Sans and the fonts of the folders named."""
    covered: set[int] = set()
    for path in (_faces()[0], *(font for folder in folders for font in fonts_in(Path(folder)))):
        covered |= _characters(path)
    return frozenset(covered)


def require_fonts(folders: Sequence[Path]) -> tuple[str, ...]:
    """Return folders of fonts that a person named, as text.

    Raises
    ------
    InputError
        When one of them is no folder or holds no font.
    """
    for folder in folders:
        if not folder.is_dir() or not fonts_in(folder):
            raise InputError(
                [
                    Mistake(
                        where="command line",
                        field="--fonts",
                        value=str(folder),
                        why="no folder with fonts in it",
                        mend=f"Name a folder that holds files ending in {', '.join(ENDINGS)}",
                    )
                ]
            )
    return tuple(str(folder) for folder in folders)


def fonts_in(folder: Path) -> list[Path]:
    """Return the font files in a folder and below it."""
    return sorted(path for path in folder.rglob("*") if path.suffix.lower() in ENDINGS and path.is_file())


def _faces() -> list[Path]:
    found = importlib.util.find_spec("matplotlib")
    places = list(found.submodule_search_locations or ()) if found else []
    if not places:
        raise Unreachable("matplotlib, which brings the fonts, is not installed: install ohmward again")
    return [Path(places[0]) / "mpl-data" / "fonts" / "ttf" / face for face in FACES]


def _characters(path: Path) -> set[int]:
    from fontTools.ttLib import TTCollection, TTFont, TTLibError  # type: ignore[import-untyped]

    try:
        if path.suffix.lower() in {".ttc", ".otc"}:
            with TTCollection(path, lazy=True) as several:
                return {code for face in several.fonts for code in (face.getBestCmap() or {})}
        with TTFont(path, lazy=True) as face:
            return set(face.getBestCmap() or {})
    except (OSError, TTLibError, KeyError) as error:
        raise Unreachable(f"{visible(str(path))}: cannot be read as a font ({error})") from error
