"""Pictures of results, on matplotlib's Figure: functions that return, never show; no global state.

`catalogue` names them all; each module draws one kind. Everything heavy is imported inside.
"""

from ohmward.report.plots.catalogue import KINDS, Compared, every, known, listed, pictures
from ohmward.report.plots.expected import expectation_figure
from ohmward.report.plots.material import Material, material
from ohmward.report.plots.saving import FORMATS, rendered, rendered_pages, save
from ohmward.report.plots.style import NothingToShow, Picture, Width

__all__ = [
    "FORMATS",
    "KINDS",
    "Compared",
    "Material",
    "NothingToShow",
    "Picture",
    "Width",
    "every",
    "expectation_figure",
    "known",
    "listed",
    "material",
    "pictures",
    "rendered",
    "rendered_pages",
    "save",
]
