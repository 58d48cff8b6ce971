"""Colonization curves: a panel a strain, a line a bag."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Any

import numpy as np

from colscan.growth.model import BagCurve
from colscan.growth.series import group_curves
from colscan.present import frame as sizes
from colscan.present.frame import Frame, plan_frame, wrap_foot
from colscan.present.heading import count_bags, title_of, write_head
from colscan.present.panel import X_MARGIN_DAYS, Y_HIGH, Y_LOW, draw_panel, mark_style, place_events
from colscan.present.saving import DOTS_PER_INCH, QUIET, SETTINGS, ChartFiles, save_figure
from colscan.present.style import BLANK_LABEL, LineStyle, style_treatments
from colscan.trial.model import Trial

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

CSS_PX_PER_INCH = 96
LEGEND_COLUMNS = 6
_LEGEND_LINE_INCHES = 0.21
_FOOT_INCHES = 0.25
"""Between footnote and legend, and at the figure's edge."""


class Shown(StrEnum):
    """What of the bags a line follows, as its axis names it."""

    COVERAGE = "colonized % of the side in view"
    DENSITY = "how white, % (mean opacity of the mycelium)"


_FOOTNOTES = {
    Shown.COVERAGE: "Bars: 90 % interval of each score; it covers what glare and the card may hide of the "
    "side in view. ",
    Shown.DENSITY: "How white: 100 % is mycelium through which nothing of the substrate is seen, all over "
    "the side in view; thin growth counts less. It carries no interval. ",
}
MOST_LINES = 60
"""More bags than these in a panel, and no line can be told from others: then one for each treatment."""
_FOOTNOTE_GROUPS = (
    "Over {most} bags in a panel: a line is the median of a treatment's bags on each day, its bars hold four "
    "in five of them, the number at its end says how many bags. Bags one by one: colscan status."
)
_FOOTNOTE = "A line breaks where the bag was shaken, turned or opened. The camera sees one side of a bag."
_FOOTNOTE_ONSET = (
    "Grey under a line, up to its mark: the patch came between the last photo without it and the first "
    "with it."
)


def draw_chart(
    trial: Trial, curves: tuple[BagCurve, ...], *, shown: Shown = Shown.COVERAGE, interim: bool = False
) -> ChartFiles:
    """Return the curves of a trial's bags as PNG and SVG.

    Parameters
    ----------
    trial : Trial
        The plan: its name, question and bags.
    curves : tuple of BagCurve
        What to show of each bag; bags without a measured photo are left out, one at least has one.
    shown : Shown
        Coverage with its intervals, or how white the bags are.
    interim : bool
        Whether the trial goes on; its title says so.
    """
    return save_figure(lambda: make_figure(trial, curves, shown=shown, interim=interim))


def make_figure(
    trial: Trial, curves: tuple[BagCurve, ...], *, shown: Shown = Shown.COVERAGE, interim: bool = False
) -> Figure:
    """Return the figure that `draw_chart` saves.

    Parameters
    ----------
    trial, curves, shown, interim
        As `draw_chart` has them.
    """
    import matplotlib
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

    layout = _lay_out(trial, curves, shown)
    frame = layout.frame
    styles = style_treatments(trial.bags)
    with matplotlib.rc_context(SETTINGS):
        figure = Figure(figsize=(sizes.WIDTH_INCHES, frame.height), dpi=DOTS_PER_INCH, facecolor="white")
        first = None
        for index, panel in enumerate(layout.panels):
            ax = figure.add_axes(frame.bounds(index), sharex=first, sharey=first)
            first = first or ax
            title = title_of(trial, panel[0].bag.strain)
            _dress_axes(ax, index, title=title, frame=frame, panels=len(layout.panels))
            if index % frame.columns == 0:
                ax.set_ylabel(shown)
            draw_panel(ax, panel, styles=styles, frame=frame, grouped=layout.grouped)
        write_head(figure, trial, interim=interim)
        handles: list[Artist] = [Line2D([], [], label=label, **looks) for label, looks in layout.legend]
        _write_foot(figure, layout.foot, handles=handles, base=_base_of(trial))
    return figure


def size_of(trial: Trial, curves: tuple[BagCurve, ...]) -> tuple[int, int]:
    """Return width and height of the drawn SVG in CSS pixels, without drawing it.

    Parameters
    ----------
    trial, curves
        As `draw_chart` has them.
    """
    inches = sizes.WIDTH_INCHES, _lay_out(trial, curves, Shown.COVERAGE).frame.height
    width_px, height_px = (round(CSS_PX_PER_INCH * inch) for inch in inches)
    return width_px, height_px


@dataclass(frozen=True, slots=True, kw_only=True)
class _Layout:
    """What a chart is drawn from: a panel a strain, the lines of its foot, its legend, and the sizes.

    `grouped` where a line is a treatment's, not a bag's.
    Nothing of the drawing library: its settings belong to the whole process, and a page asks for sizes alone.
    """

    panels: list[tuple[BagCurve, ...]]
    foot: list[str]
    legend: list[tuple[str, dict[str, Any]]]
    frame: Frame
    grouped: bool


def _lay_out(trial: Trial, curves: tuple[BagCurve, ...], shown: Shown) -> _Layout:
    measured = tuple(curve for curve in curves if np.isfinite(curve.series.coverage).any())
    if shown is Shown.DENSITY:
        measured = tuple(_how_white(curve) for curve in measured)
    strains = list(dict.fromkeys(curve.bag.strain for curve in measured))
    grouped = max(sum(curve.bag.strain == strain for curve in measured) for strain in strains) > MOST_LINES
    if grouped:
        bags = count_bags([curve.bag for curve in measured if curve.bag.role != "blank"])
        foot = wrap_foot(f"{bags}. {_FOOTNOTE_GROUPS.format(most=MOST_LINES)}")
        measured = group_curves(measured)
    else:
        foot = wrap_foot(_footnote(measured, shown))
    panels = [tuple(curve for curve in measured if curve.bag.strain == strain) for strain in strains]
    legend = _legend_of(style_treatments(trial.bags), measured)
    legend_lines = 1 + -(-len(legend) // LEGEND_COLUMNS)
    foot_inches = _FOOT_INCHES + sizes.LINE_INCHES * len(foot) + _LEGEND_LINE_INCHES * legend_lines
    frame = _plan(panels, trial.question, foot_inches=foot_inches)
    return _Layout(panels=panels, foot=foot, legend=legend, frame=frame, grouped=grouped)


def _plan(panels: list[tuple[BagCurve, ...]], question: str, *, foot_inches: float) -> Frame:
    """The sizes, with as many lanes of event labels as the fullest panel needs."""
    bare = plan_frame(panels, question=question, lanes=0, foot_inches=foot_inches)
    placed = [place_events(panel, bare) for panel in panels]
    lanes = max((lane + 1 for events in placed for *_, lane in events), default=0)
    return plan_frame(panels, question=question, lanes=lanes, foot_inches=foot_inches)


def _dress_axes(ax: Axes, index: int, *, title: str, frame: Frame, panels: int) -> None:
    from matplotlib.ticker import MaxNLocator

    ax.set_xlim(-X_MARGIN_DAYS, frame.last_day + X_MARGIN_DAYS)
    ax.set_ylim(Y_LOW, Y_HIGH)
    ticks = MaxNLocator(nbins=8, integer=True, steps=[1, 2, 5, 7, 10]).tick_values(0, frame.last_day)
    ax.set_xticks([tick for tick in ticks if 0 <= tick <= frame.last_day])
    ax.set_yticks(range(0, 101, 20))
    ax.grid(color="#dddddd", linewidth=0.7, zorder=0)
    ax.spines[["top", "right"]].set_visible(False)
    ax.set_title(
        title,
        loc="left",
        fontsize=sizes.QUESTION_POINTS,
        fontweight="bold",
        pad=6 + 72 * sizes.LINE_INCHES * frame.lanes,
    )
    left, lowest = index % frame.columns == 0, index + frame.columns >= panels
    ax.tick_params(labelleft=left, labelbottom=lowest)
    if lowest:
        ax.set_xlabel("days since inoculation")


def _write_foot(figure: Figure, foot: list[str], *, handles: list[Artist], base: str) -> None:
    height = figure.get_figheight()
    left = 0.25 / sizes.WIDTH_INCHES
    figure.text(left, 0.12 / height, "\n".join(foot), color=QUIET, va="bottom", linespacing=1.25)
    figure.legend(
        handles=handles,
        title=f"supplement{base}",
        loc="lower left",
        bbox_to_anchor=(left, (0.2 + sizes.LINE_INCHES * len(foot)) / height),
        bbox_transform=figure.transFigure,
        borderaxespad=0,
        ncols=LEGEND_COLUMNS,
        frameon=False,
        alignment="left",
        handlelength=3.2,
        borderpad=0,
    )


def _base_of(trial: Trial) -> str:
    """What the percentages are of, as far as it is one thing."""
    bases = {treatment.supplement_base for treatment in trial.treatments}
    return f", % of {bases.pop()}" if len(bases) == 1 else ""


def _footnote(curves: tuple[BagCurve, ...], shown: Shown) -> str:
    bags = [curve.bag for curve in curves if curve.bag.role != "blank"]
    said = f"{count_bags(bags)}. {_FOOTNOTES[shown]}{_FOOTNOTE}"
    return f"{said} {_FOOTNOTE_ONSET}" if any(curve.onsets for curve in curves) else said


def _how_white(curve: BagCurve) -> BagCurve:
    """The same bag with density in place of coverage."""
    density = curve.series.density
    return replace(curve, series=replace(curve.series, coverage=density, low=density, high=density))


def _legend_of(
    styles: dict[str, LineStyle], curves: tuple[BagCurve, ...]
) -> list[tuple[str, dict[str, Any]]]:
    """What the legend names, and how it looks."""
    present = {BLANK_LABEL if curve.bag.role == "blank" else curve.bag.treatment for curve in curves}
    legend: list[tuple[str, dict[str, Any]]] = [
        (
            label,
            {
                "color": style.colour, "linestyle": style.line, "marker": style.marker,
                "markeredgecolor": "white" if style.marker != "x" else style.colour, "markeredgewidth": 0.6,
            },
        )
        for label, style in styles.items()
        if label in present
    ]  # fmt: skip
    calls = {onset.call for curve in curves for onset in curve.onsets}
    if calls - {"contaminated"}:
        legend.append(("suspect patch", mark_style("v")))
    if "contaminated" in calls or any(curve.contaminated for curve in curves):
        legend.append(("called contaminated", mark_style("X")))
    return legend
