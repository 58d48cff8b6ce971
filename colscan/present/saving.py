"""Figures as files: one look for all, and the same data give the same bytes."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Any

from colscan.present import frame as sizes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DOTS_PER_INCH = 150
QUIET = "#595959"
"""Of what stands beside the data; 7 to 1 against white."""
SETTINGS: Any = {
    "svg.hashsalt": "colscan",
    # Names and questions may hold dollar signs: they are no formulas.
    "text.parse_math": False,
    "font.family": "DejaVu Sans",
    "font.size": sizes.LABEL_POINTS,
    "text.color": "#202020",
    "axes.edgecolor": QUIET,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "hatch.linewidth": 0.8,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartFiles:
    """A chart as the bytes of its files; the same data give the same bytes."""

    png: bytes
    svg: bytes


@contextmanager
def without_font_warnings() -> Iterator[None]:
    """Keep matplotlib from printing which letters its font lacks: a hollow square stands for each."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def save_figure(make: Callable[[], Figure]) -> ChartFiles:
    """Return a figure as PNG and SVG.

    Neither holds the date or a version, which would make each run differ.

    Parameters
    ----------
    make : callable
        Makes the figure; called under the settings that all charts share.
    """
    import matplotlib

    png, svg = BytesIO(), BytesIO()
    with matplotlib.rc_context(SETTINGS), without_font_warnings():
        figure = make()
        figure.savefig(png, format="png", metadata={"Software": None})
        figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": None})
    return ChartFiles(png=png.getvalue(), svg=svg.getvalue())
