"""Figures as files: one look for all, and the same data give the same bytes."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
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


@dataclass(frozen=True, eq=False)
class ChartFiles:
    """A chart as the bytes of its files; the same data give the same bytes.

    Each is made when it is first asked for: a report and a page show the SVG, and the PNG takes longer.
    Neither holds the date or a version, which would make each run differ.
    """

    figure: Figure

    @cached_property
    def png(self) -> bytes:
        """The chart as PNG."""
        return self._saved("png", Software=None)

    @cached_property
    def svg(self) -> bytes:
        """The chart as SVG."""
        return self._saved("svg", Date=None, Creator=None)

    def __eq__(self, other: object) -> bool:
        """Whether both files are the same."""
        return isinstance(other, ChartFiles) and (self.png, self.svg) == (other.png, other.svg)

    def _saved(self, suffix: str, **metadata: None) -> bytes:
        file = BytesIO()
        with _look():
            self.figure.savefig(file, format=suffix, metadata=metadata)
        return file.getvalue()


@contextmanager
def without_font_warnings() -> Iterator[None]:
    """Keep matplotlib from printing which letters its font lacks: a hollow square stands for each."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


@contextmanager
def _look() -> Iterator[None]:
    """The settings that all charts share."""
    import matplotlib

    with matplotlib.rc_context(SETTINGS), without_font_warnings():
        yield


def save_figure(make: Callable[[], Figure]) -> ChartFiles:
    """Return a figure as PNG and SVG.

    Parameters
    ----------
    make : callable
        Makes the figure; called under the settings that all charts share.
    """
    with _look():
        return ChartFiles(make())
