"""What became of all bags spawned, day by day: full, running, lost; a panel a treatment."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from colscan.growth.compare import Comparison
from colscan.growth.compare.model import ALL_STRAINS, DayCount, TimesAtLevel
from colscan.growth.outcomes import Milestone
from colscan.present.heading import count_runs, title_of
from colscan.present.saving import QUIET, ChartFiles, save_figure
from colscan.present.sheet import (
    EDGE_INCHES,
    SHEET_INCHES,
    SHEET_LINE_INCHES,
    SHEET_POINTS,
    Sheet,
    begin_sheet,
    fold_name,
)
from colscan.present.style import LineStyle, style_named, style_treatments
from colscan.trial.model import Trial

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLUMNS = 3
_PANEL_INCHES = 1.35
_LEFT_INCHES = 0.75
_BETWEEN_INCHES = 0.32
_SAID_LINES = 2
"""Over each panel, under its treatment: number of bags, and when half of them were full."""
_NAME_LETTERS = 20
"""Of a treatment's name that fit over a panel; longer ones are folded."""
_BELOW_INCHES = 0.4
_SCOPE_INCHES, _SCOPE_GAP_INCHES = 0.28, 0.16
"""A strain's own line, and what parts it from the panels above."""
_RUNNING, _GONE, _INK = "#e9e9e9", "#ffffff", "#202020"
_LOST_HATCH, _GONE_HATCH = "////", "...."


def draw_full_chart(trial: Trial, comparison: Comparison) -> ChartFiles:
    """Return the shares of bags that were full, running and lost over the days, as PNG and SVG.

    Parameters
    ----------
    trial : Trial
        Name, question and the looks of its treatments.
    comparison : Comparison
        Its counts by day and its times to full.
    """
    return save_figure(lambda: make_full_figure(trial, comparison))


def make_full_figure(trial: Trial, comparison: Comparison) -> Figure:
    """Return the figure that `draw_full_chart` saves, under the settings of all charts.

    Parameters
    ----------
    trial, comparison
        As `draw_full_chart` has them.
    """
    scopes = _scopes(comparison)
    rows = {scope: -(-len(treatments) // COLUMNS) for scope, treatments in scopes.items()}
    above = _above_inches(comparison)
    row_inches = above + _PANEL_INCHES + _BELOW_INCHES
    sheet = begin_sheet(
        trial,
        body_inches=sum(_SCOPE_INCHES + _SCOPE_GAP_INCHES + row_inches * count for count in rows.values())
        + SHEET_LINE_INCHES,
        note=_note(comparison),
        handles=_handles(comparison),
        interim=comparison.interim,
    )
    down = 0.0
    for scope, treatments in scopes.items():
        title = scope if scope == ALL_STRAINS else title_of(trial, scope)
        sheet.write(EDGE_INCHES, down, title, fontweight="bold", gid="scope")
        down += _SCOPE_INCHES
        for index, treatment in enumerate(treatments):
            row, column = divmod(index, COLUMNS)
            _draw_panel(sheet, (down + row * row_inches, column), trial, comparison, scope, treatment)
        down += rows[scope] * row_inches + _SCOPE_GAP_INCHES
    sheet.write(SHEET_INCHES / 2, down, "days since inoculation", ha="center", color=QUIET)
    return sheet.figure


def _scopes(comparison: Comparison) -> dict[str, list[str]]:
    """The treatments of each scope, in the comparison's order."""
    found: dict[str, list[str]] = {}
    for count in comparison.days:
        treatments = found.setdefault(count.scope, [])
        if count.treatment not in treatments:
            treatments.append(count.treatment)
    return found


def _draw_panel(
    sheet: Sheet, place: tuple[float, int], trial: Trial, comparison: Comparison, scope: str, treatment: str
) -> None:
    down, column = place
    above = _above_inches(comparison)
    width = (SHEET_INCHES - _LEFT_INCHES - EDGE_INCHES - _BETWEEN_INCHES * (COLUMNS - 1)) / COLUMNS
    left = _LEFT_INCHES + column * (width + _BETWEEN_INCHES)
    ax = sheet.axes(left, down + above, (width, _PANEL_INCHES))
    last_day = max(count.day for count in comparison.days)
    _dress(ax, last_day, labelled=column == 0)
    counts = [one for one in comparison.days if (one.scope, one.treatment) == (scope, treatment)]
    style = style_named(treatment, style_treatments(trial.bags))
    _stack(ax, counts, style)
    times = _times(comparison, scope, treatment)
    if times is not None:
        _draw_steps(ax, times, last_day)
    said = down + above - _SAID_LINES * SHEET_LINE_INCHES - 0.08
    sheet.write(left, down, _fold(treatment), linespacing=1.25, gid="treatment")
    sheet.write(left, said, _say_bags(counts, times), color=QUIET)
    sheet.write(left, said + SHEET_LINE_INCHES, _say_median(times), color=QUIET)


def _above_inches(comparison: Comparison) -> float:
    """Height of the words over a panel, where the longest name takes most lines."""
    lines = max(1 + _fold(count.treatment).count("\n") for count in comparison.days)
    return (lines + _SAID_LINES) * SHEET_LINE_INCHES + 0.08


def _fold(treatment: str) -> str:
    return fold_name(treatment, _NAME_LETTERS)


def _dress(ax: Axes, last_day: float, *, labelled: bool) -> None:
    from matplotlib.ticker import MaxNLocator

    ax.set_xlim(0, max(1.0, last_day))
    ax.set_ylim(0, 100)
    ax.set_yticks([0, 50, 100])
    ax.xaxis.set_major_locator(MaxNLocator(nbins=4, integer=True, steps=[1, 2, 5, 10]))
    ax.tick_params(labelleft=labelled, labelsize=SHEET_POINTS)
    ax.spines[["top", "right"]].set_visible(False)
    if labelled:
        ax.set_ylabel("% of bags", fontsize=SHEET_POINTS)


def _stack(ax: Axes, counts: list[DayCount], style: LineStyle) -> None:
    """From the foot: full, running, gone, lost; a day's counts stand over the day that ends with it."""
    days = [count.day for count in counts]
    layers: list[tuple[list[int], dict[str, Any]]] = [
        ([count.full for count in counts], {"facecolor": style.colour}),
        ([count.running for count in counts], {"facecolor": _RUNNING}),
        ([count.gone for count in counts], {"facecolor": _GONE, "hatch": _GONE_HATCH, "edgecolor": QUIET}),
        ([count.lost for count in counts], {"facecolor": "white", "hatch": _LOST_HATCH, "edgecolor": _INK}),
    ]
    below = [0.0] * len(counts)
    for values, looks in layers:
        above = [b + 100 * value / count.bags for b, value, count in zip(below, values, counts, strict=True)]
        if any(values):
            ax.fill_between(days, below, above, step="pre", linewidth=0, zorder=2, **looks)
        below = above


def _draw_steps(ax: Axes, times: TimesAtLevel, last_day: float) -> None:
    """The estimate that knows of each rise only that it lies between two photos: sloping there."""
    days, shares = [0.0], [0.0]
    for step in times.steps:
        days += [step.after_days, step.by_days]
        shares += [shares[-1], 100 * step.share]
    ax.plot([*days, last_day], [*shares, shares[-1]], color="white", linewidth=3.4, zorder=3)
    ax.plot([*days, last_day], [*shares, shares[-1]], color=_INK, linewidth=1.5, zorder=4, gid="estimate")


def _times(comparison: Comparison, scope: str, treatment: str) -> TimesAtLevel | None:
    return next(
        (
            one
            for one in comparison.times
            if (one.scope, one.treatment, one.milestone) == (scope, treatment, Milestone.FULL)
        ),
        None,
    )


def _say_bags(counts: list[DayCount], times: TimesAtLevel | None) -> str:
    return count_runs(counts[0].bags, times.heat_runs if times else 0)


def _say_median(times: TimesAtLevel | None) -> str:
    if times is None:
        return ""
    if not times.median.came:
        return "not half full yet" if times.running else "under half came full"
    return f"half full: day {times.median.after_days:.1f} to {times.median.by_days:.1f}"


def _handles(comparison: Comparison) -> list[Artist]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Artist] = [
        Patch(facecolor="#555555", label="full (treatment's colour)"),
        Patch(facecolor=_RUNNING, label="still running"),
        Patch(facecolor="white", hatch=_LOST_HATCH, edgecolor=_INK, linewidth=0, label="lost"),
    ]
    if any(count.gone for count in comparison.days):
        handles.append(
            Patch(
                facecolor=_GONE, hatch=_GONE_HATCH, edgecolor=QUIET, linewidth=0, label="no longer followed"
            )
        )
    if any(one.milestone is Milestone.FULL and one.steps for one in comparison.times):
        handles.append(Line2D([], [], color=_INK, linewidth=1.5, label="full, estimated"))
    return handles


def _note(comparison: Comparison) -> str:
    return (
        f"All bags spawned count: {count_runs(comparison.bags, comparison.heat_runs)}. Areas: what had become"
        " of them by the end of each day, white where no photos are; a bag that was lost after it was full"
        " counts as lost. Line: share that came full, by the non-parametric estimate for times that lie"
        " between two photos; it slopes where the day isn't known. Full is judged on the side in view."
    )
