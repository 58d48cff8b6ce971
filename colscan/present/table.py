"""Rows as text: an aligned table for eyes, CSV and JSON for programs."""

from __future__ import annotations

import csv
import io
import json
import re
import textwrap
import unicodedata
from collections.abc import Sequence
from datetime import datetime

from colscan.tables import Column, format_cell

Cell = str | int | float | datetime | None
TABLE_WIDTH = 110
"""Columns of a terminal that a table keeps to, as far as its cells let it."""
LAST_WIDTH = 24
"""The last column is wrapped to what is left of the width, never to less than this."""
_GAP = "  "
_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")
_TEXT = Column(kind="text", meaning="Any text.")


def render_rows(header: Sequence[str], rows: Sequence[Sequence[Cell]], output_format: str) -> str:
    """Return rows as the text of a table, of CSV or of JSON, with a newline at its end.

    In a table the header's words and the last column's text are wrapped, and numbers stand to the right.
    JSON is ``{"schema": 1, "rows": [{column: value}]}``.

    Parameters
    ----------
    header : sequence of str
        Names of the columns.
    rows : sequence of sequences
        Cells: text, numbers, aware times, or None for not known.
    output_format : str
        `table`, `csv` or `json`.
    """
    if output_format == "json":
        return _render_json(header, rows)
    if output_format == "csv":
        return _render_csv(header, rows)
    return _render_table(header, rows)


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
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    for row in rows:
        # Text from people may begin like a formula; format_cell guards it as in the ledger's files.
        writer.writerow([format_cell(_TEXT, cell) if isinstance(cell, str) else _plain(cell) for cell in row])
    return out.getvalue()


def _plain(cell: Cell) -> str:
    if cell is None:
        return ""
    return cell.isoformat() if isinstance(cell, datetime) else str(cell)


def _render_table(header: Sequence[str], rows: Sequence[Sequence[Cell]]) -> str:
    cells = [[_one_line(_plain(cell)) for cell in row] for row in rows]
    columns = [list(column) for column in zip(*cells, strict=True)] if cells else [[] for _ in header]
    widths = [
        max(map(_width, [*name.split(), *column])) for name, column in zip(header, columns, strict=True)
    ]
    taken = sum(widths[:-1]) + len(_GAP) * (len(widths) - 1)
    widths[-1] = min(widths[-1], max(LAST_WIDTH, TABLE_WIDTH - taken))
    right = [any(column) and all(_is_number(cell) for cell in column if cell) for column in columns]
    lines = [_join_line(line, widths, right) for line in _wrap_header(header, widths)]
    lines.append(_GAP.join("-" * width for width in widths))
    for row in cells:
        for i, text in enumerate(textwrap.wrap(row[-1], widths[-1]) or [""]):
            lines.append(_join_line([*([""] * (len(row) - 1) if i else row[:-1]), text], widths, right))
    return "\n".join(lines) + "\n"


def _one_line(text: str) -> str:
    """The text without line ends and the letters that steer a terminal."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def _wrap_header(header: Sequence[str], widths: Sequence[int]) -> list[tuple[str, ...]]:
    """Lines of the header, its names standing on the last one."""
    names = [textwrap.wrap(name, width) for name, width in zip(header, widths, strict=True)]
    depth = max(map(len, names))
    return list(zip(*([""] * (depth - len(name)) + name for name in names), strict=True))


def _is_number(cell: str) -> bool:
    return _NUMBER.fullmatch(cell) is not None


def _join_line(cells: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> str:
    padded = []
    for cell, width, at_right in zip(cells, widths, right, strict=True):
        blank = " " * (width - _width(cell))
        padded.append(blank + cell if at_right else cell + blank)
    return _GAP.join(padded).rstrip()


def _width(text: str) -> int:
    """Columns of a terminal that a text takes: East Asian wide letters two, combining marks none."""
    wide = sum(unicodedata.east_asian_width(letter) in "WF" for letter in text)
    return len(text) + wide - sum(unicodedata.combining(letter) != 0 for letter in text)
