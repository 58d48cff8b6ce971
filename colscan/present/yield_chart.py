"""Yield by level: grams per bag spawned, each bag a dot, lost bags with what they gave, mostly nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from colscan.growth.crop.model import LevelYield, Standing, Yields
from colscan.present.heading import count_bags, count_runs, title_of
from colscan.present.layout import stack_dots
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
from colscan.units import count_of

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BASE_INCHES, _MEAN_INCHES = 0.42, 0.16
"""Of a row: what it has beside its dots, and how far over its foot the mean stands."""
_TITLE_INCHES = 0.3
_AXIS_INCHES = 0.55
_GAP_INCHES = 0.25
_SAID_LETTERS = 26
_DOT_INCHES = 0.1
"""Of a dot: those that are nearer than this stand one above the other."""
_HIGHEST_STACK_INCHES = 1.0
"""Higher ones are squeezed until their dots overlap."""
_INK = "#202020"


def draw_yield_chart(trial: Trial, yields: Yields) -> ChartFiles:
    """Return the yield by level as PNG and SVG.

    Parameters
    ----------
    trial : Trial
        Name, question and the looks of its treatments.
    yields : Yields
        What each bag and each level gave; one bag at least gave something.
    """
    return save_figure(lambda: make_yield_figure(trial, yields))


def make_yield_figure(trial: Trial, yields: Yields) -> Figure:
    """Return the figure that `draw_yield_chart` saves, under the settings of all charts.

    Parameters
    ----------
    trial, yields
        As `draw_yield_chart` has them.
    """
    names = [fold_name(level.treatment) for level in yields.levels]
    left = EDGE_INCHES + SHEET_LETTER_INCHES * longest_line(names) + 0.15
    width = SHEET_INCHES - left - SHEET_LETTER_INCHES * _SAID_LETTERS - EDGE_INCHES
    most_g = _most_g(yields)
    rows = [_place_dots(yields, level, most_g * _DOT_INCHES / width) for level in yields.levels]
    row_inches = _BASE_INCHES + max(_stack_inches(row) for row in rows)
    strains = list(dict.fromkeys(level.strain for level in yields.levels))
    counts = [sum(row.level.strain == strain for row in rows) for strain in strains]
    sheet = begin_sheet(
        trial,
        body_inches=sum(_TITLE_INCHES + row_inches * count + _GAP_INCHES for count in counts)
        + _AXIS_INCHES
        - _GAP_INCHES,
        note=_note(yields),
        handles=_handles(yields),
        interim=yields.interim,
    )
    styles = style_treatments(trial.bags)
    down = 0.0
    for strain, count in zip(strains, counts, strict=True):
        sheet.write(EDGE_INCHES, down, title_of(trial, strain), fontweight="bold", gid="section")
        ax = sheet.axes(left, down + _TITLE_INCHES, (width, row_inches * count))
        _dress(ax, count, most_g=most_g, last=strain == strains[-1])
        mine = [row for row in rows if row.level.strain == strain]
        for place, row in enumerate(mine):
            style = style_named(row.level.treatment, styles)
            _draw_level(ax, place, row.level, style=style, row_inches=row_inches)
            _draw_dots(ax, place, row, style=style, row_inches=row_inches)
        down += _TITLE_INCHES + row_inches * count + _GAP_INCHES
    return sheet.figure


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A level with its bags that count by grams, and how many dots lie under each."""

    level: LevelYield
    bags: tuple[tuple[float, Standing], ...]
    steps: tuple[int, ...]


def _place_dots(yields: Yields, level: LevelYield, gap_g: float) -> _Row:
    bags = [
        (one.compared_g, one.standing)
        for one in yields.bags
        if one.compared_g is not None
        and (one.bag.strain, one.bag.treatment) == (level.strain, level.treatment)
    ]
    bags.sort(key=lambda bag: bag[0])
    steps = stack_dots([grams for grams, _ in bags], gap_g)
    return _Row(level=level, bags=tuple(bags), steps=tuple(steps))


def _stack_inches(row: _Row) -> float:
    return min(_HIGHEST_STACK_INCHES, _DOT_INCHES * (1 + max(row.steps, default=0)))


def _most_g(yields: Yields) -> float:
    """Right end of the axis: what the best bag gave, and the widest interval."""
    ends = [one.compared_g for one in yields.bags if one.compared_g is not None]
    ends += [level.grams.high for level in yields.levels if level.grams and level.grams.high is not None]
    return 1.05 * max(ends, default=0.0) or 1.0


def _dress(ax: Axes, rows: int, *, most_g: float, last: bool) -> None:
    from matplotlib.ticker import MaxNLocator

    ax.set_xlim(0, most_g)
    ax.set_ylim(rows - 0.5, -0.5)
    ax.xaxis.set_major_locator(MaxNLocator(nbins=5, steps=[1, 2, 2.5, 5, 10]))
    ax.set_yticks([])
    ax.spines[["top", "right", "left"]].set_visible(False)
    ax.grid(axis="x", color="#dddddd", linewidth=0.7, zorder=0)
    ax.tick_params(labelbottom=last, labelsize=SHEET_POINTS)
    if last:
        ax.set_xlabel("g fresh per bag spawned", fontsize=SHEET_POINTS)


def _draw_level(ax: Axes, place: int, level: LevelYield, *, style: LineStyle, row_inches: float) -> None:
    """A level's name, its mean with the interval, and both in words."""
    across = ax.get_yaxis_transform()
    ax.text(
        -0.05, place, fold_name(level.treatment), transform=across, ha="right", va="center",
        fontsize=SHEET_POINTS, gid="level",
    )  # fmt: skip
    ax.text(
        1.05, place, "\n".join(_say(level)), transform=across, ha="left", va="center",
        fontsize=SHEET_POINTS, linespacing=1.2, gid="said",
    )  # fmt: skip
    if level.grams is None:
        return
    down = place + 0.5 - _MEAN_INCHES / row_inches
    if level.grams.low is not None and level.grams.high is not None:
        ax.plot([max(0.0, level.grams.low), level.grams.high], [down, down], color=(*style.colour, 0.45),
                linewidth=5, solid_capstyle="butt", zorder=2, gid="interval")  # fmt: skip
    ax.plot(level.grams.value, down, marker="|", markersize=13, markeredgewidth=2.4, color=style.colour,
            zorder=3, clip_on=False, gid="mean")  # fmt: skip


def _draw_dots(ax: Axes, place: int, row: _Row, *, style: LineStyle, row_inches: float) -> None:
    """A dot a bag, those that gave about the same one above the other, over the level's mean."""
    step_inches = _stack_inches(row) / (1 + max(row.steps, default=0))
    for (grams, standing), step in zip(row.bags, row.steps, strict=True):
        up = _MEAN_INCHES + 0.14 + step * step_inches
        at = place + 0.5 - up / row_inches
        ax.plot(grams, at, linestyle="none", clip_on=False, zorder=4, gid="bag", **_dot(standing, style))


def _dot(standing: Standing, style: LineStyle) -> dict[str, Any]:
    if standing is Standing.LOST:
        return {"marker": "x", "markersize": 6.5, "markeredgewidth": 1.8, "color": _INK}
    hollow = standing is Standing.NOTHING
    return {
        "marker": style.marker,
        "markersize": 6.5,
        "markerfacecolor": "white" if hollow else style.colour,
        "markeredgecolor": style.colour if hollow else "white",
        "markeredgewidth": 1.2 if hollow else 0.6,
    }


def _say(level: LevelYield) -> tuple[str, str]:
    """The mean with its interval, and how many bags."""
    counted = [count_of(level.counted, "bag")]
    lost = level.standings.get(Standing.LOST, 0)
    waiting = level.standings.get(Standing.NOT_YET, 0)
    counted += [f"{lost} lost"] if lost else []
    counted += [f"{waiting} to come"] if waiting else []
    if level.grams is None:
        return "nothing to compare yet", ", ".join(counted)
    mean = f"{level.grams.value:.0f} g"
    if level.grams.low is not None and level.grams.high is not None:
        mean += f" ({max(0.0, level.grams.low):.0f} to {level.grams.high:.0f})"
    return mean, ", ".join(counted)


def _handles(yields: Yields) -> list[Artist]:
    from matplotlib.lines import Line2D

    standings = {one.standing for one in yields.bags if one.compared_g is not None}
    handles: list[Artist] = [
        Line2D([], [], linestyle="none", marker="o", markersize=6.5, color=QUIET, label="a bag"),
        Line2D([], [], linestyle="none", marker="x", markersize=6.5, markeredgewidth=1.8, color=_INK,
               label="a lost bag"),
        Line2D([], [], linestyle="none", marker="o", markersize=6.5, markerfacecolor="white",
               markeredgecolor=QUIET, label="no harvest"),
        Line2D([], [], linestyle="none", marker="|", markersize=13, markeredgewidth=2.4, color=QUIET,
               label="mean of all, 90 %"),
    ]  # fmt: skip
    shown = (
        bool(standings & {Standing.HARVESTED, Standing.SPENT}), Standing.LOST in standings,
        Standing.NOTHING in standings, True,
    )  # fmt: skip
    return [handle for handle, there in zip(handles, shown, strict=True) if there]


def _note(yields: Yields) -> str:
    counted = [one.bag for one in yields.bags if one.compared_g is not None]
    waiting = len(yields.bags) - len(counted)
    return (
        f"Compared: {yields.basis.words}; {count_bags(counted)}"
        + (
            f", and {count_runs(waiting, 0)} not counted (not so far yet, or left the trial)"
            if waiting
            else ""
        )
        + ". The mean is of all bags spawned that count, a lost bag with what it gave before, mostly nothing;"
        " bar: its 90 % interval over bags."
    )
