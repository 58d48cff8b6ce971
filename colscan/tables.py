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
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, ClassVar, Generic, Literal, TypeVar

from colscan.errors import LedgerError, Problem

Kind = Literal["text", "integer", "number", "time", "choice", "words", "points"]
_GUARDED = re.compile(r"'*[=+\-@\t\r]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """How a column's cells are written and what they mean.

    Parameters
    ----------
    kind : str
        `text`, `integer`, `number`, `time` (ISO 8601 with offset), `choice` (one of `choices`),
        `words` (of `choices`, separated by spaces) or `points` (``x y x y ...``).
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
    """A row and the line of the file where it ends."""

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


def columns_of(row_type: type[Row]) -> dict[str, Column]:
    """Return the declared columns of a row type, by name, in order."""
    return {f.name: f.metadata["column"] for f in dataclasses.fields(row_type)}


def required_columns(row_type: type[Row]) -> tuple[str, ...]:
    """Return the names of the columns that a file of this row type must have."""
    return tuple(f.name for f in dataclasses.fields(row_type) if f.default is dataclasses.MISSING)


def parse_cell(declared: Column, text: str) -> Any:
    """Return the value of a cell that isn't empty.

    Raises
    ------
    ValueError
        With what is wrong, when the text isn't of the column's kind.
    """
    text = text[1:] if text.startswith("'") and _GUARDED.match(text) else text
    if declared.kind == "integer":
        return _in_range(declared, _integer(text))
    if declared.kind == "number":
        return _in_range(declared, _number(text))
    if declared.kind == "time":
        return _time(text)
    if declared.kind == "points":
        return _points(text)
    if declared.kind == "choice":
        return _choice(declared, text)
    if declared.kind == "words":
        return tuple(_choice(declared, word) for word in text.split())
    return text


def _integer(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        msg = f"{text!r} is not a whole number"
        raise ValueError(msg) from None


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        msg = f"{text!r} is not a number (decimals are written with a point)"
        raise ValueError(msg)
    return value


def _in_range(declared: Column, value: float) -> float:
    if declared.low <= value <= declared.high:
        return value
    msg = f"{value:g} is outside {declared.low:g} to {declared.high:g} {declared.unit}".rstrip()
    raise ValueError(msg)


def _time(text: str) -> datetime:
    try:
        value = datetime.fromisoformat(text)
    except ValueError:
        msg = f"{text!r} is not a time like 2026-03-02T06:00:00-05:00"
        raise ValueError(msg) from None
    if value.tzinfo is None:
        msg = f"{text!r} has no offset from UTC (like -05:00)"
        raise ValueError(msg)
    return value


def _points(text: str) -> tuple[tuple[float, float], ...]:
    numbers = [_number(word) for word in text.split()]
    if len(numbers) % 2:
        msg = f"{len(numbers)} numbers are no list of x y pairs"
        raise ValueError(msg)
    return tuple(zip(numbers[::2], numbers[1::2], strict=True))


def _choice(declared: Column, word: str) -> str:
    if not declared.choices or word in declared.choices:
        return word
    msg = f"{word!r} is none of: {', '.join(declared.choices)}"
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
    return text.rstrip("0").rstrip(".") if "." in text else text


def format_rows(rows: Sequence[Row]) -> bytes:
    """Return rows of one type as the bytes of CSV lines, without header."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    for row in rows:
        writer.writerow(format_row(row).values())
    return out.getvalue().encode("utf-8")


def format_row(row: Row) -> dict[str, str]:
    """Return the cells of a row by column name, as text."""
    return {
        name: format_cell(declared, getattr(row, name)) for name, declared in columns_of(type(row)).items()
    }


def format_header(row_type: type[Row]) -> bytes:
    """Return the header line of a row type's file."""
    return (",".join(columns_of(row_type)) + "\n").encode("utf-8")


def read_table(path: Path, row_type: type[R]) -> Reading[R]:
    """Return the rows of a CSV file and what is wrong in it; a missing file holds no rows.

    Extra columns are ignored; columns may stand in any order.

    Raises
    ------
    LedgerError
        When the file can't be read at all.
    """
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        return Reading((), ())
    except OSError as error:
        msg = f"{path}: can't be read ({error.strerror})"
        raise LedgerError(msg, "Check the file's permissions, or close the program that holds it.") from error
    return parse_table(raw, row_type, source=path.name)


def parse_table(raw: bytes, row_type: type[R], *, source: str) -> Reading[R]:
    """Return the rows of CSV bytes and what is wrong in them (see `read_table`)."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        return Reading(
            (),
            (Problem(source=f"{source}:{line}", message="is not UTF-8 text", hint="Save it as CSV UTF-8."),),
        )
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    lines: list[Line[R]] = []
    problems: list[Problem] = []
    try:
        header = [name.strip() for name in next(reader, [])]
        problems += _header_problems(header, row_type, source) if text.strip() else []
        if not problems:
            for cells in reader:
                row, trouble = _parse_row(header, cells, row_type, f"{source}:{reader.line_num}")
                problems += trouble
                if row is not None:
                    lines.append(Line(reader.line_num, row))
    except csv.Error as error:
        hint = "Mend the quotes of that line, or restore the file from a copy."
        problems.append(
            Problem(source=f"{source}:{reader.line_num}", message=f"is not CSV ({error})", hint=hint)
        )
    return Reading(tuple(lines), tuple(problems))


def _header_problems(header: list[str], row_type: type[Row], source: str) -> list[Problem]:
    missing = [name for name in required_columns(row_type) if name not in header]
    doubled = sorted({name for name in header if name and header.count(name) > 1})
    known = ", ".join(columns_of(row_type))
    return [
        Problem(
            source=f"{source}:1",
            message=f"required column {name!r} is missing",
            hint=f"The columns are: {known}.",
        )
        for name in missing
    ] + [
        Problem(source=f"{source}:1", message=f"column {name!r} stands twice", hint="Keep one of the two.")
        for name in doubled
    ]


def _parse_row(
    header: list[str], cells: list[str], row_type: type[R], source: str
) -> tuple[R | None, list[Problem]]:
    if not any(cell.strip() for cell in cells):
        return None, []
    if len(cells) != len(header):
        message = f"has {len(cells)} cells where the header has {len(header)}"
        return None, [
            Problem(source=source, message=message, hint="Mend the line, or restore the file from a copy.")
        ]
    values: dict[str, Any] = {}
    problems = []
    required = required_columns(row_type)
    by_name = dict(zip(header, cells, strict=True))
    for name, declared in columns_of(row_type).items():
        text = by_name.get(name, "").strip()
        if text == "":
            if name in required:
                problems.append(
                    Problem(source=source, message=f"{name} is empty", hint=f"Fill in: {declared.meaning}")
                )
            continue
        try:
            values[name] = parse_cell(declared, text)
        except ValueError as error:
            problems.append(Problem(source=source, message=f"{name}: {error}", hint=declared.meaning))
    return (None if problems else row_type(**values)), problems
