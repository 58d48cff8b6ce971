"""Rows as text: an aligned table for eyes, CSV and JSON for programs."""

from __future__ import annotations

import json
import re
import textwrap
import unicodedata
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from colscan.records import format_record
from colscan.tables import Column, format_cell

Cell = str | int | float | datetime | None
TABLE_WIDTH = 110
"""Columns of a terminal that a table keeps to, as far as its cells let it."""
LAST_WIDTH = 24
"""The last column is wrapped to what is left of the width; below this it goes under its row."""
_UNDER = " " * 4
_GAP, _NARROW_GAP = "  ", " "
_CRUMB = 6
"""Letters that stay together where nothing but breaking words fits a table to its screen."""
_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")
_LETTERS = re.compile(r"[^\W\d_]")
_BOLD, _PLAIN = "\x1b[1m", "\x1b[0m"
_TEXT = Column(kind="text", meaning="Any text.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """What a table is shown on.

    Parameters
    ----------
    width : int
        Columns of text that it has.
    bold : bool
        Whether it shows bold letters: they mark header and `strong` cells, for every kind of eyes.
    """

    width: int = TABLE_WIDTH
    bold: bool = False


PIPE = Screen()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Grid:
    """The columns of a table: their widths, which stand to the right, whether the last one is left out."""

    widths: tuple[int, ...]
    right: tuple[bool, ...]
    gap: str = _GAP
    last_under: bool = False


def render_rows(
    header: Sequence[str],
    rows: Sequence[Sequence[Cell]],
    output_format: str,
    *,
    screen: Screen = PIPE,
    strong: Collection[str] = (),
) -> str:
    """Return rows as the text of a table, of CSV or of JSON, with a newline at its end.

    In a table numbers stand to the right, and the header's words and the last column's text are wrapped.
    Where that isn't enough for the screen, the widest texts are wrapped too, and the last column goes under
    its row. JSON is ``{"schema": 1, "rows": [{column: value}]}``.

    Parameters
    ----------
    header : sequence of str
        Names of the columns.
    rows : sequence of sequences
        Cells: text, numbers, aware times, or None for not known.
    output_format : str
        `table`, `csv` or `json`.
    screen : Screen
        What a table is shown on.
    strong : collection of str
        Cells of a table that are marked where they say just this.
    """
    if output_format == "json":
        return _render_json(header, rows)
    if output_format == "csv":
        return _render_csv(header, rows)
    return _render_table(header, rows, screen=screen, strong=strong)


def _render_json(header: Sequence[str], rows: Sequence[Sequence[Cell]]) -> str:
    records = [
        {
            name: cell.isoformat() if isinstance(cell, datetime) else cell
            for name, cell in zip(header, row, strict=True)
        }
        for row in rows
    ]
    return json.dumps({"schema": 1, "rows": records}, ensure_ascii=False, indent=1) + "\n"


def _render_csv(header: Sequence[str], rows: Sequence[Sequence[Cell]]) -> str:
    # Text from people may begin like a formula; format_cell guards it as in the ledger's files.
    cells = ([format_cell(_TEXT, c) if isinstance(c, str) else _plain(c) for c in row] for row in rows)
    return b"".join(map(format_record, (header, *cells))).decode()


def _plain(cell: Cell) -> str:
    if cell is None:
        return ""
    return cell.isoformat() if isinstance(cell, datetime) else str(cell)


def _render_table(
    header: Sequence[str], rows: Sequence[Sequence[Cell]], *, screen: Screen, strong: Collection[str]
) -> str:
    cells = [[_one_line(_plain(cell)) for cell in row] for row in rows]
    grid = _plan_grid(header, cells, screen.width)
    inside = slice(len(grid.widths))
    marks = (_BOLD, _PLAIN) if screen.bold else ("", "")
    lines = [
        _join_line(line, grid, [marks] * len(line)) for line in _wrap_header(header[inside], grid.widths)
    ]
    if grid.last_under:
        lines.append(_UNDER + header[-1].join(marks))
    lines.append(grid.gap.join("-" * width for width in grid.widths))
    for row in cells:
        marked = [marks if cell in strong else ("", "") for cell in row]
        parts = [_wrap_cell(cell, width) for cell, width in zip(row[inside], grid.widths, strict=True)]
        depth = max(map(len, parts))
        padded = [part + [""] * (depth - len(part)) for part in parts]
        lines += [_join_line(line, grid, marked[inside]) for line in zip(*padded, strict=True)]
        if grid.last_under:
            under = screen.width - len(_UNDER)
            lines += [_UNDER + text for text in textwrap.wrap(row[-1], under)]
    return "\n".join(lines) + "\n"


def _plan_grid(header: Sequence[str], cells: Sequence[Sequence[str]], width: int) -> _Grid:
    """The columns' widths on a screen.

    The last column shrinks first, then the texts, none below its longest word; if they still don't fit the
    last one goes under its row; and if that isn't enough either, words are broken, but never numbers.
    """
    # Most cells of a long table say what others say too, and each needs one look.
    columns = [list(dict.fromkeys(some)) for some in zip(*cells, strict=True)] or [[] for _ in header]
    named = list(zip(header, columns, strict=True))
    right = tuple(any(column) and all(_is_number(cell) for cell in column if cell) for column in columns)
    widths = [max(map(_width, [*name.split(), *column])) for name, column in named]
    least = [_least_width(name, column) for name, column in named]
    room = width - len(_GAP) * (len(widths) - 1)
    last = max(least[-1], min(LAST_WIDTH, widths[-1]))
    whole = _shrink(
        [*widths[:-1], min(widths[-1], max(last, room - sum(widths[:-1])))], [*least[:-1], last], room
    )
    if sum(whole) <= room or len(widths) < 2:
        return _Grid(widths=tuple(whole), right=right)
    room = width - len(_GAP) * (len(widths) - 2)
    fitted, gap = _shrink(widths[:-1], least[:-1], room), _GAP
    if sum(fitted) > room:
        gap, room = _NARROW_GAP, width - len(_NARROW_GAP) * (len(widths) - 2)
        fitted = _shrink(widths[:-1], least[:-1], room)
        fitted = _shrink(fitted, [_tight_width(column) for column in columns[:-1]], room)
    return _Grid(widths=tuple(fitted), right=right[:-1], gap=gap, last_under=True)


def _least_width(name: str, column: Sequence[str]) -> int:
    """The width below which a column would break a word, or come between figures that belong together."""
    words = {word for cell in column for word in (cell.split() if _LETTERS.search(cell) else [cell])}
    return max(map(_width, [*name.split(), *words]))


def _tight_width(column: Sequence[str]) -> int:
    """The width below which a column would break a number, or a word into crumbs."""
    words = [word for cell in column for word in cell.split()]
    return max((min(_width(w), _CRUMB) if w.isalpha() else _width(w) for w in words), default=1)


def _shrink(widths: Sequence[int], least: Sequence[int], room: int) -> list[int]:
    """Widths of which the widest were taken from, as far as they may be, until all fit the room."""
    fitted = list(widths)
    while sum(fitted) > room:
        can = [i for i in range(len(fitted)) if fitted[i] > least[i]]
        if not can:
            break
        fitted[max(can, key=lambda i: fitted[i])] -= 1
    return fitted


def _wrap_cell(cell: str, width: int) -> list[str]:
    """Lines of a cell; blanks that line figures up are kept where it fits."""
    if _width(cell) <= width:
        return [cell]
    return textwrap.wrap(cell, width, break_long_words=not _is_number(cell), break_on_hyphens=False) or [""]


def _one_line(text: str) -> str:
    """The text without line ends and the letters that steer a terminal."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() else " " for letter in text)


def _wrap_header(header: Sequence[str], widths: Sequence[int]) -> list[tuple[str, ...]]:
    """Lines of the header, its names standing on the last one."""
    names = [textwrap.wrap(name, width) for name, width in zip(header, widths, strict=True)]
    depth = max(map(len, names))
    return list(zip(*([""] * (depth - len(name)) + name for name in names), strict=True))


def _is_number(cell: str) -> bool:
    return _NUMBER.fullmatch(cell) is not None


def _join_line(cells: Sequence[str], grid: _Grid, marks: Sequence[tuple[str, str]]) -> str:
    padded = []
    for cell, width, at_right, (start, end) in zip(cells, grid.widths, grid.right, marks, strict=True):
        blank = " " * (width - _width(cell))
        shown = f"{start}{cell}{end}" if start and cell.strip() else cell
        padded.append(blank + shown if at_right else shown + blank)
    return grid.gap.join(padded).rstrip()


def _width(text: str) -> int:
    """Columns of a terminal that a text takes: East Asian wide letters two, combining marks none."""
    if text.isascii():
        return len(text)
    wide = sum(unicodedata.east_asian_width(letter) in "WF" for letter in text)
    return len(text) + wide - sum(unicodedata.combining(letter) != 0 for letter in text)
