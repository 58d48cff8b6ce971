"""The columns of a large ledger, kept in the trial's `cache/`: read on from where they end.

The CSV files stay the only truth. What is kept is used while the files are what they were when it was made,
or have only grown since by photos that were appended; else it is made anew.
"""

from __future__ import annotations

import hashlib
import json
import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.ledger.counting import Measured, count_rows
from colscan.ledger.marks import FileMark, marks_of, new_word, read_mark
from colscan.ledger.tabled import KEPT, NotTabledError, Table, Words, dtype_of, empty_table, read_table
from colscan.tables import Row, columns_of

COLUMNS_FILE = Path("cache") / "ledger-columns.bin"
LARGE_BYTES = 8 << 20
"""From this size of scores.csv on: a smaller one is read as quickly as it stands (half a second at most)."""
KEEP_BYTES = 1 << 20
"""What was read beyond the kept columns before they are kept anew."""
TAIL_BYTES = 1 << 16
ALIGNED_BYTES = 8
"""Each column begins at a multiple of them: numpy takes four times as long over one that doesn't."""
SCAN_FILES: tuple[type[Row], ...] = (PhotoRow, ScoreRow, SuspectRow)
"""Photos first: scores committed meanwhile then have no mark yet and are left out whole."""
_NO_SUM = b"00000000\n"
_MADE_BY = hashlib.sha256(
    repr((ALIGNED_BYTES, [(columns_of(row_type), KEPT[row_type]) for row_type in SCAN_FILES])).encode()
).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Columns:
    """The columns of the scan's files.

    Parameters
    ----------
    files : dict of str to FileMark
        How the files were when they were read.
    since : str
        The word of the mark under which they have only grown.
    tables : dict of type to Table
        By row type.
    words : Words
        Their texts.
    tails : dict of str to int
        Checksums of the bytes before the end of what was read.
    whole : bool
        Whether each file ends with the line end that was read last.
    """

    files: dict[str, FileMark]
    since: str
    tables: dict[type[Row], Table]
    words: Words
    tails: dict[str, int]
    whole: bool


def is_large(folder: Path) -> bool:
    """Whether a trial's ledger is read by column."""
    with suppress(OSError):
        return (folder / ScoreRow.FILE).stat().st_size >= LARGE_BYTES
    return False


class ColumnReader:
    """Reads the scan's files of a large ledger again and again, each time only what has come.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._columns: Columns | None = None
        self._measured: Measured | None = None

    def read(self) -> Measured | None:
        """Return the rows that count, the same object while no file changed; None when they can't be tabled.

        Raises
        ------
        LedgerError
            When a file holds a line that is no row, or can't be read.
        """
        try:
            columns = read_columns(self._folder, self._columns)
        except NotTabledError:
            return None
        if columns is not self._columns or self._measured is None:
            self._columns = columns
            self._measured = count_rows(self._folder, columns.tables, columns.words)
        return self._measured


def read_columns(folder: Path, known: Columns | None = None) -> Columns:
    """Return the columns of the scan's files; keeps them when there is much that wasn't kept.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    known : Columns, optional
        As read before; else those in the cache.

    Raises
    ------
    NotTabledError
        When only the reader of whole files can judge what they hold.
    LedgerError
        When a file holds a line that is no row, or can't be read.
    """
    files = marks_of(folder, [row_type.FILE for row_type in SCAN_FILES])
    known = known or _load(folder)
    if known is not None and known.files == files and _same_tails(folder, known):
        return known
    mark = read_mark(folder)
    marked = mark is not None and mark.files == files
    if known is not None and not (
        mark and marked and mark.since == known.since and _same_tails(folder, known)
    ):
        known = None
    words = known.words if known else Words()
    tables: dict[type[Row], Table] = {}
    for row_type in SCAN_FILES:
        before = known.tables[row_type] if known else empty_table(row_type)
        tables[row_type] = read_table(folder / row_type.FILE, before, words)
    columns = Columns(
        files=files,
        since=mark.since if mark and marked else new_word(),
        tables=tables,
        words=words,
        tails={
            row_type.FILE: _tail(folder / row_type.FILE, tables[row_type].covered) for row_type in SCAN_FILES
        },
        whole=all(_is_whole(folder / row_type.FILE, tables[row_type].covered) for row_type in SCAN_FILES),
    )
    had = {row_type: known.tables[row_type].covered if known else 0 for row_type in SCAN_FILES}
    if known is None or sum(tables[t].covered - had[t] for t in SCAN_FILES) > KEEP_BYTES:
        _keep(folder, columns)
    return columns


def _tail(path: Path, covered: int) -> int:
    with suppress(OSError), path.open("rb") as file:
        begin = max(0, covered - TAIL_BYTES)
        file.seek(begin)
        return crc32(file.read(covered - begin), covered)
    return 0


def _is_whole(path: Path, covered: int) -> bool:
    if not path.exists():
        return True
    with path.open("rb") as file:
        file.seek(covered - 1)
        return file.read(2) == b"\n"


def _same_tails(folder: Path, columns: Columns) -> bool:
    return all(
        _tail(folder / row_type.FILE, table.covered) == columns.tails[row_type.FILE]
        for row_type, table in columns.tables.items()
    )


def _keep(folder: Path, columns: Columns) -> None:
    """Columns that end in a line without its end are not kept: that line may yet be gone on with."""
    if not columns.whole:
        return
    tables = [columns.tables[row_type] for row_type in SCAN_FILES]
    about = {
        "made_by": _MADE_BY,
        "files": columns.files,
        "since": columns.since,
        "tails": columns.tails,
        "words": columns.words.texts,
        "tables": [[len(t), t.covered, t.lines, t.header.decode("utf-8")] for t in tables],
    }
    arrays = [array for t in tables for array in t.arrays()]
    head = json.dumps(about, ensure_ascii=True).encode()
    head += b" " * _gap(len(_NO_SUM) + len(head) + 1) + b"\n"
    sums = 0
    part = (folder / COLUMNS_FILE).with_name(f".{COLUMNS_FILE.name}.{os.getpid()}.part")
    with suppress(OSError):
        part.parent.mkdir(exist_ok=True)
        with part.open("wb") as file:
            file.write(_NO_SUM)
            for data in (head, *(array.tobytes() + bytes(_gap(array.nbytes)) for array in arrays)):
                file.write(data)
                sums = crc32(data, sums)
            file.seek(0)
            file.write(b"%08x" % sums)
        part.replace(folder / COLUMNS_FILE)
    with suppress(OSError):
        part.unlink(missing_ok=True)


def _gap(length: int) -> int:
    return -length % ALIGNED_BYTES


def _load(folder: Path) -> Columns | None:
    """What is kept; None where it is missing, damaged, or made by another version."""
    try:
        raw = (folder / COLUMNS_FILE).read_bytes()
        if raw[:8] != b"%08x" % crc32(memoryview(raw)[9:]):
            return None
        end = raw.index(b"\n", 9)
        about = json.loads(raw[9:end])
        if about["made_by"] != _MADE_BY:
            return None
        return _unpack(raw, end + 1, about)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _unpack(raw: bytes, at: int, about: dict[str, Any]) -> Columns:
    tables: dict[type[Row], Table] = {}
    for row_type, (count, covered, lines, header) in zip(SCAN_FILES, about["tables"], strict=True):
        declared = columns_of(row_type)
        kinds = [np.int64, np.int32, *(dtype_of(declared.get(name)) for name in KEPT[row_type])]
        arrays: list[NDArray[Any]] = []
        for kind in kinds:
            arrays.append(np.frombuffer(raw, kind, count, at))
            at += arrays[-1].nbytes + _gap(arrays[-1].nbytes)
        tables[row_type] = Table(
            row_type=row_type, header=header.encode(), covered=covered, lines=lines, starts=arrays[0],
            lengths=arrays[1], columns=dict(zip(KEPT[row_type], arrays[2:], strict=True)),
        )  # fmt: skip
    texts = about["words"]
    return Columns(
        files={name: tuple(mark) for name, mark in about["files"].items()},
        since=about["since"],
        tables=tables,
        words=Words(texts, {text: i for i, text in enumerate(texts)}),
        tails=about["tails"],
        whole=True,
    )
