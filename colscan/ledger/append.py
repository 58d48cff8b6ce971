"""Appending to the ledger: whole photos with their row as commit mark, and what people say."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from mmap import ACCESS_READ, mmap
from pathlib import Path
from typing import TypeVar

from colscan.errors import LedgerError
from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.ledger.counting import count_rows
from colscan.ledger.files import all_or_nothing, append_rows, locked, replace_file
from colscan.ledger.kept import is_large, read_columns
from colscan.ledger.marks import WholeMark, marks_of, new_word, read_mark, write_mark
from colscan.ledger.tabled import NotTabledError
from colscan.ledger.tails import RawRecord, mend_tail, raw_records
from colscan.tables import Row, columns_of, header_problems, parse_cell, read_bytes

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
    paths = [folder / row_type.FILE for row_type in WRITE_ORDER]
    with locked(folder):
        since = _heal(folder)
        if key in _committed(folder / PhotoRow.FILE, photo_row.photo_sha256):
            return False
        batches: tuple[Sequence[Row], ...] = (suspect_rows, score_rows, (photo_row,))
        with all_or_nothing(paths):
            for path, row_type, rows in zip(paths, WRITE_ORDER, batches, strict=True):
                append_rows(path, row_type, rows)
        _mark_whole(folder, since)
    return True


def append_row(folder: Path, row: R, *more: R) -> None:
    """Append rows of one type to the file of what people say, all or none.

    Raises
    ------
    LedgerError
        When the folder can't be written, the lock isn't to be had, or the file's header is broken.
    """
    path = folder / row.FILE
    with locked(folder), all_or_nothing([path]):
        mend_tail(path, type(row))
        append_rows(path, type(row), (row, *more))


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
        whole = len(record.cells) == len(header)
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
