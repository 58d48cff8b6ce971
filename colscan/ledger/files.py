"""Writing the ledger's files: under a lock, appended whole or not at all, replaced at once."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TypeVar

from colscan.disk import sync_folder, write_bytes
from colscan.errors import LedgerError
from colscan.records import OURS, Dialect, format_record, split_records
from colscan.tables import (
    Row,
    columns_of,
    dialect_of,
    format_header,
    format_row,
    header_problems,
    parse_table,
    read_bytes,
)

LOCK_FILE = ".colscan.lock"
"""Beside the ledger, not in `cache/`: who deletes the cache mustn't take the lock from under a writer."""
LOCK_TIMEOUT_S = 30.0
"""An append takes milliseconds and mending a long ledger seconds: who waits longer waits for a stuck one."""
SCAN_LOCK_FILE = ".colscan.scan.lock"
SCAN_TRY_S = 0.5
"""How long another scan is waited for before that is told, and told again."""
FULL_DISK = (errno.ENOSPC, errno.EDQUOT)
READ_ONLY = (errno.EACCES, errno.EPERM, errno.EROFS)
R = TypeVar("R", bound=Row)


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold the ledger's lock; other processes that write wait.

    Raises
    ------
    LedgerError
        When another process holds it too long, or a file can't be written meanwhile.
    """
    from filelock import FileLock, Timeout  # here, as commands that only read have no need of it

    _check_there(folder)
    lock_path = folder / LOCK_FILE
    try:
        with FileLock(lock_path, timeout=LOCK_TIMEOUT_S):
            yield
    except Timeout:
        msg = f"{lock_path} has been held by another colscan for {LOCK_TIMEOUT_S:g} s."
        raise LedgerError(msg, "Wait until it has finished, or end it; then run the command again.") from None
    except OSError as error:
        raise _trouble(folder, error) from error


@contextmanager
def scan_locked(folder: Path, waiting: Callable[[], object]) -> Iterator[None]:
    """Hold a trial's scans: what a scan remembers of the ledger stays true until its last photo is recorded.

    Another scan, of this process or any other, is waited for however long it takes: it may measure for hours.
    It isn't the ledger's own lock: what people say goes on being recorded.

    Parameters
    ----------
    folder : Path
        The trial's folder. Where nothing can be written to it, nothing is held: no scan can record anything.
    waiting : callable
        Called again and again while another scan is waited for; what it raises ends the waiting.

    Raises
    ------
    LedgerError
        When the lock can't be had for another reason.
    """
    from filelock import FileLock, Timeout  # here, as in `locked`

    _check_there(folder)
    # Of no single thread: a scan is a generator, which any thread may close.
    lock = FileLock(folder / SCAN_LOCK_FILE, thread_local=False)
    try:
        while not lock.is_locked:
            try:
                lock.acquire(timeout=SCAN_TRY_S)
            except Timeout:
                waiting()
            except OSError as error:
                if error.errno not in READ_ONLY or os.access(folder, os.W_OK):
                    raise _trouble(folder, error) from error
                break
        yield
    finally:
        lock.release()


def _check_there(folder: Path) -> None:
    if not folder.is_dir():  # the lock would make it
        msg = f"{folder}: no such folder."
        raise LedgerError(msg, "Give the folder that holds trial.toml.")


def held_file(error: PermissionError, files: Collection[str]) -> str:
    """Return the name of the ledger's file that another program holds; the last, where none is named."""
    names = [Path(name).name for name in (error.filename2, error.filename) if name]
    return next((name for name in names if name in files), [*files][-1])


def _trouble(folder: Path, error: OSError) -> LedgerError:
    where = error.filename or folder
    again = "then run the command again. What was recorded before is whole."
    if error.errno in FULL_DISK:
        return LedgerError(f"{where}: the disk is full.", f"Make room, {again}")
    if error.errno in READ_ONLY:
        hint = f"Make the folder writable, or close the program that holds the file; {again}"
        return LedgerError(f"{where}: can't be written ({error.strerror}).", hint)
    return LedgerError(f"{where}: {error.strerror or error}.", f"Check the disk, {again}")


@contextmanager
def all_or_nothing(paths: Sequence[Path]) -> Iterator[None]:
    """Cut files back to their length at entry, the last first, when what is done meanwhile fails."""
    sizes = {path: path.stat().st_size if path.exists() else None for path in paths}
    try:
        yield
    except BaseException:  # ctrl-C included: it is raised again
        for path in reversed(paths):
            with suppress(OSError):  # what can't be cut back now is mended by the next writer
                _cut_back(path, sizes[path])
        raise


def _cut_back(path: Path, size: int | None) -> None:
    if size is None:
        path.unlink(missing_ok=True)
    elif path.stat().st_size > size:
        os.truncate(path, size)


def append_rows(path: Path, row_type: type[Row], rows: Sequence[Row]) -> None:
    """Append rows of a type in one write, in the order of the file's own columns; make the file first.

    Without rows a missing file is still made, with its header: an empty list is an answer too.

    Raises
    ------
    LedgerError
        When the file's header, or a value, doesn't let the rows be read again.
    OSError
        When they can't be written; `all_or_nothing` undoes what was.
    """
    header, dialect = _read_header(path, row_type)
    data = encode_rows(rows, header or tuple(columns_of(row_type)), path.name, dialect)
    if header and not rows:
        return
    write_bytes(path, data if header else format_header(row_type) + data, os.O_APPEND)
    if not header:
        sync_folder(path.parent)


def _read_header(path: Path, row_type: type[Row]) -> tuple[tuple[str, ...], Dialect]:
    """The names of the columns as the file has them, none for one that isn't there; and how it is written.

    Of a file with commas, as we write it, the first line is enough.
    """
    if not path.exists():
        return (), OURS
    with path.open("rb") as file:
        line = file.readline()
    dialect = dialect_of(line, row_type)
    if dialect.delimiter != ",":
        dialect = dialect_of(read_bytes(path), row_type)
    names = next(split_records(line.decode("utf-8-sig", errors="replace")), None)
    if names is None:
        return (), OURS
    header = tuple(name.strip() for name in names.cells)
    problems = header_problems(header, row_type, source=str(path))
    if problems:
        msg = f"{problems[0].source}: {problems[0].message}."
        raise LedgerError(msg, problems[0].hint)
    return header, dialect


def encode_rows(rows: Sequence[R], header: Sequence[str], source: str, dialect: Dialect = OURS) -> bytes:
    """Return rows of one type as CSV under a header, as the rest of the file is written; nothing of none.

    Raises
    ------
    LedgerError
        When the header lacks a column, or a value doesn't let its row be read again.
    """
    if not rows:
        return b""
    cells = [format_row(row) for row in rows]
    lost = [name for name in cells[0] if name not in header and any(row[name] for row in cells)]
    if lost:
        msg = f"{source}:1: column {lost[0]!r} is missing."
        raise LedgerError(msg, "Add it to the header line, with empty cells below.")
    if dialect.decimal == ",":
        declared = columns_of(type(rows[0]))
        numbers = [name for name in header if name in declared and declared[name].kind == "number"]
        cells = [row | {name: row[name].replace(".", ",") for name in numbers} for row in cells]
    data = b"".join(format_record((row.get(name, "") for name in header), dialect) for row in cells)
    # What can't be read again must not be written: it would lock the grower out of the ledger.
    reading = parse_table(format_record(header, dialect) + data, type(rows[0]), source=source)
    if reading.problems:
        msg = f"A row for {source} can't be written: {reading.problems[0].message}."
        raise LedgerError(msg, reading.problems[0].hint)
    return data
