"""A file of the scan as columns: where each row stands in it, and what figures and sorting need of it.

Rows themselves are read from the file, by the parser that reads every file, when somebody asks for them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, BinaryIO, cast

import numpy as np
from numpy.typing import NDArray

from colscan.errors import LedgerError, Problem
from colscan.hints import as_typed
from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.ledger.plain import NOT_PLAIN, Lines, Mask, check_points, cut_lines, read_numbers, read_words
from colscan.ledger.tails import BOM, LINE_ENDS, raw_records, whole_length
from colscan.records import OPEN_QUOTE, delimiter_of
from colscan.tables import (
    Column,
    Row,
    columns_of,
    header_problems,
    parse_cell,
    parse_table,
    required_columns,
)
from colscan.units import in_microseconds

TAKEN_TEXT = "taken_at as written"
"""Beside the time itself, as that has lost the offset from UTC."""
KEPT: dict[type[Row], tuple[str, ...]] = {
    PhotoRow: (
        "photo_sha256", "taken_at", "taken_at_from", "camera", "problems", "burst", "method", "scanned_at",
    ),
    ScoreRow: (
        "photo", "photo_sha256", "taken_at", TAKEN_TEXT, "bag", "segment", "coverage_pct",
        "coverage_low_pct", "coverage_high_pct", "density_pct", "flags", "method", "scanned_at",
    ),
    SuspectRow: (
        "photo_sha256", "taken_at", "bag", "patch", "kind", "area_mm2", "area_pct", "first_seen_at", "flags",
        "method",
    ),
}  # fmt: skip
"""The columns that are kept; all are checked."""
BLOCK_BYTES = 4 << 20
LONGEST_BYTES = 16 << 20
"""No record is longer: what doesn't end by then has a quote that somebody opened by hand."""
NO_TIME = -(1 << 62)
NOTHING = -1
"""The code of an empty cell."""
_ODD = -2


class NotTabledError(Exception):
    """A file has something in it that only the reader of whole files can judge."""


@dataclass(slots=True)
class Words:
    """Texts by a number of their own."""

    texts: list[str] = field(default_factory=list)
    codes: dict[str, int] = field(default_factory=dict)

    def code(self, text: str) -> int:
        """Return a text's number; a new one for a new text."""
        known = self.codes.get(text)
        if known is None:
            known = self.codes[text] = len(self.texts)
            self.texts.append(text)
        return known


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """A file's rows as columns, in its own order.

    Parameters
    ----------
    row_type : type of Row
        Whose file.
    header : bytes
        Its header line.
    covered : int
        The bytes that were read: up to the last line end, or to the end where the last line lacks its own.
    lines : int
        Line ends in them.
    starts, lengths : ndarray, shape (N,)
        Where each row stands in the file, bytes.
    columns : dict of str to ndarray, shape (N,)
        The kept columns: codes of `Words` (NOTHING for empty), numbers (NaN), microseconds (NO_TIME).
    """

    row_type: type[Row]
    header: bytes
    covered: int
    lines: int
    starts: NDArray[np.int64]
    lengths: NDArray[np.int32]
    columns: dict[str, NDArray[Any]]

    def __len__(self) -> int:
        return len(self.starts)

    def arrays(self) -> list[NDArray[Any]]:
        """Return all of it, in a fixed order."""
        return [self.starts, self.lengths, *self.columns.values()]


def empty_table(row_type: type[Row]) -> Table:
    """Return the columns of a file that isn't there."""
    declared = columns_of(row_type)
    columns = {name: np.zeros(0, dtype_of(declared.get(name))) for name in KEPT[row_type]}
    return Table(
        row_type=row_type, header=b"", covered=0, lines=0, starts=np.zeros(0, np.int64),
        lengths=np.zeros(0, np.int32), columns=columns,
    )  # fmt: skip


def dtype_of(declared: Column | None) -> type[np.int64 | np.int32 | np.float64]:
    """Return how a kept column's values are held; None for `TAKEN_TEXT`."""
    if declared is None:
        return np.int32
    if declared.kind == "time":
        return np.int64
    return np.float64 if declared.kind in ("number", "integer") else np.int32


def read_table(path: Path, table: Table, words: Words) -> Table:
    """Return a file's columns, those that were read before and what has come behind them.

    Parameters
    ----------
    path : Path
        The file.
    table : Table
        What was read of it before; an empty one for nothing.
    words : Words
        Filled with its texts.

    Raises
    ------
    NotTabledError
        When only the reader of whole files can judge it.
    LedgerError
        When it holds a line that is no row, or can't be read.
    """
    try:
        with path.open("rb") as file:
            return _Reader(path, file, table, words).read()
    except FileNotFoundError:
        return empty_table(table.row_type)
    except OSError as error:
        msg = f"{path}: can't be read ({error.strerror})"
        raise LedgerError(msg, "Check the file's permissions, or close the program that holds it.") from error


def refuse(path: Path, problem: Problem) -> LedgerError:
    """Return the error that says what is wrong with a file of the ledger."""
    msg = f"{path.parent / problem.source}: {problem.message}."
    folder = as_typed(path.parent)
    return LedgerError(msg, f"{problem.hint} `colscan check {folder}` lists all that is wrong.")


class _Reader:
    """Reads one file, block by block."""

    def __init__(self, path: Path, file: BinaryIO, table: Table, words: Words) -> None:
        self._path, self._file, self._table, self._words = path, file, table, words
        self._type = table.row_type
        self._declared = columns_of(self._type)
        self._required = set(required_columns(self._type))
        self._header = table.header or self._read_header()
        text = self._header.removeprefix(BOM).decode("utf-8")
        self._names = [name.strip() for name in text.rstrip("\n").split(",")]
        self._codes = {name: cache(self._coder(name)) for name in self._names if name in self._declared}
        self._lines = table.lines or 1
        self._parts: list[tuple[NDArray[Any], ...]] = []

    def _read_header(self) -> bytes:
        header = self._file.readline()
        if NOT_PLAIN.search(header) or not header.endswith(b"\n"):
            raise NotTabledError
        try:
            text = header.removeprefix(BOM).decode("utf-8")
        except UnicodeDecodeError:
            raise NotTabledError from None
        names = [name.strip() for name in text.split(",")]
        if delimiter_of(text) != "," or header_problems(names, self._type, source="") or len(names) < 2:
            raise NotTabledError
        return header

    def read(self) -> Table:
        at = self._table.covered or len(self._header)
        self._file.seek(at)
        for block in self._blocks():
            self._take(block, at)
            at += len(block)
            self._lines += block.count(b"\n")
        base = self._table
        names = KEPT[self._type]
        kinds = (np.int64, np.int32, *(dtype_of(self._declared.get(name)) for name in names))
        olds = (base.starts, base.lengths, *(base.columns[name] for name in names))
        joined: list[NDArray[Any]] = [
            np.concatenate([old, *(part[i] for part in self._parts)]).astype(kind, copy=False)
            for i, (old, kind) in enumerate(zip(olds, kinds, strict=True))
        ]
        return Table(
            row_type=self._type, header=self._header, covered=at, lines=self._lines, starts=joined[0],
            lengths=joined[1], columns=dict(zip(names, joined[2:], strict=True)),
        )  # fmt: skip

    def _blocks(self) -> Iterator[bytes]:
        """Whole records; at the file's end without one that is torn."""
        held = b""
        while more := self._file.read(BLOCK_BYTES):
            held += more
            cut = held.rfind(b"\n") + 1
            while cut and held.count(b'"', 0, cut) % 2:  # inside a quoted cell
                cut = held.rfind(b"\n", 0, cut - 1) + 1
            if cut:
                yield held[:cut]
            held = held[cut:]
            if len(held) > LONGEST_BYTES:
                raise NotTabledError
        if NOT_PLAIN.search(held):
            raise NotTabledError
        length = whole_length(self._header + held, self._type) - len(self._header) if held else 0
        if length > 0:
            yield held[:length]

    def _take(self, block: bytes, at: int) -> None:
        try:
            block.decode("utf-8")
        except UnicodeDecodeError:
            raise NotTabledError from None
        if NOT_PLAIN.search(block):
            self._parts.append(self._read_quoted(block, at))
            return
        ended = block if block.endswith(LINE_ENDS) else block + b"\n"
        lines = cut_lines(ended, len(self._names))
        values, read = self._read_plain(lines)
        plain = np.zeros(len(lines.starts), bool)
        plain[np.flatnonzero(lines.whole)[read]] = True
        lengths = np.minimum(lines.ends + 1, len(block)) - lines.starts
        part = (lines.starts[plain] + at, lengths[plain], *(value[read] for value in values))
        odd = np.flatnonzero(~plain)
        if odd.size:
            others = self._read_odd(lines, lengths, odd, at)
            joined = [np.concatenate(pair) for pair in zip(part, others, strict=True)]
            order = np.argsort(joined[0], kind="stable")
            part = tuple(array[order] for array in joined)
        self._parts.append(part)

    def _read_plain(self, lines: Lines) -> tuple[list[NDArray[Any]], Mask]:
        """The kept columns of the whole lines, and which of these lines stand as we write them."""
        read = np.ones(len(lines.cuts), bool)
        found: dict[str, NDArray[Any]] = {}
        for index, name in enumerate(self._names):
            declared = self._declared.get(name)
            if declared is None or not len(read):
                continue
            starts, ends = lines.cell(index)
            if name in self._required:
                read &= ends > starts
            if declared.kind in ("integer", "number"):
                found[name], ok = read_numbers(lines.raw, starts, ends, declared)
                read &= ok
            elif declared.kind == "points":
                read &= check_points(lines.raw, starts, ends)
            else:
                found[name] = read_words(lines.raw, starts, ends, self._codes[name])
                read &= found[name] != _ODD
            if name == "taken_at" and TAKEN_TEXT in KEPT[self._type]:
                found[TAKEN_TEXT] = read_words(lines.raw, starts, ends, self._text_code)
        # A column that the file lacks has its default; no line of a block may be whole.
        return [
            found[name] if name in found else np.full(len(read), self._missing(name))
            for name in KEPT[self._type]
        ], read

    def _missing(self, name: str) -> float:
        if name == TAKEN_TEXT:
            return NOTHING
        field_ = self._type.__dataclass_fields__[name]
        kind = self._declared[name].kind
        if kind in ("integer", "number"):
            return float(field_.default) if isinstance(field_.default, int | float) else np.nan
        return NO_TIME if kind == "time" else NOTHING

    def _coder(self, name: str) -> Any:
        """What gives a cell's code: its own number for a text, microseconds for a time."""
        declared, required = self._declared[name], name in self._required
        empty = NO_TIME if declared.kind == "time" else NOTHING

        def code_of(cell: bytes) -> int:
            text = cell.decode("utf-8")
            if not text.strip():
                return _ODD if required else empty
            try:
                return self._code(declared, parse_cell(declared, text))
            except ValueError:
                return _ODD

        return code_of

    def _text_code(self, cell: bytes) -> int:
        return self._words.code(cell.decode("utf-8").strip())

    def _code(self, declared: Column, value: Any) -> int:
        if declared.kind == "time":
            return in_microseconds(value)
        return self._words.code(" ".join(value) if declared.kind == "words" else str(value))

    def _read_odd(
        self, lines: Lines, lengths: NDArray[np.int64], odd: NDArray[np.intp], at: int
    ) -> tuple[NDArray[Any], ...]:
        """Lines that look different, by the other parser."""
        raw = [lines.raw[lines.starts[i] : lines.ends[i] + 1] for i in odd]
        reading = parse_table(self._header + b"".join(raw), self._type, source="")
        if reading.problems:
            number = int(reading.problems[0].source.removeprefix(":"))
            self._refuse(reading.problems[0], self._lines + int(odd[number - 2]) + 1)
        kept = [(odd[line.number - 2], line.row) for line in reading.lines]
        places = np.array([i for i, _ in kept], np.int64)
        return self._columns([row for _, row in kept], lines.starts[places] + at, lengths[places])

    def _read_quoted(self, block: bytes, at: int) -> tuple[NDArray[Any], ...]:
        """A block with quotes, by the other parser."""
        if b"\r" in block or b"\0" in block:
            raise NotTabledError
        reading = parse_table(self._header + block, self._type, source="")
        if reading.problems:
            problem = reading.problems[0]
            if OPEN_QUOTE in problem.message or "quote" in problem.message:
                raise NotTabledError
            self._refuse(problem, self._lines + int(problem.source.removeprefix(":")) - 1)
        places: dict[int, tuple[int, int]] = {}
        number, start = 1, -len(self._header)
        for record in raw_records(self._header + block, source=str(self._path)):
            places[number] = (start, len(record.raw))
            number += record.raw.count(b"\n")
            start += len(record.raw)
        found = np.array([places[line.number] for line in reading.lines], np.int64).reshape(-1, 2)
        return self._columns(reading.rows, found[:, 0] + at, found[:, 1])

    def _refuse(self, problem: Problem, number: int) -> None:
        source = f"{self._path.name}:{number}"
        raise refuse(self._path, Problem(source=source, message=problem.message, hint=problem.hint))

    def _columns(
        self, rows: Sequence[Row], starts: NDArray[np.int64], lengths: NDArray[np.int64]
    ) -> tuple[NDArray[Any], ...]:
        return starts, lengths, *(self._column(name, rows) for name in KEPT[self._type])

    def _column(self, name: str, rows: Sequence[Row]) -> NDArray[Any]:
        if name == TAKEN_TEXT:
            return np.array([self._words.code(cast("ScoreRow", row).taken_at.isoformat()) for row in rows])
        declared = self._declared[name]
        values = [getattr(row, name) for row in rows]
        if declared.kind in ("integer", "number"):
            return np.array([np.nan if value is None else value for value in values], np.float64)
        empty = NO_TIME if declared.kind == "time" else NOTHING
        codes = [empty if value is None or value == () else self._code(declared, value) for value in values]
        return np.array(codes, np.int64)
