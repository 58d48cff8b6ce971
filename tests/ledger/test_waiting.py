"""Rows whose file another program holds are kept aside whole, count, and are appended once, in order."""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import pytest
from held_files import holding

from colscan.errors import LedgerError
from colscan.ledger import append_photo, append_row, append_waiting, files, read_ledger, say_waiting
from colscan.ledger.columns import EventRow, VerdictRow
from colscan.ledger.waiting import FOLDER

AT = datetime(2026, 3, 9, 10, 5, tzinfo=UTC)
Snapshot = Callable[[Path], dict[str, bytes]]
Hold = Callable[..., AbstractContextManager[None]]


@pytest.fixture
def hold(monkeypatch: pytest.MonkeyPatch) -> Hold:
    """Return a context in which another program holds files."""
    return partial(holding, monkeypatch)


def verdict(minutes: int, call: str) -> VerdictRow:
    """A call on a bag, some minutes later."""
    return VerdictRow(at=AT + timedelta(minutes=minutes), bag="B01", call=call)


@pytest.mark.parametrize("held", ["suspects.csv", "scores.csv", "photos.csv"])
def test_a_photo_waits_whole(tmp_path: Path, find_rows, hold, ledger_bytes: Snapshot, held: str) -> None:
    """Whichever of its three files is held, none is touched; what waits counts, and is appended in order."""
    other = tmp_path / "undisturbed"
    other.mkdir()
    for day in (3, 4, 5, 6):
        append_photo(other, *find_rows(day))
    append_photo(tmp_path, *find_rows(3))
    before = ledger_bytes(tmp_path)
    with hold(held):
        assert append_photo(tmp_path, *find_rows(4))
        assert append_photo(tmp_path, *find_rows(5))
        assert append_photo(tmp_path, *find_rows(4)) is False
        assert append_photo(tmp_path, *find_rows(3)) is False
        assert ledger_bytes(tmp_path) == before
        assert len(read_ledger(tmp_path).suspects) == 3
        told = say_waiting(tmp_path)
    assert told is not None
    assert told.startswith(
        f"8 rows wait in waiting/, as another program holds {held} or writing there is forb"
    )
    assert f": close {held} in the spreadsheet, or allow writing. What waits counts already" in told
    assert append_photo(tmp_path, *find_rows(4)) is False
    assert append_photo(tmp_path, *find_rows(6))
    assert ledger_bytes(tmp_path) == ledger_bytes(other)
    assert read_ledger(tmp_path) == read_ledger(other)
    assert say_waiting(tmp_path) is None


def test_what_is_said_waits_for_its_own_file_alone(tmp_path: Path, find_rows, hold) -> None:
    """Verdicts go on while scores.csv is held; held themselves they wait, and keep their order."""
    with hold("scores.csv"):
        append_photo(tmp_path, *find_rows(3))
        append_row(tmp_path, verdict(0, "unsure"))
        assert (tmp_path / "verdicts.csv").read_bytes().count(b"\n") == 2
    with hold("verdicts.csv"):
        append_row(tmp_path, verdict(1, "harmless"))  # and appends the photo
        append_row(tmp_path, verdict(2, "contaminated"))
        assert (tmp_path / "scores.csv").read_bytes().count(b"\n") == 3
        assert [row.call for row in read_ledger(tmp_path).verdicts] == ["unsure", "harmless", "contaminated"]
    append_row(tmp_path, EventRow(at=AT, scope="room", what="power-cut"))
    calls = [line.split(b",")[4] for line in (tmp_path / "verdicts.csv").read_bytes().splitlines()[1:]]
    assert calls == [b"unsure", b"harmless", b"contaminated"]
    assert not list((tmp_path / FOLDER).iterdir())


def test_torn_rows_of_a_held_file(tmp_path: Path, find_rows, hold, ledger_bytes: Snapshot) -> None:
    """What a crash left torn can't be cut off while the file is held: the next photo waits until it can."""
    append_photo(tmp_path, *find_rows(3))
    whole = ledger_bytes(tmp_path)
    with (tmp_path / "scores.csv").open("ab") as file:
        file.write(b"IMG_4.jpg,5e")
    with hold("scores.csv"):
        assert append_photo(tmp_path, *find_rows(4))
        assert len(read_ledger(tmp_path).scores) == 4
    append_waiting(tmp_path)
    assert ledger_bytes(tmp_path)["scores.csv"].startswith(whole["scores.csv"])
    assert len(read_ledger(tmp_path).scores) == 4


@pytest.mark.parametrize("what", ["photo", "verdict"])
def test_a_crash_before_it_is_taken_out_of_waiting(
    tmp_path: Path, find_rows, hold, ledger_bytes: Snapshot, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    """Appended and still waiting, it counts once, and is not appended a second time."""
    with hold("verdicts.csv", "scores.csv"):
        if what == "photo":
            append_photo(tmp_path, *find_rows(3))
        else:
            append_row(tmp_path, verdict(0, "unsure"), verdict(1, "harmless"))
    counted = read_ledger(tmp_path)

    def crash(path: Path) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(Path, "unlink", crash)
        with pytest.raises(KeyboardInterrupt):
            append_waiting(tmp_path)
    appended = ledger_bytes(tmp_path)
    assert appended
    assert read_ledger(tmp_path) == counted
    append_waiting(tmp_path)
    assert ledger_bytes(tmp_path) == appended
    assert read_ledger(tmp_path) == counted
    assert say_waiting(tmp_path) is None


def test_where_nothing_can_be_kept_aside_nothing_is_written(
    tmp_path: Path, find_rows, hold, ledger_bytes: Snapshot
) -> None:
    """A folder that can't be written at all is the error that it was."""
    append_photo(tmp_path, *find_rows(3))
    before = ledger_bytes(tmp_path)
    with (
        hold("photos.csv", f".000001.json.{os.getpid()}-{threading.get_ident()}.part"),
        pytest.raises(LedgerError, match=r"photos\.csv: can't be written"),
    ):
        append_photo(tmp_path, *find_rows(4))
    assert ledger_bytes(tmp_path) == before
    assert say_waiting(tmp_path) is None


DAMAGED = {
    "empty": b"",
    "another object": b"{}",
    "no row": b'{"held": "a", "tables": {"verdicts.csv": "at,bag\\nx"}}',
    "no file of the ledger": b'{"held": "a", "tables": {"calls.csv": "at,bag"}}',
    "no text": b'{"held": "a", "tables": {"verdicts.csv": 5}}',
    "no files": b'{"held": "a", "tables": {}}',
    "no UTF-8": b"\xff",
    "nested": b"[" * 100_000,
}


@pytest.mark.parametrize("raw", DAMAGED.values(), ids=DAMAGED)
def test_damage_in_waiting_is_named(tmp_path: Path, hold, raw: bytes) -> None:
    """Rows that stand nowhere else aren't passed over in silence; the ledger's files are as before."""
    with hold("verdicts.csv"):
        append_row(tmp_path, verdict(0, "unsure"))
    (path,) = (tmp_path / FOLDER).iterdir()
    path.write_bytes(raw)
    for command in (read_ledger, append_waiting):
        with pytest.raises(LedgerError, match=r"waiting.000001\.json: is not as it was written") as caught:
            command(tmp_path)
        assert caught.value.hint
    assert not (tmp_path / "verdicts.csv").exists()


def test_a_violation_at_the_write_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows may let a file be opened and refuse to write to a part that is locked."""
    append_row(tmp_path, verdict(0, "unsure"))
    before = (tmp_path / "verdicts.csv").read_bytes()
    real, calls = os.write, iter(range(9))

    def write(descriptor: int, data: bytes) -> int:
        if next(calls) == 0:
            raise PermissionError(errno.EACCES, "another process has locked a portion of the file")
        return real(descriptor, data)

    monkeypatch.setattr(files.os, "write", write)
    append_row(tmp_path, verdict(1, "harmless"))
    assert (tmp_path / "verdicts.csv").read_bytes() == before
    assert "holds verdicts.csv" in (say_waiting(tmp_path) or "")
    append_waiting(tmp_path)
    assert len((tmp_path / "verdicts.csv").read_bytes().splitlines()) == 3
