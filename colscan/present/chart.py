"""Colonization curves: a panel a strain, a line a bag."""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np

from colscan.growth.model import BagCurve
from colscan.present import frame as sizes
from colscan.present.frame import Frame, plan_frame, wrap_foot, wrap_question
from colscan.present.panel import QUIET, X_MARGIN_DAYS, Y_HIGH, Y_LOW, draw_panel, mark_style, place_events
from colscan.present.style import BLANK_LABEL, LineStyle, style_treatments
from colscan.trial.model import Trial

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DOTS_PER_INCH = 150
LEGEND_COLUMNS = 6
_LEGEND_LINE_INCHES = 0.21
_FOOT_INCHES = 0.25
"""Between footnote and legend, and at the figure's edge."""
_FOOTNOTE = (
    "Bars: 90 % interval of each score; it covers what glare and the card may hide of the side in view. "
    "A line breaks where the bag was shaken, turned or opened. The camera sees one side of a bag."
)
_FOOTNOTE_ONSET = (
    "Grey under a line, up to its mark: the patch came between the last photo without it and the first "
    "with it."
)
_SETTINGS: Any = {
    "svg.hashsalt": "colscan",
    # Names and questions may hold dollar signs: they are no formulas.
    "text.parse_math": False,
    "font.family": "DejaVu Sans",
    "font.size": sizes.LABEL_POINTS,
    "text.color": "#202020",
    "axes.edgecolor": QUIET,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartFiles:
    """A chart as the bytes of its files; the same data give the same bytes."""

    png: bytes
    svg: bytes


def draw_chart(trial: Trial, curves: tuple[BagCurve, ...]) -> ChartFiles:
    """Return a trial's colonization curves as PNG and SVG.

    Neither holds the date or a version, which would make each run differ.

    Parameters
    ----------
    trial : Trial
        The plan: its name, question and bags.
    curves : tuple of BagCurve
        What to show of each bag; bags without a measured photo are left out, one at least has one.
    """
    import matplotlib

    figure = make_figure(trial, curves)
    png, svg = BytesIO(), BytesIO()
    with matplotlib.rc_context(_SETTINGS):
        figure.savefig(png, format="png", metadata={"Software": None})
        figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": None})
    return ChartFiles(png=png.getvalue(), svg=svg.getvalue())


def make_figure(trial: Trial, curves: tuple[BagCurve, ...]) -> Figure:
    """Return the figure that `draw_chart` saves.

    Parameters
    ----------
    trial : Trial
        The plan: its name, question and bags.
    curves : tuple of BagCurve
        What to show of each bag; bags without a measured photo are left out, one at least has one.
    """
    import matplotlib
    from matplotlib.figure import Figure

    shown = tuple(curve for curve in curves if np.isfinite(curve.series.coverage).any())
    strains = list(dict.fromkeys(curve.bag.strain for curve in shown))
    panels = [tuple(curve for curve in shown if curve.bag.strain == strain) for strain in strains]
    styles = style_treatments(trial.bags)
    with matplotlib.rc_context(_SETTINGS):
        handles = _legend_handles(styles, shown)
        foot = wrap_foot(_FOOTNOTE + (" " + _FOOTNOTE_ONSET if _has_onset(shown) else ""))
        legend_lines = 1 + -(-len(handles) // LEGEND_COLUMNS)
        foot_inches = _FOOT_INCHES + sizes.LINE_INCHES * len(foot) + _LEGEND_LINE_INCHES * legend_lines
        frame = _plan(panels, trial.question, foot_inches=foot_inches)
        figure = Figure(figsize=(sizes.WIDTH_INCHES, frame.height), dpi=DOTS_PER_INCH, facecolor="white")
        first = None
        for index, (strain, panel) in enumerate(zip(strains, panels, strict=True)):
            ax = figure.add_axes(frame.bounds(index), sharex=first, sharey=first)
            first = first or ax
            _dress_axes(ax, index, title=_title_panel(trial, strain), frame=frame, panels=len(panels))
            draw_panel(ax, panel, styles=styles, frame=frame)
        _write_head(figure, trial, frame)
        _write_foot(figure, foot, handles=handles, base=_base_of(trial))
    return figure


def _plan(panels: list[tuple[BagCurve, ...]], question: str, *, foot_inches: float) -> Frame:
    """The sizes, with as many lanes of event labels as the fullest panel needs."""
    bare = plan_frame(panels, question=question, lanes=0, foot_inches=foot_inches)
    placed = [place_events(panel, bare) for panel in panels]
    lanes = max((lane + 1 for events in placed for *_, lane in events), default=0)
    return plan_frame(panels, question=question, lanes=lanes, foot_inches=foot_inches)


def _title_panel(trial: Trial, strain: str) -> str:
    declared = trial.strain(strain)
    return f"{strain}  {declared.species}" if declared and declared.species else strain


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
    if left:
        ax.set_ylabel("colonized % of the side in view")
    if lowest:
        ax.set_xlabel("days since inoculation")


def _write_head(figure: Figure, trial: Trial, frame: Frame) -> None:
    left = 0.25 / sizes.WIDTH_INCHES
    figure.text(
        left, 1 - 0.17 / frame.height, trial.name, fontsize=sizes.TITLE_POINTS, fontweight="bold", va="top"
    )
    figure.text(
        left,
        1 - 0.48 / frame.height,
        "\n".join(wrap_question(trial.question)),
        fontsize=sizes.QUESTION_POINTS,
        va="top",
        linespacing=1.25,
    )


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


def _has_onset(curves: tuple[BagCurve, ...]) -> bool:
    return any(curve.onsets for curve in curves)


def _legend_handles(styles: dict[str, LineStyle], curves: tuple[BagCurve, ...]) -> list[Artist]:
    from matplotlib.lines import Line2D

    present = {BLANK_LABEL if curve.bag.role == "blank" else curve.bag.treatment for curve in curves}
    handles: list[Artist] = [
        Line2D(
            [], [], color=style.colour, linestyle=style.line, marker=style.marker, label=label,
            markeredgecolor="white" if style.marker != "x" else style.colour, markeredgewidth=0.6,
        )
        for label, style in styles.items()
        if label in present
    ]  # fmt: skip
    calls = {onset.call for curve in curves for onset in curve.onsets}
    if calls - {"contaminated"}:
        handles.append(Line2D([], [], label="suspect patch", **mark_style("v")))
    if "contaminated" in calls or any(curve.contaminated for curve in curves):
        handles.append(Line2D([], [], label="called contaminated", **mark_style("X")))
    return handles
