"""One scan of a trial at a time: others wait, say so, and never for one that is no more."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event, Thread

import pytest

from colscan.errors import LedgerError
from colscan.ledger import append_row, files, read_ledger, scan_locked
from colscan.ledger.columns import EventRow
from colscan.units import now

HOLD = """
import sys
from pathlib import Path
from colscan.ledger import scan_locked
with scan_locked(Path(sys.argv[1]), lambda: None):
    print("held", flush=True)
    sys.stdin.read()
"""


@pytest.fixture(autouse=True)
def _soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Don't wait long before it is told."""
    monkeypatch.setattr(files, "SCAN_TRY_S", 0.05)


@contextmanager
def holder(folder: Path) -> Iterator[subprocess.Popen[bytes]]:
    """Another process that scans."""
    words = [sys.executable, "-c", HOLD, str(folder)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout
        assert process.stdout.readline() == b"held\n"
        try:
            yield process
        finally:
            process.kill()


def never() -> None:
    """Nobody is waited for."""
    pytest.fail("waited")


def test_threads_wait_for_each_other(tmp_path: Path) -> None:
    """The second is told again and again that it waits, and goes on when the first one is done."""
    told, inside = [], Event()
    twice = Event()

    def wait() -> None:
        told.append("waiting")
        if len(told) == 2:
            twice.set()

    def second() -> None:
        with scan_locked(tmp_path, wait):
            inside.set()

    thread = Thread(target=second)
    with scan_locked(tmp_path, never):
        thread.start()
        assert twice.wait(30)
        assert not inside.is_set()
    thread.join(30)
    assert inside.is_set()


def test_any_thread_may_let_go(tmp_path: Path) -> None:
    """A scan is a generator: it is closed by whoever drops it."""
    held = scan_locked(tmp_path, never)
    begun, over = Event(), Event()

    def begin() -> None:
        held.__enter__()
        begun.set()
        over.wait(30)

    thread = Thread(target=begin)
    thread.start()
    assert begun.wait(30)
    held.__exit__(None, None, None)
    try:
        with scan_locked(tmp_path, never):
            pass
    finally:
        over.set()
        thread.join()


def test_what_people_say_is_recorded_meanwhile(tmp_path: Path) -> None:
    """It isn't the ledger's own lock."""
    with holder(tmp_path):
        append_row(tmp_path, EventRow(at=now(), scope="room", what="power-cut"))
    assert len(read_ledger(tmp_path).events) == 1


def test_it_dies_with_its_process(tmp_path: Path) -> None:
    """Killed: the next scan doesn't wait, and the file that is left is no obstacle."""
    with holder(tmp_path) as process:
        process.kill()
        process.wait()
        with scan_locked(tmp_path, never):
            pass
    assert (tmp_path / files.SCAN_LOCK_FILE).exists()


def test_waiting_can_be_ended(tmp_path: Path) -> None:
    """By what is raised when it is told, as by ctrl-C; the other scan goes on undisturbed."""

    def stop() -> None:
        raise KeyboardInterrupt

    with holder(tmp_path) as process:
        for _ in range(2):
            with pytest.raises(KeyboardInterrupt), scan_locked(tmp_path, stop):
                never()
        assert process.poll() is None


@pytest.mark.parametrize("code", [errno.EACCES, errno.EROFS])
def test_a_read_only_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int) -> None:
    """Nothing is held where no scan can write; a lock alone that can't be opened is an error."""
    opened = os.open

    def refuse(path: str, flags: int, *rest: int, **others: int) -> int:
        if str(path).endswith(files.SCAN_LOCK_FILE):
            raise OSError(code, os.strerror(code), str(path))
        return opened(path, flags, *rest, **others)

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(LedgerError, match=r"\.colscan\.scan\.lock: can't be written"):
        scan_locked(tmp_path, never).__enter__()
    monkeypatch.setattr(os, "access", lambda *_, **__: False)
    with scan_locked(tmp_path, never):
        pass


def test_a_missing_folder_is_not_made(tmp_path: Path) -> None:
    """As for the ledger's own lock."""
    with pytest.raises(LedgerError, match="no such folder"):
        scan_locked(tmp_path / "typo", never).__enter__()
    assert list(tmp_path.iterdir()) == []
