"""Whichever call of an append fails: the ledger is as before or whole, and the next try completes it."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from held_files import holding

from colscan.errors import LedgerError
from colscan.ledger import append_photo, append_row, append_waiting, files, read_ledger
from colscan.ledger.columns import EventRow, VerdictRow

AT = datetime(2026, 3, 9, 10, 5, tzinfo=UTC)
CODES = (errno.ENOSPC, errno.EROFS, errno.EACCES)
CALLS = ("open", "write", "fsync", "truncate", "replace", "unlink", "mkdir")
WRITING = os.O_WRONLY | os.O_RDWR
Snapshot = Callable[[Path], dict[str, bytes]]


class Disk:
    """Counts the calls that write, and lets one of them fail; files are still opened for reading."""

    def __init__(self, patch: pytest.MonkeyPatch, *, failing: int = -1, code: int = 0) -> None:
        self.calls, self._failing, self._code = 0, failing, code
        for name in CALLS:
            patch.setattr(os, name, self._counted(name, getattr(os, name)))

    def _counted(self, name: str, real: Callable[..., object]) -> Callable[..., object]:
        def call(*arguments: object, **options: object) -> object:
            if name != "open" or (isinstance(arguments[1], int) and arguments[1] & WRITING):
                self.calls += 1
                if self.calls - 1 == self._failing:
                    where = arguments[0] if isinstance(arguments[0], str | Path) else None
                    raise OSError(self._code, os.strerror(self._code), where and str(where))
            return real(*arguments, **options)

        return call


def first_photo(folder: Path, find_rows) -> None:
    """The photo that makes the files."""
    append_photo(folder, *find_rows(3))


def next_photo(folder: Path, find_rows) -> None:
    """One more."""
    append_photo(folder, *find_rows(4))


def a_call(folder: Path, find_rows) -> None:
    """What a person says."""
    append_row(folder, *(VerdictRow(at=AT, bag=bag, call="unsure") for bag in ("B01", "B02")))


def what_waits(folder: Path, find_rows) -> None:
    """Rows that were kept aside."""
    append_waiting(folder)


def nothing(folder: Path, find_rows, monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty folder."""


def one_photo(folder: Path, find_rows, monkeypatch: pytest.MonkeyPatch) -> None:
    """A ledger of one photo."""
    append_photo(folder, *find_rows(3))


def torn(folder: Path, find_rows, monkeypatch: pytest.MonkeyPatch) -> None:
    """A photo of which a power cut left some rows in one file and half a row in the next."""
    append_photo(folder, *find_rows(3))
    photos = (folder / "photos.csv").read_bytes()
    append_photo(folder, *find_rows(5))
    (folder / "photos.csv").write_bytes(photos)
    (folder / "scores.csv").write_bytes((folder / "scores.csv").read_bytes()[:-30])


def waiting(folder: Path, find_rows, monkeypatch: pytest.MonkeyPatch) -> None:
    """A photo and a call that wait."""
    append_photo(folder, *find_rows(3))
    with holding(monkeypatch, "scores.csv", "verdicts.csv"):
        append_photo(folder, *find_rows(4))
        a_call(folder, find_rows)


CASES = [
    (nothing, first_photo),
    (one_photo, next_photo),
    (torn, next_photo),
    (nothing, a_call),
    (waiting, what_waits),
    (waiting, first_photo),
]


FAULTS = [(*case, code) for case in CASES for code in CODES]
FAULTS += [(one_photo, next_photo, errno.EDQUOT), (torn, next_photo, errno.EIO)]


@pytest.mark.parametrize(
    ("begin", "append", "code"),
    FAULTS,
    ids=[f"{begin.__name__}-{append.__name__}-{errno.errorcode[code]}" for begin, append, code in FAULTS],
)
def test_each_call_fails_once(
    tmp_path: Path,
    find_rows,
    ledger_bytes: Snapshot,
    monkeypatch: pytest.MonkeyPatch,
    begin,
    append,
    code: int,
) -> None:
    """In turn: the rows are as before or whole, the error says why, and appended again they are whole."""
    monkeypatch.setattr(os, "fsync", lambda *_: None)  # the disk is slow, and durability isn't tested here
    undisturbed, begun = tmp_path / "undisturbed", tmp_path / "begun"
    begun.mkdir()
    begin(begun, find_rows, monkeypatch)
    shutil.copytree(begun, undisturbed)
    before = read_ledger(undisturbed)
    with monkeypatch.context() as patch:
        disk = Disk(patch)
        append(undisturbed, find_rows)
    after, whole = read_ledger(undisturbed), ledger_bytes(undisturbed)
    refused = 0
    for failing in range(disk.calls):
        folder = Path(shutil.copytree(begun, tmp_path / f"failing{failing}"))
        with monkeypatch.context() as patch:
            Disk(patch, failing=failing, code=code)
            error = _refusal(append, folder, find_rows)
            refused += error is not None
            assert read_ledger(folder) == (after if error is None else before), failing
        if error is not None:
            assert _said(code) in error.message, failing
            assert error.hint.endswith("What was recorded before is whole."), failing
        append_waiting(folder)
        if read_ledger(folder) == before:
            append(folder, find_rows)
        assert read_ledger(folder) == after, failing
        assert ledger_bytes(folder) == whole, failing
        assert not list(folder.rglob("*.part")), failing
    assert refused > 0 or code == errno.EACCES


def _refusal(append: Callable[..., None], folder: Path, find_rows) -> LedgerError | None:
    try:
        append(folder, find_rows)
    except LedgerError as error:
        return error
    return None


def _said(code: int) -> str:
    if code in files.FULL_DISK:
        return "the disk is full"
    return f"can't be written ({os.strerror(code)})" if code in files.READ_ONLY else os.strerror(code)


DIE_HOLDING = """
import os, sys
from pathlib import Path
from colscan.ledger.files import locked
with locked(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_a_lock_dies_with_its_process(tmp_path: Path) -> None:
    """Killed while it holds the lock: the next writer doesn't wait, and what is left is no obstacle."""
    holder = subprocess.Popen(
        [sys.executable, "-c", DIE_HOLDING, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert holder.stdout
    assert holder.stdout.readline() == b"held\n"
    holder.kill()
    holder.communicate()
    assert (tmp_path / files.LOCK_FILE).exists()
    started = time.monotonic()
    append_row(tmp_path, EventRow(at=AT, scope="room", what="power-cut"))
    assert time.monotonic() - started < files.LOCK_TIMEOUT_S / 3
    assert len(read_ledger(tmp_path).events) == 1


@pytest.mark.parametrize("raw", [b"", b"4711\n"])
def test_a_lock_file_that_was_left(tmp_path: Path, raw: bytes) -> None:
    """Whatever stands in it."""
    (tmp_path / files.LOCK_FILE).write_bytes(raw)
    append_row(tmp_path, EventRow(at=AT, scope="room", what="power-cut"))
    assert len(read_ledger(tmp_path).events) == 1


def test_a_clock_that_goes_back(tmp_path: Path, find_rows) -> None:
    """Photos count in order of when they were taken, whatever the clock said when they were scanned."""
    for day, month in ((3, 9), (5, 2), (4, 1)):
        photo, scores, suspects = find_rows(day)
        at = AT.replace(month=month)
        scores = [replace(score, scanned_at=at) for score in scores]
        assert append_photo(tmp_path, replace(photo, scanned_at=at), scores, suspects)
    ledger = read_ledger(tmp_path)
    assert [row.photo for row in ledger.photos] == ["IMG_3.jpg", "IMG_4.jpg", "IMG_5.jpg"]
    assert [row.taken_at for row in ledger.scores] == sorted(row.taken_at for row in ledger.scores)
    assert append_photo(tmp_path, *find_rows(3)) is False
