"""CSV files whose columns are declared once, by the dataclass that holds a row.

A row type is a frozen dataclass whose fields are made with `column`. Header,
reader, writer, checker and docs all come from that declaration.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, ClassVar, Generic, Literal, TypeVar

from colscan.errors import LedgerError, Problem
from colscan.hints import say_how_to_add, say_how_to_write
from colscan.records import (
    OPEN_QUOTE,
    Dialect,
    Record,
    delimiter_of,
    format_record,
    split_records,
    with_point,
)
from colscan.units import parse_sha256, parse_time

Kind = Literal["text", "sha256", "integer", "number", "time", "choice", "words", "points"]
# A leading apostrophe keeps a spreadsheet from running a text as a formula, and this reader from stripping
# its outer blanks. The text's own apostrophes are counted in, so that just one can be taken off again.
_GUARDED = re.compile(r"'*(?:[=+\-@\s]|.*\s\Z)", re.DOTALL)
_INTEGER = re.compile(r"[+-]?[0-9]{1,18}\Z")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\Z")
_PLAIN_NUMBERS = re.compile(r"(?:-?[0-9]{1,9}(?:\.[0-9]{1,9})?(?: |\Z))*\Z")
# What a spreadsheet makes of a code like 12e45 or of a long row of digits, when it saves it.
_MANGLED = re.compile(r"[0-9](?:[.,][0-9]+)?E\+[0-9]+\Z")


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
    is_code : bool
        Whether a text is a name made of letters and digits: then a number with an exponent is none.
    """

    kind: Kind
    meaning: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    low: float = -math.inf
    high: float = math.inf
    decimals: int = 2
    is_code: bool = False


def column(column: Column, *, default: Any = dataclasses.MISSING) -> Any:
    """Return a dataclass field for a column; a column without default is required."""
    return dataclasses.field(default=default, metadata={"column": column})


class Row:
    """Base of row types; subclasses are frozen dataclasses whose fields are made with `column`."""

    FILE: ClassVar[str]
    __dataclass_fields__: ClassVar[dict[str, dataclasses.Field[Any]]]


R = TypeVar("R", bound=Row)
_COLUMNS: dict[type[Row], Mapping[str, Column]] = {}


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


def columns_of(row_type: type[Row]) -> Mapping[str, Column]:
    """Return the declared columns of a row type, by name, in order."""
    if row_type not in _COLUMNS:
        _COLUMNS[row_type] = {f.name: f.metadata["column"] for f in dataclasses.fields(row_type)}
    return _COLUMNS[row_type]


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
    if declared.is_code and _MANGLED.match(text.strip()):
        msg = f"{text.strip()!r} is what a spreadsheet made of a code of digits"
        raise ValueError(msg)
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


def format_rows(rows: Sequence[Row]) -> bytes:
    """Return rows of one type as the bytes of CSV lines, without header."""
    return b"".join(format_record(format_row(row).values()) for row in rows)


def format_header(row_type: type[Row]) -> bytes:
    """Return the header line of a row type's file."""
    return format_record(columns_of(row_type))


def dialect_of(raw: bytes, row_type: type[Row]) -> Dialect:
    """Return how the bytes of a row type's file are written.

    A file with semicolons and no decimals at all is taken to have commas: they are why it has semicolons.
    """
    text = raw.decode("utf-8-sig", errors="replace")
    line_end = next((end for end in ("\r\n", "\n", "\r") if end in text), "\n")
    delimiter = delimiter_of(text)
    if delimiter == ",":
        return Dialect(line_end=line_end)
    records = split_records(text)
    header = [name.strip() for name in next(records).cells]
    declared = columns_of(row_type)
    places = [at for at, name in enumerate(header) if name in declared and declared[name].kind == "number"]
    numbers = [cells[at] for _, cells in ((r, r.cells) for r in records) for at in places if at < len(cells)]
    marks = {mark for mark in ",." if any(mark in number for number in numbers)}
    decimal = "," if "," in marks or (delimiter == ";" and not marks) else "."
    return Dialect(delimiter=delimiter, decimal=decimal, line_end=line_end)


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

    Extra columns are ignored; columns may stand in any order. Semicolons or tabs may stand between them, and
    numbers may then have decimal commas, all of them.
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
    parser = _RowParser(header, row_type, delimiter=delimiter_of(text))
    lines: list[Line[R]] = []
    for record in records:
        if record.error:
            problems.append(_csv_problem(record, source))
            continue
        row, trouble = parser.parse(record.cells, f"{source}:{record.number}")
        problems += trouble
        if row is not None:
            lines.append(Line(record.number, row))
    return Reading(tuple(lines), (*problems, *parser.mixed_decimals()))


def _csv_problem(record: Record, source: str) -> Problem:
    what = "a quote is opened and never closed" if record.error == OPEN_QUOTE else record.error
    hint = "Mend the quotes of that line, or restore the file from a copy."
    return Problem(source=f"{source}:{record.number}", message=f"is not CSV ({what})", hint=hint)


def header_problems(header: Sequence[str], row_type: type[Row], *, source: str) -> list[Problem]:
    """Return what is wrong with a file's header: columns that are missing or stand twice."""
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

    def __init__(self, header: Sequence[str], row_type: type[R], *, delimiter: str) -> None:
        self._header = header
        self._may_have_commas = delimiter != ","
        # Where the first number with a decimal comma, and the first with a point, stands, and what it is.
        self._decimals: dict[str, tuple[str, str]] = {}
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
            if self._may_have_commas and self._declared[name].kind == "number":
                text = self._read_comma(text, f"{source}: {name}")
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

    def _read_comma(self, text: str, where: str) -> str:
        for mark in ",.":
            if mark in text:
                self._decimals.setdefault(mark, (where, text))
        return with_point(text)

    def mixed_decimals(self) -> Iterator[Problem]:
        """Yield what is wrong with numbers of which some have a decimal comma and some a point."""
        if len(self._decimals) == 2:
            (where, point), (_, comma) = self._decimals["."], self._decimals[","]
            source, _, name = where.partition(": ")
            message = f"{name}: {point!r} has a point, and other numbers of the file a comma, like {comma!r}"
            hint = "Write all numbers of the file alike: a point may divide thousands."
            yield Problem(source=source, message=message, hint=hint)

    def _cell_of(self, name: str, cells: Sequence[str]) -> str:
        return cells[self._header.index(name)]
