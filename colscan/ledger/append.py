"""Appending to the ledger: whole photos with their row as commit mark, and what people say."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterator, Mapping, Sequence
from contextlib import suppress
from mmap import ACCESS_READ, mmap
from pathlib import Path
from typing import TypeVar

from colscan.disk import replace_file
from colscan.errors import LedgerError
from colscan.ledger.columns import LEDGER_TABLES, PhotoRow, ScoreRow, SuspectRow
from colscan.ledger.counting import count_rows
from colscan.ledger.files import all_or_nothing, append_rows, held_file, locked
from colscan.ledger.kept import is_large, read_columns
from colscan.ledger.marks import WholeMark, marks_of, new_word, read_mark, write_mark
from colscan.ledger.tabled import NotTabledError
from colscan.ledger.tails import RawRecord, mend_tail, raw_records, read_whole
from colscan.ledger.waiting import Batches, keep_aside, not_among, read_waiting
from colscan.tables import Row, columns_of, header_problems, parse_cell, parse_table, read_bytes

WRITE_ORDER: tuple[type[Row], ...] = (SuspectRow, ScoreRow, PhotoRow)
SCAN_FILES = tuple(row_type.FILE for row_type in WRITE_ORDER)
Key = tuple[str, str]
"""photo_sha256 and method: what a photo's rows share."""
R = TypeVar("R", bound=Row)


def append_photo(
    folder: Path, photo_row: PhotoRow, score_rows: Sequence[ScoreRow], suspect_rows: Sequence[SuspectRow]
) -> bool:
    """Return whether a photo was recorded now: False when these bytes under this method are there already.

    Suspects are written first, then scores, then the photo's row: only that one makes the others count.
    Where another program holds one of the three files, all of it is kept in `waiting/` for the next writer to
    append; it counts meanwhile.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    photo_row : PhotoRow
        The photo.
    score_rows, suspect_rows : sequence of rows
        What was found in it, under the same photo_sha256 and method.

    Raises
    ------
    LedgerError
        When the folder can't be written, the lock isn't to be had, or the ledger is broken. Nothing is
        written then.
    """
    key = (photo_row.photo_sha256, photo_row.method)
    found: tuple[ScoreRow | SuspectRow, ...] = (*score_rows, *suspect_rows)
    if any((row.photo_sha256, row.method) != key for row in found):
        msg = f"scores or suspects of another photo or method than {key}"
        raise ValueError(msg)
    with locked(folder):
        held = _append_waiting(folder)
        if key in _waiting_keys(folder):
            return False
        batches = {SuspectRow: suspect_rows, ScoreRow: score_rows, PhotoRow: (photo_row,)}
        return _append_or_keep(folder, batches, held)


def append_row(folder: Path, row: R, *more: R) -> None:
    """Append rows of one type to the file of what people say, all or none.

    Rows whose file another program holds are kept in `waiting/`, for the next writer to append; they count.

    Raises
    ------
    LedgerError
        When the folder can't be written, the lock isn't to be had, or the file's header is broken.
    """
    with locked(folder):
        _append_or_keep(folder, {type(row): (row, *more)}, _append_waiting(folder))


def append_new(folder: Path, rows: Sequence[R], key: Callable[[R], Hashable]) -> tuple[R, ...]:
    """Return those of some rows of one type that were appended: all whose key the ledger doesn't have yet.

    That is looked for under the lock, so of two who say the same at the same time one is the first.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    rows : sequence of Row
        At least one.
    key : callable
        What makes two rows the same.

    Raises
    ------
    LedgerError
        As for `append_row`.
    """
    row_type = type(rows[0])
    with locked(folder):
        held = _append_waiting(folder)
        there = (
            read_whole(folder / row_type.FILE, row_type)[0].rows,
            *(one.rows(row_type) for one in read_waiting(folder)),
        )
        known = {key(row) for some in there for row in some}
        fresh = tuple(row for row in rows if key(row) not in known)
        if fresh:
            _append_or_keep(folder, {row_type: fresh}, held)
    return fresh


def append_waiting(folder: Path) -> None:
    """Append the rows that wait in `waiting/` and whose files no other program holds any more.

    Raises
    ------
    LedgerError
        As for `append_photo`; also when a file in `waiting/` is not as it was written.
    """
    if read_waiting(folder):
        with locked(folder):
            _append_waiting(folder)


def _append_waiting(folder: Path) -> dict[str, str]:
    """By the files that can't be appended to yet, in order, the one that another program holds."""
    held: dict[str, str] = {}
    for one in read_waiting(folder):
        batches = {row_type: one.rows(row_type) for row_type in LEDGER_TABLES if row_type.FILE in one.tables}
        files = [row_type.FILE for row_type in batches]
        holder = next((held[name] for name in files if name in held), None)
        try:
            if holder is None:
                _append(folder, _not_there(folder, batches))
        except PermissionError as error:
            holder = held_file(error, files)
        if holder is not None:
            held |= dict.fromkeys(files, holder)
            continue
        with suppress(OSError):  # what is in both places counts once
            one.path.unlink()
    return held


def _not_there(folder: Path, batches: Batches) -> Batches:
    """What a crash didn't leave in the ledger, after appending it and before it was taken from `waiting/`."""
    if PhotoRow in batches:
        return batches  # told by their key
    return {
        row_type: not_among(rows, parse_table(read_bytes(folder / row_type.FILE), row_type, source="").rows)
        for row_type, rows in batches.items()
    }


def _waiting_keys(folder: Path) -> set[Key]:
    return {key for one in read_waiting(folder) for key in _keys(one.rows(PhotoRow))}


def _keys(rows: Sequence[Row]) -> set[Key]:
    return {(row.photo_sha256, row.method) for row in rows if isinstance(row, PhotoRow)}


def _append_or_keep(folder: Path, batches: Batches, held: Mapping[str, str]) -> bool:
    """Append rows; or keep them aside, all, where another program holds one of their files.

    False when they are those of a photo that is recorded already.
    """
    files = [row_type.FILE for row_type in batches]
    holder = next((held[name] for name in files if name in held), None)
    trouble: PermissionError | None = None
    if holder is None:
        try:
            return _append(folder, batches)
        except PermissionError as error:
            trouble, holder = error, held_file(error, files)
    if _is_recorded(folder, batches):
        return False
    try:
        keep_aside(folder, batches, holder)
    except OSError as error:  # then it isn't the file alone that can't be written
        raise trouble or error from None
    return True


def _is_recorded(folder: Path, batches: Batches) -> bool:
    return any(key in _committed(folder / PhotoRow.FILE, key[0]) for key in _keys(batches.get(PhotoRow, ())))


def _append(folder: Path, batches: Batches) -> bool:
    """Append rows of some types together, all or none, after what a crash left is taken away.

    False when they are those of a photo that is recorded already.
    """
    paths = [folder / row_type.FILE for row_type in batches]
    is_photo = PhotoRow in batches
    since = _heal(folder) if is_photo else ""
    if is_photo and _is_recorded(folder, batches):
        return False
    with all_or_nothing(paths):
        for path, (row_type, rows) in zip(paths, batches.items(), strict=True):
            if not is_photo:
                mend_tail(path, row_type)
            append_rows(path, row_type, rows)
    if is_photo:
        _mark_whole(folder, since)
    return True


def _heal(folder: Path) -> str:
    """Cut off what a crash left torn, and drop rows of photos without commit mark; the mark's word.

    Both take a look at every row, so a mark in the cache says when there is nothing to look for: the files
    are as they were after the last photo. A hand edit or a lost cache costs one look.
    """
    mark = read_mark(folder)
    if mark is not None and mark.files == marks_of(folder, SCAN_FILES):
        return mark.since
    since = _look_by_column(folder)
    if since is None:
        for row_type in WRITE_ORDER:
            mend_tail(folder / row_type.FILE, row_type)
        committed = _committed(folder / PhotoRow.FILE)
        for row_type in WRITE_ORDER[:-1]:
            _drop_uncommitted(folder / row_type.FILE, row_type, committed)
        since = new_word()
    _mark_whole(folder, since)
    return since


def _look_by_column(folder: Path) -> str | None:
    """The word of a large ledger in which nothing is to be mended; None where each row must be looked at."""
    if not is_large(folder):
        return None
    try:
        columns = read_columns(folder)
    except NotTabledError:
        return None
    measured = count_rows(folder, columns.tables, columns.words)
    return columns.since if columns.whole and not measured.unmarked else None


def _mark_whole(folder: Path, since: str) -> None:
    write_mark(folder, WholeMark(marks_of(folder, SCAN_FILES), since))


def _committed(path: Path, sha256: str = "") -> set[Key]:
    """The keys of recorded photos; none, without looking further, when the bytes don't hold this SHA-256."""
    if not _holds(path, sha256.encode()):
        return set()
    return {key for key, _ in _keyed(read_bytes(path), PhotoRow, path) if key is not None}


def _holds(path: Path, text: bytes) -> bool:
    """Whether a file holds some bytes; they are searched in place, a millisecond for 10,000 photos."""
    if not path.exists() or not path.stat().st_size:
        return False
    with path.open("rb") as file, mmap(file.fileno(), 0, access=ACCESS_READ) as mapped:
        return mapped.find(text) >= 0


def _keyed(raw: bytes, row_type: type[Row], path: Path) -> Iterator[tuple[Key | None, RawRecord]]:
    """The records of a file of the scan after its header, each with its key; None where it has none."""
    records = raw_records(raw, source=str(path))
    header = [name.strip() for name in next(records).cells]
    problems = header_problems(header, row_type, source=str(path))
    if problems:
        msg = f"{problems[0].source}: {problems[0].message}."
        raise LedgerError(msg, problems[0].hint)
    places = [header.index(name) for name in ("photo_sha256", "method")]
    declared = columns_of(row_type)["method"]
    for record in records:
        whole = len(record.cells) == len(header) and any(record.cells)
        cells = [parse_cell(declared, record.cells[place]) for place in places] if whole else []
        yield ((cells[0], cells[1]) if whole else None), record


def _drop_uncommitted(path: Path, row_type: type[Row], committed: Collection[Key]) -> None:
    raw = read_bytes(path)
    if not raw:
        return
    keyed = list(_keyed(raw, row_type, path))
    orphans = {key for key, _ in keyed if key is not None and key not in committed}
    if not orphans:
        return
    if len(orphans) > 1 and not committed:
        msg = f"{path} holds rows of {len(orphans)} photos, and {PhotoRow.FILE} knows none."
        hint = (
            f"Restore {PhotoRow.FILE} from a copy, or move all three files of the scan away and scan again."
        )
        raise LedgerError(msg, hint)
    header = raw[: len(raw) - sum(len(record.raw) for _, record in keyed)]
    replace_file(path, header + b"".join(record.raw for key, record in keyed if key not in orphans))
