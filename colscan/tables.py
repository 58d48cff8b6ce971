"""CSV files whose columns are declared once, by the dataclass that holds a row.

A row type is a frozen dataclass whose fields are made with `column`. Header,
reader, writer, checker and docs all come from that declaration.
"""

from __future__ import annotations

import csv
import dataclasses
import io
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, ClassVar, Generic, Literal, TypeVar

from colscan.errors import LedgerError, Problem
from colscan.hints import say_how_to_add, say_how_to_write
from colscan.units import parse_sha256, parse_time

Kind = Literal["text", "sha256", "integer", "number", "time", "choice", "words", "points"]
# A leading apostrophe keeps a spreadsheet from running a text as a formula, and this reader from stripping
# its outer blanks. The text's own apostrophes are counted in, so that just one can be taken off again.
_GUARDED = re.compile(r"'*(?:[=+\-@\s]|.*\s\Z)", re.DOTALL)
_QUOTED = re.compile(r'[",\r\n]')
_INTEGER = re.compile(r"[+-]?[0-9]{1,18}\Z")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\Z")
_PLAIN_NUMBERS = re.compile(r"(?:-?[0-9]{1,9}(?:\.[0-9]{1,9})?(?: |\Z))*\Z")
OPEN_QUOTE = "unexpected end of data"
"""What the csv module says of a record that ends inside a quoted cell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """How a column's cells are written and what they mean.

    Parameters
    ----------
    kind : str
        `text`, `sha256` (its beginning is enough), `integer`, `number`, `time` (ISO 8601 with offset),
        `choice` (one of `choices`), `words` (of `choices`, separated by spaces) or `points` (``x y x y
        ...``).
    meaning : str
        One sentence for the docs.
    unit : str
        Unit of the number; empty for none.
    choices : tuple of str
        The allowed words; empty for any.
    low, high : float
        Allowed range of numbers, inclusive.
    decimals : int
        Decimals written for numbers and points.
    """

    kind: Kind
    meaning: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    low: float = -math.inf
    high: float = math.inf
    decimals: int = 2


def column(column: Column, *, default: Any = dataclasses.MISSING) -> Any:
    """Return a dataclass field for a column; a column without default is required."""
    return dataclasses.field(default=default, metadata={"column": column})


class Row:
    """Base of row types; subclasses are frozen dataclasses whose fields are made with `column`."""

    FILE: ClassVar[str]
    __dataclass_fields__: ClassVar[dict[str, dataclasses.Field[Any]]]


R = TypeVar("R", bound=Row)


@dataclass(frozen=True, slots=True)
class Line(Generic[R]):
    """A row and the line of the file where it begins."""

    number: int
    row: R


@dataclass(frozen=True, slots=True)
class Reading(Generic[R]):
    """What a file held: its good rows, and what was wrong with the others."""

    lines: tuple[Line[R], ...]
    problems: tuple[Problem, ...]

    @property
    def rows(self) -> tuple[R, ...]:
        """The rows without their line numbers."""
        return tuple(line.row for line in self.lines)


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


def columns_of(row_type: type[Row]) -> dict[str, Column]:
    """Return the declared columns of a row type, by name, in order."""
    return {f.name: f.metadata["column"] for f in dataclasses.fields(row_type)}


def required_columns(row_type: type[Row]) -> tuple[str, ...]:
    """Return the names of the columns that a file of this row type must have."""
    return tuple(f.name for f in dataclasses.fields(row_type) if f.default is dataclasses.MISSING)


def parse_cell(declared: Column, text: str) -> Any:
    """Return the value of a cell that isn't blank.

    Raises
    ------
    ValueError
        With what is wrong, when the text isn't of the column's kind.
    """
    if declared.kind == "text":
        return text[1:] if text.startswith("'") and _GUARDED.match(text) else text.strip()
    text = text.strip()
    if declared.kind == "sha256":
        return parse_sha256(text)
    if declared.kind == "integer":
        return _in_range(declared, _integer(text))
    if declared.kind == "number":
        return _in_range(declared, _number(text))
    if declared.kind == "time":
        return _time(text)
    if declared.kind == "points":
        return _points(text)
    if declared.kind == "words":
        return tuple(_choice(declared, word) for word in text.split())
    return _choice(declared, text)


def _integer(text: str) -> int:
    if _INTEGER.match(text):
        return int(text)
    msg = f"{text!r} is not a whole number"
    raise ValueError(msg)


def _number(text: str) -> float:
    value = float(text) if _NUMBER.match(text) else math.nan
    if math.isfinite(value):
        return value
    msg = f"{text!r} is not a number (decimals are written with a point)"
    raise ValueError(msg)


def _in_range(declared: Column, value: float) -> float:
    if declared.low <= value <= declared.high:
        return value
    msg = f"{value:g} is outside {declared.low:g} to {declared.high:g} {declared.unit}".rstrip()
    raise ValueError(msg)


def _time(text: str) -> datetime:
    try:
        value = parse_time(text)
    except ValueError:
        msg = f"{text!r} is not a time like 2026-03-02T06:00:00-05:00"
        raise ValueError(msg) from None
    if value.tzinfo is None:
        msg = f"{text!r} has no offset from UTC (like -05:00)"
        raise ValueError(msg)
    return value


def _points(text: str) -> tuple[tuple[float, float], ...]:
    words = text.split()
    # Outlines make most of a ledger's bytes: one look at them all is ten times quicker than one at each.
    numbers = [*map(float, words)] if _PLAIN_NUMBERS.match(text) else [_number(word) for word in words]
    if len(numbers) % 2:
        msg = f"{len(numbers)} numbers are no list of x y pairs"
        raise ValueError(msg)
    return tuple(zip(numbers[::2], numbers[1::2], strict=True))


def _choice(declared: Column, word: str) -> str:
    if not declared.choices:
        return word
    if word in declared.choices:
        return declared.choices[declared.choices.index(word)]  # the member itself where it is an enum's
    msg = f"{word!r} is none of its words"
    raise ValueError(msg)


def format_cell(declared: Column, value: Any) -> str:
    """Return the text of a value as it stands in the file; None is an empty cell."""
    if value is None:
        return ""
    if declared.kind == "integer":
        return str(value)
    if declared.kind == "number":
        return _decimals(value, declared.decimals)
    if declared.kind == "time":
        return str(value.isoformat(timespec="seconds"))
    if declared.kind == "points":
        return " ".join(_decimals(v, declared.decimals) for xy in value for v in xy)
    if declared.kind == "words":
        return " ".join(str(word) for word in value)
    text = str(value)
    return "'" + text if _GUARDED.match(text) else text


def _decimals(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def format_row(row: Row) -> dict[str, str]:
    """Return the cells of a row by column name, as text."""
    return {
        name: format_cell(declared, getattr(row, name)) for name, declared in columns_of(type(row)).items()
    }


def format_record(cells: Iterable[str]) -> bytes:
    """Return cells as one record of CSV bytes, line end included.

    Not by `csv.writer`: before Python 3.13 it leaves a lone carriage return unquoted, which its own
    reader refuses. Half characters of undecodable file names are spelled out, as UTF-8 has none.
    """
    line = ",".join('"' + cell.replace('"', '""') + '"' if _QUOTED.search(cell) else cell for cell in cells)
    return (line + "\n").encode("utf-8", errors="backslashreplace")


def format_rows(rows: Sequence[Row]) -> bytes:
    """Return rows of one type as the bytes of CSV lines, without header."""
    return b"".join(format_record(format_row(row).values()) for row in rows)


def format_header(row_type: type[Row]) -> bytes:
    """Return the header line of a row type's file."""
    return format_record(columns_of(row_type))


def split_records(text: str) -> Iterator[Record]:
    """Yield the records of a CSV text; the one whose quotes are broken is the last."""
    taken = 0

    def lines() -> Iterator[str]:
        nonlocal taken
        for line in io.StringIO(text, newline=""):
            taken += len(line)
            yield line

    reader = csv.reader(lines(), strict=True)
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


def read_bytes(path: Path) -> bytes:
    """Return a file's bytes; none for a missing file.

    Raises
    ------
    LedgerError
        When the file can't be read at all.
    """
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        msg = f"{path}: can't be read ({error.strerror})"
        raise LedgerError(msg, "Check the file's permissions, or close the program that holds it.") from error


def parse_table(raw: bytes, row_type: type[R], *, source: str) -> Reading[R]:
    """Return the rows of CSV bytes and what is wrong in them.

    Extra columns are ignored; columns may stand in any order.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        hint = "Save it as CSV UTF-8."
        return Reading((), (Problem(source=f"{source}:{line}", message="is not UTF-8 text", hint=hint),))
    records = split_records(text)
    head = next(records, None)
    if head is None or not text.strip():
        return Reading((), ())
    header = [name.strip() for name in head.cells]
    if head.error:
        return Reading((), (_csv_problem(head, source),))
    problems = header_problems(header, row_type, source=source)
    if problems:
        return Reading((), tuple(problems))
    parser = _RowParser(header, row_type)
    lines: list[Line[R]] = []
    for record in records:
        if record.error:
            problems.append(_csv_problem(record, source))
            continue
        row, trouble = parser.parse(record.cells, f"{source}:{record.number}")
        problems += trouble
        if row is not None:
            lines.append(Line(record.number, row))
    return Reading(tuple(lines), tuple(problems))


def _csv_problem(record: Record, source: str) -> Problem:
    what = "a quote is opened and never closed" if record.error == OPEN_QUOTE else record.error
    hint = "Mend the quotes of that line, or restore the file from a copy."
    return Problem(source=f"{source}:{record.number}", message=f"is not CSV ({what})", hint=hint)


def header_problems(header: Sequence[str], row_type: type[Row], *, source: str) -> list[Problem]:
    """Return what is wrong with a file's header: columns that are missing or stand twice."""
    if len(header) == 1 and re.search("[;\t]", header[0]):
        message = "the columns are separated by semicolons or tabs"
        return [Problem(source=f"{source}:1", message=message, hint="Save it as CSV with commas.")]
    declared = columns_of(row_type)
    missing = [name for name in required_columns(row_type) if name not in header]
    doubled = [name for name in declared if header.count(name) > 1]
    wrong = [
        *(
            (f"required column {name!r} is missing", say_how_to_add(name, header, declared))
            for name in missing
        ),
        *((f"column {name!r} stands twice", "Keep one of the two.") for name in doubled),
    ]
    return [Problem(source=f"{source}:1", message=message, hint=hint) for message, hint in wrong]


class _RowParser(Generic[R]):
    """Makes rows from cells under one header; what the declaration says is looked up once a file."""

    def __init__(self, header: Sequence[str], row_type: type[R]) -> None:
        self._header = header
        self._row_type = row_type
        self._declared = columns_of(row_type)
        self._required = required_columns(row_type)

    def parse(self, cells: Sequence[str], source: str) -> tuple[R | None, list[Problem]]:
        """Return the row, or None and what is wrong; None alone for a blank line."""
        if not any(cell.strip() for cell in cells):
            return None, []
        if len(cells) != len(self._header):
            message = f"has {len(cells)} cells where the header has {len(self._header)}"
            hint = "Mend the line, or restore the file from a copy."
            return None, [Problem(source=source, message=message, hint=hint)]
        values: dict[str, Any] = {}
        problems = []
        for name, text in zip(self._header, cells, strict=True):
            if name not in self._declared or not text.strip():
                continue
            try:
                values[name] = parse_cell(self._declared[name], text)
            except ValueError as error:
                hint = say_how_to_write(self._declared[name])
                problems.append(Problem(source=source, message=f"{name}: {error}", hint=hint))
        for name in self._required:
            if name not in values and not self._cell_of(name, cells).strip():
                hint = f"Fill in: {self._declared[name].meaning}"
                problems.append(Problem(source=source, message=f"{name} is empty", hint=hint))
        return (None if problems else self._row_type(**values)), problems

    def _cell_of(self, name: str, cells: Sequence[str]) -> str:
        return cells[self._header.index(name)]
