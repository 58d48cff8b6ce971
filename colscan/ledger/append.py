"""Appending to the ledger: whole photos with their row as commit mark, and what people say."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

from colscan.errors import LedgerError
from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.ledger.files import all_or_nothing, append_rows, locked, replace_file
from colscan.ledger.tails import RawRecord, mend_tail, raw_records
from colscan.tables import Row, columns_of, header_problems, parse_cell, read_bytes

WRITE_ORDER: tuple[type[Row], ...] = (SuspectRow, ScoreRow, PhotoRow)
WHOLE_MARK = "ledger-whole.json"
"""In `cache/`: sizes and times of the scan's files when they were last known to be whole."""
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
        _heal(folder)
        if key in _committed(folder / PhotoRow.FILE, photo_row.photo_sha256):
            return False
        batches: tuple[Sequence[Row], ...] = (suspect_rows, score_rows, (photo_row,))
        with all_or_nothing(paths):
            for path, row_type, rows in zip(paths, WRITE_ORDER, batches, strict=True):
                append_rows(path, row_type, rows)
        _mark_whole(folder)
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


def _heal(folder: Path) -> None:
    """Cut off what a crash left torn, and drop rows of photos without commit mark.

    Both take a look at every row, so a mark in the cache says when there is nothing to look for: the files
    have the size and time that they had after the last photo. A hand edit or a lost cache costs one look.
    """
    if _read_mark(folder) == _state(folder):
        return
    for row_type in WRITE_ORDER:
        mend_tail(folder / row_type.FILE, row_type)
    committed = _committed(folder / PhotoRow.FILE)
    for row_type in WRITE_ORDER[:-1]:
        _drop_uncommitted(folder / row_type.FILE, row_type, committed)
    _mark_whole(folder)


def _state(folder: Path) -> dict[str, list[int]]:
    paths = [folder / row_type.FILE for row_type in WRITE_ORDER]
    return {p.name: [p.stat().st_size, p.stat().st_mtime_ns] for p in paths if p.exists()}


def _read_mark(folder: Path) -> object:
    try:
        return json.loads((folder / "cache" / WHOLE_MARK).read_bytes())
    except (OSError, ValueError, RecursionError):
        return None


def _mark_whole(folder: Path) -> None:
    with suppress(OSError):  # without the mark the next writer looks for itself
        (folder / "cache").mkdir(exist_ok=True)
        (folder / "cache" / WHOLE_MARK).write_text(json.dumps(_state(folder)))


def _committed(path: Path, sha256: str = "") -> set[Key]:
    """The keys of recorded photos; none, without looking further, when the bytes don't hold this SHA-256."""
    raw = read_bytes(path)
    if not raw or sha256.encode() not in raw:
        return set()
    return {key for key, _ in _keyed(raw, PhotoRow, path) if key is not None}


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
