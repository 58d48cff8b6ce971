"""One bag's curve, small enough for its page: scores with intervals, events, and when patches came."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

from colscan.growth.model import BagCurve
from colscan.present.frame import LABEL_POINTS, LETTER_INCHES, LINE_INCHES, Frame
from colscan.present.panel import X_MARGIN_DAYS, Y_HIGH, Y_LOW, draw_bag, label_events, place_events
from colscan.present.saving import SETTINGS, without_font_warnings
from colscan.present.style import LineStyle

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDTH_INCHES = 7.0
NARROW_INCHES = 3.3
"""For a phone held upright: with letters as large as in the wide one."""
_LEFT, _RIGHT, _BOTTOM, _TOP, _PANEL = 0.6, 0.35, 0.55, 0.15, 2.6
"""Margins and the height of the axes, inches."""
_STYLE = LineStyle(label="", colour=(0.05, 0.25, 0.5), marker="o", line=(0, (1, 0)))
"""The same for all bags: who judges blind must not tell a treatment by it."""


def draw_bag_chart(curve: BagCurve, *, width_inches: float = WIDTH_INCHES) -> bytes:
    """Return a bag's curve as an SVG file on white ground; neither strain nor treatment is told.

    Parameters
    ----------
    curve : BagCurve
        What to show; one of its photos at least was measured.
    width_inches : float
        How wide it is.
    """
    import matplotlib

    out = BytesIO()
    with matplotlib.rc_context(SETTINGS), without_font_warnings():
        make_bag_figure(curve, width_inches=width_inches).savefig(
            out, format="svg", metadata={"Date": None, "Creator": None}
        )
    return out.getvalue()


def make_bag_figure(curve: BagCurve, *, width_inches: float = WIDTH_INCHES) -> Figure:
    """Return the figure that `draw_bag_chart` saves.

    Parameters
    ----------
    curve, width_inches
        As `draw_bag_chart` has them.
    """
    import matplotlib
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    with matplotlib.rc_context(SETTINGS):
        frame = _plan(curve, width_inches)
        figure = Figure(figsize=(width_inches, frame.height), facecolor="white")
        ax = figure.add_axes(
            (
                frame.left / width_inches,
                frame.bottom / frame.height,
                frame.panel_width / width_inches,
                frame.panel_height / frame.height,
            )
        )
        ax.set_xlim(-X_MARGIN_DAYS, frame.last_day + X_MARGIN_DAYS)
        ax.set_ylim(Y_LOW, Y_HIGH)
        ticks = MaxNLocator(nbins=8, integer=True, steps=[1, 2, 5, 7, 10]).tick_values(0, frame.last_day)
        ax.set_xticks([tick for tick in ticks if 0 <= tick <= frame.last_day])
        ax.set_yticks(range(0, 101, 20))
        ax.grid(color="#dddddd", linewidth=0.7, zorder=0)
        ax.spines[["top", "right"]].set_visible(False)
        ax.set_xlabel("days since inoculation", fontsize=LABEL_POINTS)
        ax.set_ylabel("colonized % of the side in view", fontsize=LABEL_POINTS)
        draw_bag(ax, curve, _STYLE)
        label_events(ax, (curve,), frame)
    return figure


def _plan(curve: BagCurve, width_inches: float) -> Frame:
    """The sizes, with as many lanes of event labels as they need."""
    measured = curve.series.days[np.isfinite(curve.series.coverage)]

    def frame_with(lanes: int) -> Frame:
        top = _TOP + LINE_INCHES * lanes
        return Frame(
            rows=1,
            columns=1,
            panel_width=width_inches - _LEFT - _RIGHT,
            panel_height=_PANEL,
            gutter=_RIGHT - LETTER_INCHES,
            lanes=lanes,
            left=_LEFT,
            top=top,
            bottom=_BOTTOM,
            row_gap=0.0,
            height=_BOTTOM + _PANEL + top,
            last_day=max(1.0, float(measured[-1])),
        )

    return frame_with(max((lane + 1 for *_, lane in place_events((curve,), frame_with(0))), default=0))
