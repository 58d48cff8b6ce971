"""Tables of faces: bags over days, or bags of one day by level, all in one light and to one scale."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from colscan.photo.model import ImageRGB
from colscan.present.saving import QUIET, ChartFiles, save_figure
from colscan.present.sheet import (
    EDGE_INCHES,
    SHEET_INCHES,
    SHEET_LETTER_INCHES,
    SHEET_LINE_INCHES,
    SHEET_POINTS,
    Sheet,
    begin_sheet,
)
from colscan.present.style import LineStyle, style_treatments
from colscan.trial.model import Trial

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_CELL_INCHES, _SMALL_CELL_INCHES, _LARGEST_CELL_INCHES = 1.3, 0.85, 1.6
_MANY_ROWS = 32
"""From here on pictures are small, or the chart would be longer than anyone scrolls."""
_GAP_INCHES = 0.08
_TITLE_INCHES = 0.32
_SECTION_GAP_INCHES = 0.15
_MARKER_INCHES = 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceCell:
    """A picture, shape (h, w, 3) uint8, and what stands under it."""

    rgb: ImageRGB
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceLine:
    """A row of pictures.

    Parameters
    ----------
    label : str
        What stands at its left, in lines; empty where columns say it all.
    treatment : str or None
        Whose marker stands beside the label.
    cells : tuple of FaceCell or None
        One a column.
    """

    label: str
    treatment: str | None
    cells: tuple[FaceCell | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceSection:
    """The rows of one strain: its title, what the columns are, and whose markers stand over them."""

    title: str
    columns: tuple[str, ...]
    treatments: tuple[str | None, ...]
    lines: tuple[FaceLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceTable:
    """Sections one under the other, and the footnote."""

    sections: tuple[FaceSection, ...]
    note: str


def draw_face_table(trial: Trial, table: FaceTable, *, interim: bool) -> ChartFiles:
    """Return a table of faces as PNG and SVG.

    Parameters
    ----------
    trial : Trial
        Name, question and the looks of its treatments.
    table : FaceTable
        The pictures; each section has a line at least.
    interim : bool
        Whether the trial goes on.
    """
    return save_figure(lambda: make_face_figure(trial, table, interim=interim))


def make_face_figure(trial: Trial, table: FaceTable, *, interim: bool) -> Figure:
    """Return the figure that `draw_face_table` saves, under the settings of all charts.

    Parameters
    ----------
    trial, table, interim
        As `draw_face_table` has them.
    """
    lines = [line for section in table.sections for line in section.lines]
    grid = _plan_grid(table, rows=len(lines))
    sheet = begin_sheet(
        trial,
        body_inches=sum(_section_inches(section, grid) for section in table.sections),
        note=table.note,
        interim=interim,
        width_inches=max(SHEET_INCHES, grid.left + grid.columns * (grid.width + _GAP_INCHES) + EDGE_INCHES),
    )
    styles = style_treatments(trial.bags)
    down = 0.0
    for section in table.sections:
        _draw_section(sheet, section, down, grid, styles)
        down += _section_inches(section, grid)
    return sheet.figure


@dataclass(frozen=True, slots=True, kw_only=True)
class _Grid:
    """Where pictures stand, in inches: from the left, their size, the captions' height; px an inch."""

    left: float
    width: float
    height: float
    caption: float
    columns: int
    px_per_inch: float

    @property
    def line(self) -> float:
        """From the top of one row to that of the next."""
        return self.height + self.caption + _GAP_INCHES

    def fold(self, text: str, marked: bool) -> str:
        """A column's head in lines that don't reach into the next one's."""
        room = self.width - (_MARKER_INCHES if marked else 0.0)
        return "\n".join(textwrap.wrap(text, max(4, int(room / SHEET_LETTER_INCHES))))


def _plan_grid(table: FaceTable, *, rows: int) -> _Grid:
    lines = [line for section in table.sections for line in section.lines]
    pictures = [cell.rgb for line in lines for cell in line.cells if cell is not None]
    captions = [cell.caption for line in lines for cell in line.cells if cell is not None]
    caption_lines = max(1 + caption.count("\n") for caption in captions)
    width_px = max(picture.shape[1] for picture in pictures)
    height_px = max(picture.shape[0] for picture in pictures)
    letters = max(len(text) for line in lines for text in (line.label or " ").splitlines())
    labelled = any(line.label for line in lines)
    label_inches = _MARKER_INCHES + letters * SHEET_LETTER_INCHES + 0.1 if labelled else 0.0
    columns = max(len(section.columns) for section in table.sections)
    room = (SHEET_INCHES - 2 * EDGE_INCHES - label_inches) / columns - _GAP_INCHES
    least = _CELL_INCHES if rows <= _MANY_ROWS else _SMALL_CELL_INCHES
    width = max(least, min(room, _LARGEST_CELL_INCHES))
    return _Grid(
        left=EDGE_INCHES + label_inches,
        width=width,
        height=width * height_px / width_px,
        caption=SHEET_LINE_INCHES * caption_lines + 0.04,
        columns=columns,
        px_per_inch=width_px / width,
    )


def _section_inches(section: FaceSection, grid: _Grid) -> float:
    return _TITLE_INCHES + _head_inches(section, grid) + len(section.lines) * grid.line + _SECTION_GAP_INCHES


def _head_inches(section: FaceSection, grid: _Grid) -> float:
    heads = [grid.fold(text, marked) for text, marked in _heads(section)]
    return SHEET_LINE_INCHES * max(1 + head.count("\n") for head in heads) + 0.06


def _heads(section: FaceSection) -> list[tuple[str, bool]]:
    """What stands over the columns, and whether a marker stands beside it."""
    return [
        (text, treatment is not None)
        for text, treatment in zip(section.columns, section.treatments, strict=True)
    ]


def _draw_section(
    sheet: Sheet, section: FaceSection, down: float, grid: _Grid, styles: dict[str, LineStyle]
) -> None:
    sheet.write(EDGE_INCHES, down, section.title, fontweight="bold", gid="section")
    down += _TITLE_INCHES
    for index, (text, treatment) in enumerate(zip(section.columns, section.treatments, strict=True)):
        left = grid.left + index * (grid.width + _GAP_INCHES)
        if treatment is not None:
            _draw_marker(sheet, left + _MARKER_INCHES / 2, down, styles[treatment])
            left += _MARKER_INCHES
        sheet.write(left, down, grid.fold(text, treatment is not None), linespacing=1.25, gid="column")
    down += _head_inches(section, grid)
    for index, line in enumerate(section.lines):
        _draw_line(sheet, line, down + index * grid.line, grid, styles)


def _draw_line(sheet: Sheet, line: FaceLine, down: float, grid: _Grid, styles: dict[str, LineStyle]) -> None:
    if line.label:
        if line.treatment is not None:
            _draw_marker(sheet, EDGE_INCHES + _MARKER_INCHES / 2, down + 0.1, styles[line.treatment])
        sheet.write(EDGE_INCHES + _MARKER_INCHES, down + 0.1, line.label, linespacing=1.3, gid="label")
    across = grid.columns * (grid.width + _GAP_INCHES) - _GAP_INCHES
    ax = sheet.axes(grid.left, down, (across, grid.height))
    ax.set_axis_off()
    ax.imshow(_side_by_side(line, grid), aspect="auto", interpolation="antialiased")
    for index, cell in enumerate(line.cells):
        if cell is not None:
            left = grid.left + index * (grid.width + _GAP_INCHES) + grid.width / 2
            sheet.write(
                left, down + grid.height + 0.02, cell.caption, ha="center", color=QUIET, gid="caption"
            )


def _side_by_side(line: FaceLine, grid: _Grid) -> ImageRGB:
    """The pictures of a row on white, each standing in the middle of its cell's foot."""
    height, width, step = (
        round(grid.px_per_inch * inches) for inches in (grid.height, grid.width, grid.width + _GAP_INCHES)
    )
    canvas = np.full((height, step * grid.columns - (step - width), 3), 255, np.uint8)
    for index, cell in enumerate(line.cells):
        if cell is not None:
            shown = cell.rgb[:height, :width]
            left = index * step + (width - shown.shape[1]) // 2
            canvas[height - shown.shape[0] :, left : left + shown.shape[1]] = shown
    return canvas


def _draw_marker(sheet: Sheet, left: float, down: float, style: LineStyle) -> None:
    """A treatment's marker beside a line of text whose upper edge is `down`."""
    from matplotlib.lines import Line2D

    width, height = sheet.figure.get_size_inches()
    middle = down + 0.5 * SHEET_POINTS / 72 + 0.01
    sheet.figure.add_artist(
        Line2D(
            [left / width], [1 - (sheet.top + middle) / height], marker=style.marker, markersize=8,
            color=style.colour, markeredgecolor=style.colour, linestyle="none", gid="marker",
        )
    )  # fmt: skip
