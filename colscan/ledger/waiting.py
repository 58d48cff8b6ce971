"""Rows that wait, as another program holds their file: one small file a commit, appended later in order.

They lie in `waiting/`, not in `cache/`: they stand nowhere else.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from colscan.disk import replace_file
from colscan.errors import LedgerError
from colscan.ledger.columns import LEDGER_TABLES
from colscan.ledger.files import encode_rows
from colscan.tables import Line, Row, columns_of, format_header, parse_table
from colscan.units import count_of

FOLDER = "waiting"
R = TypeVar("R", bound=Row)
Batches = Mapping[type[Row], Sequence[Row]]
"""Rows that are appended together, by type, in the order of writing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """One commit that waits.

    Parameters
    ----------
    path : Path
        Its file.
    held : str
        The file of the ledger that another program held.
    tables : mapping of str to str
        By the ledger's files that it is for, their header and rows as CSV.
    """

    path: Path
    held: str
    tables: Mapping[str, str]

    def rows(self, row_type: type[R]) -> tuple[R, ...]:
        """Return its rows of one type.

        Raises
        ------
        LedgerError
            When they are not as they were written.
        """
        reading = parse_table(self.tables.get(row_type.FILE, "").encode(), row_type, source=str(self.path))
        if reading.problems:
            raise _damaged(self.path)
        return reading.rows


def keep_aside(folder: Path, batches: Batches, held: str) -> None:
    """Put a commit's rows into `waiting/`, after those that wait there; to be called under the lock.

    Raises
    ------
    LedgerError
        When a value doesn't let a row be read again.
    OSError
        When they can't be written.
    """
    (folder / FOLDER).mkdir(exist_ok=True)
    tables = {
        row_type.FILE: (
            format_header(row_type) + encode_rows(rows, tuple(columns_of(row_type)), row_type.FILE)
        ).decode()
        for row_type, rows in batches.items()
    }
    number = max((int(path.stem) for path in _files(folder)), default=0) + 1
    text = json.dumps({"held": held, "tables": tables}, ensure_ascii=False, indent=1)
    replace_file(folder / FOLDER / f"{number:06}.json", text.encode())


def read_waiting(folder: Path) -> tuple[Waiting, ...]:
    """Return the commits that wait, in order.

    Raises
    ------
    LedgerError
        When a file is not as it was written.
    """
    return tuple(one for path in _files(folder) if (one := _read(path)) is not None)


def _files(folder: Path) -> list[Path]:
    return sorted((folder / FOLDER).glob("[0-9][0-9][0-9][0-9][0-9][0-9].json"))


def _read(path: Path) -> Waiting | None:
    try:
        said = json.loads(path.read_bytes())
        tables = {str(name): str(text) for name, text in dict(said["tables"]).items()}
        if not tables or not tables.keys() <= {row_type.FILE for row_type in LEDGER_TABLES}:
            raise _damaged(path)
        return Waiting(path=path, held=str(said["held"]), tables=tables)
    except FileNotFoundError:  # appended by another process since it was listed
        return None
    except OSError as error:
        msg = f"{path}: can't be read ({error.strerror})."
        raise LedgerError(msg, "Check the file's permissions; it holds rows of the ledger.") from error
    except (ValueError, KeyError, TypeError, RecursionError):
        raise _damaged(path) from None


def _damaged(path: Path) -> LedgerError:
    hint = "It holds rows of the ledger: restore it from a copy, or move it away and record them again."
    return LedgerError(f"{path}: is not as it was written.", hint)


def waiting_rows(waiting: Sequence[Waiting], row_type: type[R], known: Sequence[R]) -> tuple[R, ...]:
    """Return the rows of a type that wait, but for those that the file has: a crash may leave them in both.

    Parameters
    ----------
    waiting : sequence of Waiting
        Read before the file was: a row on its way from here to there is then in one of the two at least.
    row_type : type of Row
        Which.
    known : sequence of Row
        The rows of the file.

    Raises
    ------
    LedgerError
        When a file in `waiting/` is not as it was written.
    """
    return not_among([row for one in waiting for row in one.rows(row_type)], known)


def lines_to_come(waiting: Sequence[Waiting], row_type: type[R], lines: Sequence[Line[R]]) -> list[Line[R]]:
    """Return the rows of a type that wait as lines, numbered on from those that the file has."""
    after = 1 + max((line.number for line in lines), default=1)
    rows = waiting_rows(waiting, row_type, [line.row for line in lines])
    return [Line(number, row) for number, row in enumerate(rows, after)]


def not_among(rows: Sequence[R], known: Sequence[R]) -> tuple[R, ...]:
    """Return those of some rows that aren't among others, field by field."""
    there = set(known) if rows else set()
    return tuple(row for row in rows if row not in there)


def holder_of(folder: Path, row: Row) -> str | None:
    """Return the file that another program holds and for which a row waits; None for a row that doesn't.

    Raises
    ------
    LedgerError
        When a file in `waiting/` is not as it was written.
    """
    return next((one.held for one in read_waiting(folder) if row in one.rows(type(row))), None)


def say_waiting(folder: Path) -> str | None:
    """Return how many rows wait, and what to do, in a few sentences; None without any.

    Raises
    ------
    LedgerError
        When a file in `waiting/` is not as it was written.
    """
    waiting = read_waiting(folder)
    if not waiting:
        return None
    rows = sum(len(one.rows(row_type)) for one in waiting for row_type in LEDGER_TABLES)
    files = " and ".join(sorted({one.held for one in waiting}))
    return (
        f"{count_of(rows, 'row')} {'waits' if rows == 1 else 'wait'} in {FOLDER}/, as another program holds"
        f" {files} or writing there is forbidden: close {files} in the spreadsheet, or allow writing."
        " What waits counts already, and the next command that writes appends it."
    )
