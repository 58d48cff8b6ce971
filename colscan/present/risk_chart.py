"""Contamination by level: bags lost of bags followed, how high the risk may be, and what is accepted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from colscan.growth.risk import LevelRisk, RiskReport, SeriesRisk
from colscan.growth.risk.followed import many_of
from colscan.present.heading import count_runs, title_of
from colscan.present.saving import QUIET, ChartFiles, save_figure
from colscan.present.sheet import (
    EDGE_INCHES,
    SHEET_INCHES,
    SHEET_LETTER_INCHES,
    SHEET_POINTS,
    begin_sheet,
    fold_name,
    longest_line,
)
from colscan.present.style import LineStyle, style_named, style_treatments
from colscan.trial.model import Trial

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROW_INCHES = 0.5
_TITLE_INCHES = 0.34
_AXIS_INCHES = 0.55
_GAP_INCHES = 0.2
_SAID_LETTERS = 28
"""Room for the words beside a row."""
_INK = "#202020"


def draw_risk_chart(trial: Trial, report: RiskReport) -> ChartFiles:
    """Return the risk by level as PNG and SVG.

    Parameters
    ----------
    trial : Trial
        Name, question and the looks of its treatments.
    report : RiskReport
        What is known of the risk; a block of rows a series of levels.
    """
    return save_figure(lambda: make_risk_figure(trial, report))


def make_risk_figure(trial: Trial, report: RiskReport) -> Figure:
    """Return the figure that `draw_risk_chart` saves, under the settings of all charts.

    Parameters
    ----------
    trial, report
        As `draw_risk_chart` has them.
    """
    styles = style_treatments(trial.bags)
    blocks = [_TITLE_INCHES + ROW_INCHES * len(series.levels) + _GAP_INCHES for series in report.series]
    sheet = begin_sheet(
        trial,
        body_inches=sum(blocks) + _AXIS_INCHES - _GAP_INCHES,
        note=_note(report),
        handles=_handles(report),
        interim=report.interim,
    )
    names = [fold_name(row.level.name) for series in report.series for row in series.levels]
    left = EDGE_INCHES + SHEET_LETTER_INCHES * longest_line(names) + 0.15
    width = SHEET_INCHES - left - SHEET_LETTER_INCHES * _SAID_LETTERS - EDGE_INCHES
    down = 0.0
    for index, (series, block) in enumerate(zip(report.series, blocks, strict=True)):
        sheet.write(EDGE_INCHES, down, _title(trial, series), fontweight="bold")
        size = (width, ROW_INCHES * len(series.levels))
        ax = sheet.axes(left, down + _TITLE_INCHES, size)
        _dress(ax, len(series.levels), accepted=report.accepted, last=index == len(blocks) - 1)
        for place, row in enumerate(series.levels):
            _draw_row(ax, place, row, style_named(row.level.name, styles))
        down += block
    return sheet.figure


def _title(trial: Trial, series: SeriesRisk) -> str:
    strain = "all strains" if series.strain is None else title_of(trial, series.strain)
    return f"{strain}: {series.supplement}, % of {series.base}" if series.base else strain


def _dress(ax: Axes, rows: int, *, accepted: float, last: bool) -> None:
    ax.set_xlim(0, 100)
    ax.set_ylim(rows - 0.5, -0.5)
    ax.set_xticks([0, 25, 50, 75, 100])
    ax.set_yticks([])
    ax.spines[["top", "right", "left"]].set_visible(False)
    ax.grid(axis="x", color="#dddddd", linewidth=0.7, zorder=0)
    ax.tick_params(labelbottom=last, labelsize=SHEET_POINTS)
    ax.axvline(100 * accepted, color=_INK, linestyle=(0, (4, 2)), linewidth=1.2, zorder=1, gid="accepted")
    if last:
        ax.set_xlabel("bags lost, %", fontsize=SHEET_POINTS)


def _draw_row(ax: Axes, place: int, row: LevelRisk, style: LineStyle) -> None:
    """One level: its name, the share lost with its limit, and both in words."""
    across = ax.get_yaxis_transform()
    ax.text(
        -0.04, place, fold_name(row.level.name), transform=across, ha="right", va="center",
        fontsize=SHEET_POINTS, gid="level",
    )  # fmt: skip
    ax.text(
        1.05, place, "\n".join(_say(row)), transform=across, ha="left", va="center", fontsize=SHEET_POINTS,
        linespacing=1.2, gid="said",
    )  # fmt: skip
    if row.share is None or row.limit is None:
        return
    share, limit = 100 * row.share, 100 * row.limit
    ax.plot([share, limit], [place, place], color=(*style.colour, 0.45), linewidth=5, solid_capstyle="butt",
            zorder=2, gid="bar")  # fmt: skip
    ax.plot([limit, limit], [place - 0.18, place + 0.18], color=style.colour, linewidth=2.2, zorder=3,
            clip_on=False, gid="limit")  # fmt: skip
    if row.limit_at_worst is not None and row.suspects:
        ax.plot(100 * row.limit_at_worst, place, marker="|", markersize=11, markeredgewidth=1.4,
                color=QUIET, zorder=3, clip_on=False, gid="worst")  # fmt: skip
        ax.plot([limit, 100 * row.limit_at_worst], [place, place], color=QUIET, linestyle=(0, (1, 2)),
                linewidth=1.4, zorder=2)  # fmt: skip
    ax.plot(
        share, place, marker=style.marker, markersize=8, color=style.colour, markeredgecolor="white",
        markeredgewidth=0.8, zorder=4, clip_on=False, gid="share",
    )  # fmt: skip


def _say(row: LevelRisk) -> tuple[str, str]:
    """How many bags, and what they show."""
    if row.share is None or row.limit is None:
        still = f"{row.running} still running" if row.running else "none followed to the end"
        return f"none of {row.spawned} judged yet", still
    counted = f"{row.lost} of {row.followed} lost" + (f", {row.running} running" if row.running else "")
    limit = f"at most {100 * row.limit:.0f} %"
    if row.acceptable:
        return counted, f"{limit}: acceptable"
    return counted, f"{limit}; {row.more} more needed" if row.more is not None else limit


def _handles(report: RiskReport) -> list[Artist]:
    from matplotlib.lines import Line2D

    handles: list[Artist] = [
        Line2D([], [], linestyle="none", marker="o", markersize=8, color=QUIET, label="share lost"),
        Line2D([], [], linestyle="none", marker="|", markersize=11, markeredgewidth=2.2, color=QUIET,
               label="at most (one-sided 95 % limit)"),
        Line2D([], [], color=_INK, linestyle=(0, (4, 2)), linewidth=1.2,
               label=f"accepted: {100 * report.accepted:g} %"),
    ]  # fmt: skip
    if any(row.suspects for series in report.series for row in series.levels):
        handles.append(
            Line2D([], [], color=QUIET, linestyle=(0, (1, 2)), marker="|", markersize=11,
                   label="limit if every suspect patch were a loss")
        )  # fmt: skip
    return handles


def _note(report: RiskReport) -> str:
    total = [series for series in report.series if series.strain is None] or list(report.series)
    # The control stands in the series of each supplement.
    levels = {(series.strain, row.level): row for series in total for row in series.levels}.values()
    bags = sum(row.followed for row in levels)
    runs = max((row.runs for row in levels), default=0)
    shared = report.clusters if runs == 1 else many_of(report.clusters)
    return (
        f"Bags that are lost or were followed to {report.horizon} count: {count_runs(bags, 0)}"
        + (f", of up to {runs} {shared} a level" if runs else "")
        + f". The limit allows for what bags of one {report.clusters} share. A level is acceptable when its"
        f" limit is within the accepted {100 * report.accepted:g} %; “n more needed”: so many further bags"
        f" without a loss, in {many_of(report.clusters)} as large as now, would bring it there. Only what"
        " people called contaminated is a loss."
    )
