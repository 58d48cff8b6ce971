"""The ends of the ledger's files after a crash: which record is torn, and cutting it off.

A crash can leave one torn record at the end of a file. It is told from a last
line that an editor left without line end by being no whole row, and from a
quote opened by hand by having swallowed no whole row.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from colscan.disk import write_bytes
from colscan.errors import LedgerError
from colscan.records import OPEN_QUOTE, Record, split_records, with_point
from colscan.tables import (
    Reading,
    Row,
    columns_of,
    dialect_of,
    format_cell,
    parse_cell,
    parse_table,
    read_bytes,
)

BOM = b"\xef\xbb\xbf"
LINE_ENDS = (b"\n", b"\r")
R = TypeVar("R", bound=Row)


@dataclass(frozen=True, slots=True)
class RawRecord:
    """A record with its own bytes, for what is to be kept exactly as it stands."""

    cells: tuple[str, ...]
    raw: bytes


def raw_records(raw: bytes, *, source: str) -> Iterator[RawRecord]:
    """Yield the records of CSV bytes, header first; cells that are no UTF-8 keep their bytes' values.

    Raises
    ------
    LedgerError
        When the quotes of a record are broken.
    """
    text = _as_text(raw)
    for record in split_records(text):
        if record.error:
            msg = f"{source}:{record.number}: is not CSV ({record.error})."
            raise LedgerError(msg, "Mend the quotes of that line, or restore the file from a copy.")
        cells = tuple(cell.encode("latin-1").decode("utf-8", errors="replace") for cell in record.cells)
        yield RawRecord(cells, text[record.start : record.end].encode("latin-1"))


def _as_text(raw: bytes) -> str:
    """One character a byte: CSV's own marks are ASCII, so records split alike, at places that are bytes."""
    return raw.removeprefix(BOM).decode("latin-1")


def mend_tail(path: Path, row_type: type[Row]) -> None:
    """Cut a torn record off a file's end, and end its last line.

    Raises
    ------
    LedgerError
        When a quote is broken elsewhere, which would swallow what is appended; or when it isn't UTF-8.
    OSError
        When the file can't be written.
    """
    raw = read_bytes(path)
    length = whole_length(raw, row_type)
    try:
        raw[:length].decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        msg = f"{path}:{line}: is not UTF-8 text."
        raise LedgerError(msg, "Save it as CSV UTF-8.") from None
    for _ in raw_records(raw[:length], source=str(path)):
        pass
    if length < len(raw):
        os.truncate(path, length)
    elif raw and not raw.endswith(LINE_ENDS):
        write_bytes(path, dialect_of(raw, row_type).line_end.encode(), os.O_APPEND)


def whole_length(raw: bytes, row_type: type[Row]) -> int:
    """Return how many of a file's bytes come before a torn record at its end; all, where none is."""
    text = _as_text(raw)
    header = last = None
    for last in split_records(text):
        header = header or last
    if header is None or last is None or not _is_torn(header, last, text=text, row_type=row_type):
        return len(raw)
    return len(raw) - (len(text) - last.start)


def _is_torn(header: Record, last: Record, *, text: str, row_type: type[Row]) -> bool:
    lines = text[last.start :].encode("latin-1").splitlines(keepends=True)
    if last is header:
        ended = not last.error and lines[-1].endswith(LINE_ENDS)
        return not ended and not set(columns_of(row_type)) <= {name.strip() for name in last.cells}
    head = text[: header.end].encode("latin-1")
    if last.error:
        # A quote opened by hand swallows whole rows; a write cut short never does.
        swallowed = (parse_table(head + line, row_type, source="").rows for line in lines[1:])
        return last.error == OPEN_QUOTE and not any(swallowed)
    return not lines[-1].endswith(LINE_ENDS) and not _is_whole_row(head, lines, row_type)


def _is_whole_row(head: bytes, lines: Sequence[bytes], row_type: type[Row]) -> bool:
    """Whether a line without line end is a row, its last cell written as we write it ('-05' is cut short)."""
    reading = parse_table(head + b"".join(lines), row_type, source="")
    if reading.problems or not reading.rows:
        return False
    names, cells = (record.cells for record in raw_records(head + b"".join(lines), source=""))
    declared = columns_of(row_type).get(names[-1].strip())
    text = cells[-1]
    if declared is not None and declared.kind == "number":
        text = with_point(text)
    return declared is None or not text or format_cell(declared, parse_cell(declared, text)) == text


def read_whole(path: Path, row_type: type[R]) -> tuple[Reading[R], int]:
    """Return what a file holds without a torn record at its end, and how many bytes that record has.

    Raises
    ------
    LedgerError
        When the file can't be read at all.
    """
    raw = read_bytes(path)
    reading = parse_table(raw, row_type, source=path.name)
    if not reading.problems and raw.endswith(b"\n"):
        return reading, 0
    length = whole_length(raw, row_type)
    return parse_table(raw[:length], row_type, source=path.name), len(raw) - length
