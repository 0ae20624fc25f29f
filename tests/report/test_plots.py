"""Every picture of a run: drawn whole and within its edges, or said in words why it is not."""

from __future__ import annotations

import itertools
import subprocess
import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, cast

import msgspec
import numpy as np
import pytest

from ohmward.errors import InputError
from ohmward.report.plots import (
    KINDS,
    Material,
    NothingToShow,
    Picture,
    Width,
    every,
    pictures,
    rendered,
    rendered_pages,
)
from ohmward.report.plots.expected import expectation_figure
from ohmward.report.plots.style import MOST_MM, WIDTH_MM, inks
from support.pictured import (
    FAULTY,
    HEALTHY,
    INTERRUPTED,
    captured,
    of_rails,
    renewed,
    run_of,
    sample,
    sampled_soak,
    unread,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from matplotlib.text import Text

RUNS = {"healthy": HEALTHY, "faulty": FAULTY, "interrupted": INTERRUPTED}
WIDTHS: tuple[Width, ...] = ("full", "column")
EDGE_PX = 1.5
"""Text may reach this far over the edge: less than the white around a letter."""


def full(name: str) -> Material:
    """A sample run with a sampled soak and two waveforms, so that every kind has something to show."""
    plain = sample(RUNS[name])
    if name != "faulty":
        return plain
    unit = plain.facts.supply
    waves = (captured(unit, "+15"), captured(unit, "24", fault="open-diode"))
    return renewed(plain, series=(sampled_soak(gap=True),), captures=waves)


@pytest.fixture(scope="module")
def faulty() -> Material:
    return full("faulty")


@pytest.fixture(scope="module")
def drawn(faulty: Material) -> dict[Width, dict[str, list[Picture]]]:
    """Every kind of the faulty run, in both widths."""
    found: dict[Width, dict[str, list[Picture]]] = {}
    for width in WIDTHS:
        found[width] = {}
        for kind, several in every(faulty, width=width):
            assert not isinstance(several, NothingToShow), f"{kind.name}: {several}"
            found[width][kind.name] = several
    return found


def texts(figure: Figure) -> list[str]:
    from matplotlib.text import Text

    return [each.get_text() for each in cast("list[Text]", figure.findobj(Text))]


def assert_whole(picture: Picture, width: Width) -> None:
    """Right size, nothing over an edge, no two scale labels on one another, every axis named."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.text import Text

    figure = picture.figure
    wide, high = figure.get_size_inches() * 25.4
    assert wide == pytest.approx(WIDTH_MM[width])
    assert high <= MOST_MM + 1.0, f"{picture.name} is {high:.0f} mm high"
    figure.set_dpi(200)  # of the PNG, whose letters are the widest: they are set to whole pixels
    canvas = FigureCanvasAgg(figure)
    with inks():
        canvas.draw()  # type: ignore[no-untyped-call]
    pen = canvas.get_renderer()  # type: ignore[no-untyped-call]
    frame = figure.bbox
    ticks = _ticks(figure)
    for each in cast("list[Text]", figure.findobj(Text)):
        if not each.get_visible() or not each.get_text().strip() or each.get_text() == "REHEARSAL":
            continue
        if id(each) in ticks.all and id(each) not in ticks.drawn:
            continue
        box = each.get_window_extent(pen)
        inside = box.x0 >= -EDGE_PX and box.y0 >= -EDGE_PX
        inside = inside and box.x1 <= frame.x1 + EDGE_PX and box.y1 <= frame.y1 + EDGE_PX
        assert inside, f"{picture.name}, {width}: {each.get_text()!r} runs over the edge"
    for labels in ticks.rows:
        boxes = [label.get_window_extent(pen) for label in labels]
        for one, two in itertools.pairwise(boxes):
            assert not one.shrunk(0.98, 0.9).overlaps(two.shrunk(0.98, 0.9)), (
                f"{picture.name}: labels collide"
            )


@dataclass
class Ticks:
    """Labels of all scales; those that are drawn, by identity and by scale."""

    all: set[int] = field(default_factory=set)
    drawn: set[int] = field(default_factory=set)
    rows: list[list[Text]] = field(default_factory=list)


def _ticks(figure: Figure) -> Ticks:
    """Matplotlib keeps labels of places outside a scale, and does not draw them."""
    found = Ticks()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            several = [*axis.get_major_ticks(), *axis.get_minor_ticks()]
            found.all |= {id(label) for tick in several for label in (tick.label1, tick.label2)}
            shown = [
                label
                for tick in several
                for label in (tick.label1, tick.label2)
                if axes.axison and label.get_visible() and label.get_text() and low <= tick.get_loc() <= high
            ]
            found.drawn |= {id(label) for label in shown}
            found.rows.append(shown)
    return found


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("kind", [kind.name for kind in KINDS])
def test_each_picture_lies_within_its_edges(
    kind: str, width: Width, drawn: dict[Width, dict[str, list[Picture]]]
) -> None:
    for picture in drawn[width][kind]:
        assert_whole(picture, width)
        assert picture.words.rstrip().endswith(".")
        assert "FAIL" in " ".join(texts(picture.figure)), "a picture of a failed run says so"


@pytest.mark.parametrize("kind", [kind.name for kind in KINDS])
def test_a_rehearsal_says_so_across_and_below(
    kind: str, drawn: dict[Width, dict[str, list[Picture]]]
) -> None:
    for picture in drawn["full"][kind]:
        said = texts(picture.figure)
        assert "REHEARSAL" in said
        assert any("simulated bench, not a real supply" in each for each in said)


def test_a_real_run_is_not_marked_a_rehearsal() -> None:
    found = sample(HEALTHY)
    real = Material(
        facts=msgspec.structs.replace(found.facts, simulated=False),
        assessment=msgspec.structs.replace(found.assessment, simulated=False),
        meters=found.meters,
    )
    for kind, several in every(real):
        for picture in several if isinstance(several, list) else []:
            assert not any("REHEARSAL" in each for each in texts(picture.figure)), kind.name


@pytest.mark.parametrize("name", ["healthy", "interrupted"])
def test_other_runs_are_drawn_or_said_to_have_nothing(name: str) -> None:
    verdict = {"healthy": ": PASS.", "interrupted": "NOT FINISHED"}[name]
    for kind, several in every(full(name), width="column"):
        if isinstance(several, NothingToShow):
            assert RUNS[name] in str(several), kind.name
            continue
        for picture in several:
            assert_whole(picture, "column")
            assert any(verdict in each for each in texts(picture.figure)), kind.name


def test_a_run_with_nothing_read_says_what_is_missing_of_every_picture() -> None:
    empty = unread(sample(HEALTHY))
    found = {kind.name: several for kind, several in every(empty)}
    headroom = found.pop("headroom")
    assert isinstance(headroom, list), "what the design predicts needs no reading"
    for name, why in found.items():
        assert isinstance(why, NothingToShow), name
        assert any(word in str(why) for word in ("read", "taken", "captured", "stated", "looked for")), str(
            why
        )


def test_every_axis_with_numbers_has_its_unit(drawn: dict[Width, dict[str, list[Picture]]]) -> None:
    units = {"voltage": "[V]", "headroom": "[V]", "soak": "[°C]", "waveform": "V]", "budget": "[%]"}
    for name, unit in units.items():
        for picture in drawn["full"][name]:
            for axes in picture.figure.axes:
                if axes.axison:
                    labels = axes.get_xlabel() + axes.get_ylabel()
                    assert unit in labels or "[mV]" in labels, f"{name}: {labels}"
    for picture in drawn["full"]["ripple"]:
        assert all(axes.get_xlabel().endswith("A]") for axes in picture.figure.axes if axes.axison)
        assert any(label.endswith("mV") for label in _tick_labels(picture.figure.axes[0]))
    (safety,) = drawn["full"]["safety"]
    assert all("[Ω]" in axes.get_title(loc="left") for axes in safety.figure.axes)


def _tick_labels(axes: Axes) -> list[str]:
    return [label.get_text() for label in axes.get_yticklabels()]


def ys(line: Line2D) -> list[float]:
    return [float(y) for y in np.asarray(line.get_ydata(), dtype=float)]


def test_limits_of_the_readings_are_drawn_where_they_are(
    faulty: Material, drawn: dict[Width, dict[str, list[Picture]]]
) -> None:
    from ohmward.report.plots.marks import LIMIT

    (picture,) = drawn["full"]["voltage"]
    left = picture.figure.axes[0]
    levels = {float(y) for line in left.lines if line.get_color() == LIMIT["color"] for y in ys(line)}
    rows = [
        r
        for r in faulty.assessment.readings
        if r.step == "load-points.output" and r.subject.startswith("+15 ")
    ]
    assert levels == {edge for row in rows for edge in (row.limit_low, row.limit_high)}
    assert any(collection.get_hatch() for collection in left.collections), "what is forbidden is hatched"


def test_points_read_are_drawn_where_they_were_read(
    faulty: Material, drawn: dict[Width, dict[str, list[Picture]]]
) -> None:
    (picture,) = drawn["full"]["voltage"]
    rows = [
        r
        for r in faulty.assessment.readings
        if r.step == "load-points.output" and r.subject.startswith("24 ")
    ]
    points = [y for line in picture.figure.axes[6].lines if line.get_marker() == "o" for y in ys(line)]
    assert sorted(points) == sorted(row.net for row in rows if row.net is not None)


def test_the_same_run_gives_the_same_bytes(faulty: Material) -> None:
    for kind in ("svg", "pdf", "png"):
        first, again = (rendered(pictures(faulty, "soak:case")[0].figure, kind, "soak") for _ in range(2))
        assert first == again, kind
    one = pictures(faulty, "voltage:+15")[0].figure
    assert rendered(one, "svg") == rendered(one, "svg"), "saving moves nothing"
    pages = [rendered_pages([p.figure for p in pictures(faulty, "ripple")], "t") for _ in range(2)]
    assert pages[0] == pages[1]
    assert b"CreationDate" not in pages[0]
    assert b"<dc:date>" not in rendered(one, "svg")


def test_drawing_leaves_the_settings_of_matplotlib_alone(faulty: Material) -> None:
    import matplotlib as mpl

    with mpl.rc_context({"font.size": 31.0, "axes.facecolor": "black"}):
        before = dict(mpl.rcParams)
        first = rendered(pictures(faulty, "causes")[0].figure, "svg")
        assert dict(mpl.rcParams) == before
    assert first == rendered(pictures(faulty, "causes")[0].figure, "svg"), "and they do not change a picture"


def test_no_window_library_is_loaded() -> None:
    code = (
        "import sys\nsys.path[:0] = ['tests']\n"
        "from support.pictured import HEALTHY, sample\nfrom ohmward.report.plots import pictures, rendered\n"
        "rendered(pictures(sample(HEALTHY), 'safety')[0].figure, 'png')\n"
        "print(sorted({'matplotlib.pyplot', 'tkinter', 'pandas'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120
    )
    assert done.stdout.strip() == "[]"


HOSTILE = ("$\\frac{1}{0}$", "<b>&amp;</b>", "\u202egnp.", "a\nb", "电源", "שלום", "x" * 300)


def test_names_from_outside_are_drawn_as_text_and_nothing_else() -> None:
    run = run_of(of_rails(HOSTILE), without=("reservoir_v",))
    assert not run.assessment.failed
    for kind in ("voltage", "ripple", "overview", "headroom", "soak"):
        for picture in pictures(run, kind):
            assert_whole(picture, "full")
            svg = rendered(picture.figure, "svg", "".join(HOSTILE)).decode()
            assert "<b>" not in svg
            assert "\u202e" not in svg


def test_an_unknown_name_lists_those_there_are(faulty: Material) -> None:
    with pytest.raises(InputError, match="Did you mean voltage") as caught:
        pictures(faulty, "voltages")
    assert all(kind.name in str(caught.value) for kind in KINDS)
    with pytest.raises(InputError, match="no rail '\\+16'"):
        pictures(faulty, "voltage:+16")
    with pytest.raises(InputError, match="no sensor"):
        pictures(faulty, "soak:heat sink 9")
    with pytest.raises(InputError, match="no such picture"):
        pictures(faulty, "overview:+15")
    assert len(pictures(faulty, "voltage:+15")[0].figure.axes) == 2
    assert len(pictures(faulty, "soak:case")[0].figure.axes) == 1


def test_the_expected_picture_has_every_rail_and_stays_unmarked() -> None:
    found = sample(HEALTHY).facts
    assert found.expectation is not None
    figure = expectation_figure(found.supply, found.expectation)
    shown = texts(figure)
    assert all(f"Rail {name}" in shown for name in found.expectation.rails)
    assert "REHEARSAL" not in shown
    assert rendered(figure, "svg") == rendered(figure, "svg")
