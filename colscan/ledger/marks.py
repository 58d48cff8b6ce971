"""What tells a file from itself changed, and the mark that all of the scan's files were left whole.

The mark lies in the cache. It holds how the files were when the last photo was written, and a word that
every photo written since hands on: while the word is the same, the files have only grown.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

MARK_FILE = Path("cache") / "ledger-whole.json"
FileMark = tuple[int, ...]


def file_mark(path: Path) -> FileMark:
    """Return what tells whether a file is still the same; empty without a file.

    Its size, its time, its place on the disk, and when anything about it was last changed, which no program
    can set back. A change within the same tick of the file system's clock (milliseconds; two seconds on
    memory cards) that keeps the size is not told.
    """
    try:
        stat = path.stat()
    except OSError:
        return ()
    return stat.st_size, stat.st_mtime_ns, stat.st_ctime_ns, stat.st_ino


@dataclass(frozen=True, slots=True)
class WholeMark:
    """How files were when they were known to be whole, and since when they have only grown."""

    files: dict[str, FileMark]
    since: str


def marks_of(folder: Path, names: Iterable[str]) -> dict[str, FileMark]:
    """Return the marks of some files of a folder, by name."""
    return {name: file_mark(folder / name) for name in names}


def new_word() -> str:
    """Return a word for files that begin anew to only grow."""
    return secrets.token_hex(8)


def read_mark(folder: Path) -> WholeMark | None:
    """Return the mark; None where there is none that can be read."""
    try:
        kept = json.loads((folder / MARK_FILE).read_bytes())
        return WholeMark({str(name): tuple(mark) for name, mark in kept["files"].items()}, str(kept["since"]))
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def write_mark(folder: Path, mark: WholeMark) -> None:
    """Put the mark into the cache; without it the next writer looks for itself."""
    with suppress(OSError):
        (folder / MARK_FILE).parent.mkdir(exist_ok=True)
        (folder / MARK_FILE).write_bytes(json.dumps({"files": mark.files, "since": mark.since}).encode())
