"""What spreadsheets and editors make of a CSV file that they save, the rows being left alone or not."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable

from colscan.tables import Row, columns_of

Edit = Callable[[bytes, type[Row]], bytes]


def _table(raw: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(raw.decode(), newline="")))


def _save(
    rows: list[list[str]], *, delimiter: str = ",", end: str = "\r\n", quoting: int = csv.QUOTE_MINIMAL
) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter, lineterminator=end, quoting=quoting).writerows(rows)  # type: ignore[arg-type]
    return out.getvalue().encode()


def with_decimal_commas(raw: bytes, row_type: type[Row]) -> list[list[str]]:
    """The cells of a file, its numbers as a country with decimal commas writes them."""
    header, *rows = _table(raw)
    numbers = {name for name, declared in columns_of(row_type).items() if declared.kind == "number"}
    local = [
        [cell.replace(".", ",") if name in numbers else cell for name, cell in zip(header, row, strict=True)]
        for row in rows
    ]
    return [header, *local]


def _shorten_times(raw: bytes, row_type: type[Row]) -> bytes:
    """Without seconds, and with a blank for the T."""
    return re.sub(rb"T(\d\d:\d\d):00(\.0+)?([+-])", rb" \1\3", raw)


def _wider(raw: bytes, row_type: type[Row]) -> bytes:
    """Trailing empty columns and rows, as of a sheet in which more was once filled in."""
    rows = [[*row, "", ""] for row in _table(raw)]
    blank = [""] * len(rows[0])
    return _save([*rows, blank, blank])


KEPT: dict[str, Edit] = {
    "byte order mark": lambda raw, _: b"\xef\xbb\xbf" + raw,
    "CRLF": lambda raw, _: _save(_table(raw)),
    "CR": lambda raw, _: _save(_table(raw), end="\r"),
    "no last line end": lambda raw, _: raw.rstrip(b"\n"),
    "semicolons and decimal commas": lambda raw, row: _save(with_decimal_commas(raw, row), delimiter=";"),
    "semicolons and points": lambda raw, _: _save(_table(raw), delimiter=";"),
    "semicolons, a mark, CR": lambda raw, row: (
        b"\xef\xbb\xbf" + _save(with_decimal_commas(raw, row), delimiter=";", end="\r")
    ),
    "tabs": lambda raw, _: _save(_table(raw), delimiter="\t"),
    "tabs and decimal commas": lambda raw, row: _save(with_decimal_commas(raw, row), delimiter="\t"),
    "columns the other way round": lambda raw, _: _save([row[::-1] for row in _table(raw)]),
    "a column of one's own": lambda raw, _: _save(
        [["mine; or yours", *row] if not at else [f"x;{at}", *row] for at, row in enumerate(_table(raw))]
    ),
    "empty columns and rows": _wider,
    "all quoted": lambda raw, _: _save(_table(raw), quoting=csv.QUOTE_ALL),
    "short times": _shorten_times,
}
"""Edits after which every row means the same."""
