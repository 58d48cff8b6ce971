"""One panel of a chart: the lines of one strain's bags and what is marked on them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from colscan.growth.model import BagCurve, GrowthSeries
from colscan.growth.onsets import Onset
from colscan.present.frame import LETTER_INCHES, LINE_INCHES, Frame, label_of
from colscan.present.layout import fill_lanes, spread_labels
from colscan.present.saving import QUIET
from colscan.present.style import LineStyle, style_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Y_LOW, Y_HIGH = -3.0, 104.0
"""Ends of the y axis, percent: room for whole markers at 0 and 100."""
X_MARGIN_DAYS = 0.4
MARK = "#000000"
MARK_POINTS = 9.0
_BAR_POINTS, _THIN_BAR_POINTS = 3.2, 1.6
_APART_DAYS = 0.6
"""Bars of treatments stand side by side within so much of a day: all have their points on whole days."""
_BAGS_NAMED = 2
"""How many bags an event's label names before it counts them."""


def draw_panel(
    ax: Axes, curves: tuple[BagCurve, ...], *, styles: dict[str, LineStyle], frame: Frame, grouped: bool
) -> None:
    """Draw the bags of one strain into empty axes whose scales are set.

    Parameters
    ----------
    ax : Axes
        Where to draw.
    curves : tuple of BagCurve
        The strain's bags.
    styles : dict of str to LineStyle
        Looks of the treatments.
    frame : Frame
        The chart's sizes.
    grouped : bool
        Whether they are lines of treatments, of which no bar may cover another's.
    """
    apart = _APART_DAYS * (np.arange(len(curves)) / max(1, len(curves) - 1) - 0.5)
    for curve, shift_days in zip(curves, apart, strict=True):
        style = style_of(curve.bag, styles)
        if grouped:
            _draw_line(ax, curve.series, style, bars_days=float(shift_days), bar_points=_THIN_BAR_POINTS)
        else:
            _draw_line(ax, curve.series, style)
    for curve in curves:
        _mark_onsets(ax, curve)
    _label_lines(ax, curves, styles=styles, frame=frame)
    label_events(ax, curves, frame)


def draw_bag(ax: Axes, curve: BagCurve, style: LineStyle) -> None:
    """Draw one bag's line with its marks into axes whose scales are set.

    Parameters
    ----------
    ax : Axes
        Where to draw.
    curve : BagCurve
        The bag; one of its photos at least was measured.
    style : LineStyle
        Looks of the line.
    """
    _draw_line(ax, curve.series, style)
    _mark_onsets(ax, curve)


def _draw_line(
    ax: Axes,
    series: GrowthSeries,
    style: LineStyle,
    *,
    bars_days: float = 0.0,
    bar_points: float = _BAR_POINTS,
) -> None:
    """A line a segment, and its bars, so many days beside their points."""
    for segment in np.unique(series.segment):
        chosen = (series.segment == segment) & np.isfinite(series.coverage)
        days, percent = series.days[chosen], 100 * series.coverage[chosen]
        below = percent - 100 * series.low[chosen]
        above = 100 * series.high[chosen] - percent
        _, _, (bars,) = ax.errorbar(
            days,
            percent,
            yerr=np.nan_to_num(np.vstack([below, above])).clip(min=0),
            color=style.colour,
            linestyle=style.line,
            linewidth=1.5,
            marker=style.marker,
            markersize=5,
            markeredgecolor="white" if style.marker != "x" else style.colour,
            markeredgewidth=0.6 if style.marker != "x" else 1.2,
            elinewidth=bar_points,
            ecolor=(*style.colour, 0.3),
            zorder=3,
        )
        bars.set_segments([np.add(bar, (bars_days, 0.0)) for bar in bars.get_segments()])


def _mark_onsets(ax: Axes, curve: BagCurve) -> None:
    for onset in curve.onsets:
        _mark_onset(ax, curve.series, onset)
    if curve.contaminated:
        last = np.flatnonzero(np.isfinite(curve.series.coverage))[-1]
        _draw_mark(ax, float(curve.series.days[last]), 100 * float(curve.series.coverage[last]), "X")


def _mark_onset(ax: Axes, series: GrowthSeries, onset: Onset) -> None:
    measured = np.isfinite(series.coverage)
    start = onset.by_days if onset.after_days is None else onset.after_days
    between = measured & (series.days >= start) & (series.days <= onset.by_days)
    days, percent = series.days[between], 100 * series.coverage[between]
    if not days.size or days[-1] < onset.by_days:
        # Not measured where the patch was first seen: marked at the height before, or at the panel's foot.
        days = np.append(days, onset.by_days)
        percent = np.append(percent, percent[-1] if percent.size else 0.0)
    ax.plot(days, percent, color=MARK, alpha=0.28, linewidth=8, solid_capstyle="butt", zorder=2, gid="onset")
    _draw_mark(ax, onset.by_days, float(percent[-1]), "X" if onset.call == "contaminated" else "v")


def _draw_mark(ax: Axes, day: float, percent: float, marker: str) -> None:
    from matplotlib.transforms import ScaledTranslation

    figure = ax.get_figure()
    assert figure is not None
    above = ax.transData + ScaledTranslation(0, 9 / 72, figure.dpi_scale_trans)
    ax.plot([day], [percent], transform=above, clip_on=False, zorder=6, gid="mark", **mark_style(marker))


def mark_style(marker: str) -> dict[str, Any]:
    """Return how a mark is drawn: filled `X` for contaminated, open triangle for a patch not judged."""
    return {
        "linestyle": "none",
        "marker": marker,
        "markersize": MARK_POINTS,
        "markerfacecolor": MARK if marker == "X" else "white",
        "markeredgecolor": "white" if marker == "X" else MARK,
        "markeredgewidth": 0.8 if marker == "X" else 1.4,
    }


def _label_lines(
    ax: Axes, curves: tuple[BagCurve, ...], *, styles: dict[str, LineStyle], frame: Frame
) -> None:
    """The bags' codes right of the panel, each led to from its line's end."""
    ends = []
    for curve in curves:
        last = np.flatnonzero(np.isfinite(curve.series.coverage))[-1]
        ends.append((float(curve.series.days[last]), 100 * float(curve.series.coverage[last])))
    gap = LINE_INCHES / frame.panel_height * (Y_HIGH - Y_LOW)
    places = spread_labels([percent for _, percent in ends], gap, low=0.0, high=100.0)
    edge = frame.last_day + X_MARGIN_DAYS
    day_inches = (edge + X_MARGIN_DAYS) / frame.panel_width
    for curve, (day, percent), place in zip(curves, ends, places, strict=True):
        label_day = edge + frame.leader * day_inches
        ax.plot(
            [day, edge, label_day - 0.04 * day_inches],
            [percent, percent, place],
            color=style_of(curve.bag, styles).colour,
            linewidth=0.8,
            linestyle=(0, (1, 2)),
            clip_on=False,
            zorder=1,
            gid="leader",
        )
        ax.text(label_day, place, label_of(curve), va="center", ha="left", clip_on=False, gid="code")


def group_events(curves: tuple[BagCurve, ...]) -> list[tuple[float, str, str, list[str]]]:
    """Return day, what happened, on which whole shelf if so, and to which of these bags, in order of time."""
    joined: dict[tuple[float, str, str], list[str]] = {}
    for curve in curves:
        for happening in curve.happenings:
            key = (round(happening.days, 1), happening.what, happening.shelf or "")
            joined.setdefault(key, []).append(curve.bag.bag)
    return [(*key, bags) for key, bags in sorted(joined.items())]


def _label_event(what: str, shelf: str, bags: list[str], *, of: int, letters: int) -> str:
    """What happened and to whom, shorter where `letters` are too few."""
    if shelf:
        return f"{what} (shelf {shelf})"
    more = len(bags) - _BAGS_NAMED
    names = ", ".join(bags[:_BAGS_NAMED]) + (f" +{more}" if more > 0 else "")
    label = f"{what} {'(all)' if len(bags) == of > 1 else names}"
    return label if len(label) <= letters else f"{what} ({len(bags)})"


def place_events(curves: tuple[BagCurve, ...], frame: Frame) -> list[tuple[float, str, float, int]]:
    """Return day, label, the label's left end (days) and its lane above the panel, of each event shown.

    Labels run right of their ticks, over the gutter too. Later ones lie lower, so that no tick runs
    through another's label; near the right end, where labels are pushed left, it passes behind it.
    """
    letter_days = LETTER_INCHES * (frame.last_day + 2 * X_MARGIN_DAYS) / frame.panel_width
    edge = frame.last_day + X_MARGIN_DAYS
    right_end = edge + frame.gutter / LETTER_INCHES * letter_days
    placed = []
    for day, what, shelf, bags in group_events(curves):
        if 0 <= day <= edge:
            letters = int((right_end - day) / letter_days) - 1
            label = _label_event(what, shelf, bags, of=len(curves), letters=letters)
            width = (len(label) + 1) * letter_days
            placed.append((day, label, min(day, right_end - width), width))
    placed.sort(key=lambda one: one[2] + one[3], reverse=True)
    lanes = fill_lanes([-left - width for *_, left, width in placed], [width for *_, width in placed])
    return [(day, label, left, lane) for (day, label, left, _), lane in zip(placed, lanes, strict=True)]


def label_events(ax: Axes, curves: tuple[BagCurve, ...], frame: Frame) -> None:
    """Draw what happened to some bags above the axes that show them.

    Parameters
    ----------
    ax : Axes
        Where to draw.
    curves : tuple of BagCurve
        The bags.
    frame : Frame
        The chart's sizes.
    """
    lane_share = LINE_INCHES / frame.panel_height
    across = ax.get_xaxis_transform()
    for day, label, left, lane in place_events(curves, frame):
        foot = 1 + lane * lane_share
        ax.plot(
            [day, day], [0.97, foot + 0.3 * lane_share], transform=across, color=QUIET, linewidth=1.0,
            clip_on=False, zorder=1, gid="event",
        )  # fmt: skip
        ax.text(
            left, foot + 0.25 * lane_share, " " + label, transform=across, color=QUIET, va="bottom",
            ha="left", clip_on=False, gid="event-label",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0}, zorder=4,
        )  # fmt: skip
