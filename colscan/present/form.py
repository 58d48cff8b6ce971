"""Rows to fill in by hand: tables with blank lines, boxes to tick, fields with a name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from colscan.present.flow import TEXT_MM, Flow
from colscan.present.paper import Page, fit_text, printable, text_width_mm


class Mark(Enum):
    """A cell without a text: a box to tick, or a line to write on."""

    BOX = "box"
    BLANK = "blank"


Cell = str | Mark
ROW_MM, HEAD_MM, FIELDS_MM = 7.5, 5.0, 8.0
"""As high as handwriting needs; a field a little more."""
_BOX_MM = 3.6
_BASE_MM = 5.4
_CELL_SIZES_MM = (TEXT_MM, 3.0, 2.7)
_BOLD_SIZES_MM = (4.2, 3.6, 3.0, 2.7)
_HEAD_SIZE_MM = 2.7
_GAP_MM = 2.0
_RULE_GREY = 0.45


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: its head, its width, and whether its cells are large and bold."""

    head: str
    width_mm: float
    bold: bool = False


def write_table(flow: Flow, columns: Sequence[Column], rows: Sequence[Sequence[Cell]]) -> None:
    """Write rows under the columns' heads, which stand on each page that the rows run on to.

    A text that is too long for its cell is shortened.
    """
    flow.keep(HEAD_MM + ROW_MM)
    _write_heads(flow, columns)
    for row in rows:
        page = flow.page
        flow.keep(ROW_MM)
        if flow.page is not page:
            _write_heads(flow, columns)
        _write_row(flow, columns, row)


def _write_heads(flow: Flow, columns: Sequence[Column]) -> None:
    top = flow.take(HEAD_MM)
    x = flow.left
    for column in columns:
        flow.page.text((x, top + 3.6), column.head, size_mm=_HEAD_SIZE_MM)
        x += column.width_mm
    flow.page.line([(flow.left, top + HEAD_MM), (x, top + HEAD_MM)], width_mm=0.3)


def _write_row(flow: Flow, columns: Sequence[Column], cells: Sequence[Cell]) -> None:
    top = flow.take(ROW_MM)
    x = flow.left
    for column, cell in zip(columns, cells, strict=True):
        if cell is Mark.BOX:
            _draw_box(flow.page, x, top + _BASE_MM)
        elif cell is Mark.BLANK:
            _draw_rule(flow.page, (x, x + column.width_mm - _GAP_MM), top + _BASE_MM + 0.8)
        else:
            sizes = _BOLD_SIZES_MM if column.bold else _CELL_SIZES_MM
            text, size = fit_text(printable(str(cell)), column.width_mm - _GAP_MM, sizes, bold=column.bold)
            flow.page.text((x, top + _BASE_MM), text, size_mm=size, bold=column.bold)
        x += column.width_mm
    flow.page.line([(flow.left, top + ROW_MM), (x, top + ROW_MM)], width_mm=0.1, grey=0.75)


def tick_row(flow: Flow, steps: Sequence[str]) -> None:
    """Write steps side by side, each with a box."""
    top = flow.take(FIELDS_MM)
    x = flow.left
    for step in steps:
        _draw_box(flow.page, x, top + _BASE_MM)
        flow.page.text((x + _BOX_MM + 1.6, top + _BASE_MM), step, size_mm=TEXT_MM)
        x += _BOX_MM + 1.6 + text_width_mm(step, size_mm=TEXT_MM) + 6.0


def field_row(flow: Flow, fields: Sequence[tuple[str, float]]) -> None:
    """Write names side by side, each with a line of so many mm to write on."""
    top = flow.take(FIELDS_MM)
    x = flow.left
    for name, width in fields:
        flow.page.text((x, top + _BASE_MM), name, size_mm=TEXT_MM)
        x += text_width_mm(name, size_mm=TEXT_MM) + 1.5
        _draw_rule(flow.page, (x, x + width), top + _BASE_MM + 0.8)
        x += width + 4.0


def _draw_box(page: Page, left: float, base: float) -> None:
    top, right = base - _BOX_MM + 0.4, left + _BOX_MM
    bottom = base + 0.4
    page.line(
        [(left, top), (right, top), (right, bottom), (left, bottom), (left, top), (right, top)], width_mm=0.3
    )


def _draw_rule(page: Page, span_mm: tuple[float, float], y: float) -> None:
    page.line([(span_mm[0], y), (span_mm[1], y)], width_mm=0.2, grey=_RULE_GREY)
