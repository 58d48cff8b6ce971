"""Scores beside what people saw: each pair, and the differences over their mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

from colscan.growth.agree import Agreement, Check, Kind
from colscan.present import frame as sizes
from colscan.present.frame import wrap_foot
from colscan.present.heading import write_head
from colscan.present.saving import DOTS_PER_INCH, QUIET, ChartFiles, save_figure
from colscan.trial.model import Trial

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_HEIGHT_INCHES = 6.6
_INK = "#0d0887"
_MARKS = {Kind.BLIND: ("o", _INK), Kind.MASKS: ("s", "none"), Kind.OPEN: ("^", "none")}
"""Marker and filling: only the headline's pairs are filled, which needs no colour to see."""
_FOOTNOTE = (
    "Left: a pair on the line agrees; bars are the score's own 90 % interval. Right: the difference over the"
    " mean of both; the line is their mean, dashed the limits between which 19 of 20 lie, in grey the 95 %"
    " intervals of the three."
)


def draw_agreement(trial: Trial, check: Check) -> ChartFiles:
    """Return each pair of score and seen coverage, and their differences, as PNG and SVG.

    Parameters
    ----------
    trial : Trial
        The plan: its name and question.
    check : Check
        Its first agreement gives the lines of the right panel.
    """
    return save_figure(lambda: make_figure(trial, check))


def make_figure(trial: Trial, check: Check) -> Figure:
    """Return the figure that `draw_agreement` saves."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(sizes.WIDTH_INCHES, _HEIGHT_INCHES), dpi=DOTS_PER_INCH, facecolor="white")
    left, right = figure.add_axes((0.07, 0.17, 0.40, 0.64)), figure.add_axes((0.56, 0.17, 0.40, 0.64))
    for agreement in check.agreements:
        _draw_pairs(left, agreement)
        _draw_differences(right, agreement)
    left.plot([0, 100], [0, 100], color=QUIET, linewidth=1, zorder=1)
    _dress(left, "seen, %", "scored, %", "Scores and what was seen")
    headline = check.agreements[0]
    _draw_limits(right, headline)
    _dress(right, "mean of both, %", "score minus seen, points", f"Differences (lines: {headline.kind})")
    left.set_ylim(-3, 103)
    left.legend(loc="upper left", frameon=False)
    write_head(figure, trial, interim=False)
    figure.text(0.02, 0.02, "\n".join(wrap_foot(_FOOTNOTE)), color=QUIET, va="bottom", linespacing=1.25)
    return figure


def _draw_pairs(ax: Axes, agreement: Agreement) -> None:
    marker, filling = _MARKS[agreement.kind]
    seen = [100 * pair.seen for pair in agreement.pairs]
    scores = [100 * pair.score for pair in agreement.pairs]
    below = [100 * max(0.0, pair.score - pair.low) for pair in agreement.pairs]
    above = [100 * max(0.0, pair.high - pair.score) for pair in agreement.pairs]
    label = f"{agreement.kind} (pairs: {len(agreement.pairs)}, bags: {agreement.bags})"
    ax.errorbar(
        seen, scores, yerr=(below, above), fmt=marker, color=_INK, markerfacecolor=filling, markersize=5,
        elinewidth=0.7, ecolor="#9a9ac0", label=label, zorder=3,
    )  # fmt: skip


def _draw_differences(ax: Axes, agreement: Agreement) -> None:
    marker, filling = _MARKS[agreement.kind]
    means = [50 * (pair.score + pair.seen) for pair in agreement.pairs]
    differences = [100 * (pair.score - pair.seen) for pair in agreement.pairs]
    ax.plot(means, differences, marker, color=_INK, markerfacecolor=filling, markersize=5, zorder=3)


def _draw_limits(ax: Axes, headline: Agreement) -> None:
    ax.axhline(0, color=QUIET, linewidth=0.8, zorder=1)
    limits = headline.limits
    if limits is None:
        return
    for estimate, line in ((limits.bias, "-"), (limits.lower, "--"), (limits.upper, "--")):
        ax.axhspan(100 * estimate.low, 100 * estimate.high, color="#e4e4e4", linewidth=0, zorder=0)
        ax.axhline(100 * estimate.value, color="#202020", linestyle=line, linewidth=1.2, zorder=2)
        ax.annotate(
            f"{100 * estimate.value:+.1f}", (1.0, 100 * estimate.value), xycoords=("axes fraction", "data"),
            xytext=(4, 0), textcoords="offset points", va="center",
        )  # fmt: skip


def _dress(ax: Axes, across: str, up: str, title: str) -> None:
    ax.set_xlim(-3, 103)
    ax.set_xlabel(across)
    ax.set_ylabel(up)
    ax.set_title(title, loc="left", fontsize=sizes.QUESTION_POINTS)
    ax.grid(color="#dddddd", linewidth=0.7, zorder=0)
    ax.set_axisbelow(True)
    ax.spines[["top", "right"]].set_visible(False)
