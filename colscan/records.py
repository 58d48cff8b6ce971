"""The records of CSV texts, and how a text is written: with commas as we do, or as a spreadsheet saved it."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

_QUOTED = re.compile(r'["\r\n]')
_FIRST_LINE = re.compile(r"[^\r\n]*")
OPEN_QUOTE = "unexpected end of data"
"""What the csv module says of a record that ends inside a quoted cell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """How a CSV file is written: as we do, or as a spreadsheet of another country or system saved it.

    Parameters
    ----------
    delimiter : str
        What stands between cells: a comma, a semicolon or a tab.
    decimal : str
        What numbers have before their decimals; a comma only where the delimiter is none. Lists of points are
        text to a spreadsheet, and keep their decimal points.
    line_end : str
        What ends lines.
    """

    delimiter: str = ","
    decimal: str = "."
    line_end: str = "\n"


OURS = Dialect()


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """The cells of one record of a CSV text, and where it stands.

    Parameters
    ----------
    cells : tuple of str
        Its cells, unquoted; empty when `error` says why there are none.
    number : int
        The line where it begins, from 1.
    start, end : int
        Its characters in the text, line end included.
    error : str
        What is wrong with its quotes; empty for nothing.
    """

    cells: tuple[str, ...]
    number: int
    start: int
    end: int
    error: str = ""


def delimiter_of(text: str) -> str:
    """Return what stands between the cells of a CSV text, by its header: a comma, a semicolon or a tab."""
    header = _FIRST_LINE.match(text)
    return max(",;\t", key=header[0].count) if header else ","  # max gives the comma where none stands


def with_point(number: str) -> str:
    """Return the text of a number that may have a decimal comma with a point instead."""
    return number.replace(",", ".") if number.count(",") == 1 and "." not in number else number


def split_records(text: str) -> Iterator[Record]:
    """Yield the records of a CSV text; the one whose quotes are broken is the last."""
    taken = 0

    def lines() -> Iterator[str]:
        nonlocal taken
        for line in io.StringIO(text, newline=""):
            taken += len(line)
            yield line

    reader = csv.reader(lines(), strict=True, delimiter=delimiter_of(text))
    while True:
        start, number = taken, reader.line_num + 1
        try:
            cells = next(reader, None)
        except csv.Error as error:
            yield Record(cells=(), number=number, start=start, end=taken, error=str(error))
            return
        if cells is None:
            return
        yield Record(cells=tuple(cells), number=number, start=start, end=taken)


def format_record(cells: Iterable[str], dialect: Dialect = OURS) -> bytes:
    """Return cells as one record of CSV bytes, line end included.

    Not by `csv.writer`: before Python 3.13 it leaves a lone carriage return unquoted, which its own
    reader refuses. Half characters of undecodable file names are spelled out, as UTF-8 has none.
    """
    delimiter = dialect.delimiter
    line = delimiter.join(
        '"' + cell.replace('"', '""') + '"' if _QUOTED.search(cell) or delimiter in cell else cell
        for cell in cells
    )
    return (line + dialect.line_end).encode("utf-8", errors="backslashreplace")
