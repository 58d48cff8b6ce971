"""Which photos of a synced folder are complete, each told once: those that stopped changing."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from colscan.photo import PHOTO_SUFFIXES

UNFINISHED = frozenset({".part", ".partial", ".tmp", ".crdownload", ".download", ".filepart"})
"""What copying programs put into a name until the file is whole, also in front of its own suffix."""
_LEADING = (".", "~")
"""Programs that sync hide their half files so; and beside photos such names are never photos."""

Stamp = tuple[int, int]
"""A file's size in bytes and the time of its last change in ns: what changes while it is written."""


class Watched:
    """A folder that is looked at again and again.

    Parameters
    ----------
    folder : Path
        Its photos are looked at, not those of sub-folders.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._last: dict[Path, Stamp] = {}
        self._done: dict[Path, Stamp] = {}

    def look(self) -> tuple[Path, ...]:
        """The photos that are as they were at the look before, by name, but for those done with.

        Raises
        ------
        OSError
            When the folder isn't there.
        """
        now = {path: stamp for path in self._folder.iterdir() if (stamp := _stamp(path)) is not None}
        ready = [path for path, stamp in now.items() if self._last.get(path) == stamp != self._done.get(path)]
        self._last = now
        return tuple(sorted(ready))

    def done(self, paths: Iterable[Path]) -> None:
        """Don't name these again until they change; what has changed since the look is named again."""
        self._done |= {path: self._last[path] for path in paths if _stamp(path) == self._last[path]}


def _stamp(path: Path) -> Stamp | None:
    """A file's stamp; None where it is no photo, is named as unfinished, or is empty still."""
    suffixes = [suffix.lower() for suffix in path.suffixes]
    if path.name.startswith(_LEADING) or not suffixes or suffixes[-1] not in PHOTO_SUFFIXES:
        return None
    if UNFINISHED & set(suffixes):
        return None
    try:
        if not path.is_file():
            return None
        seen = path.stat()
    except OSError:  # gone between the look at the folder and this one
        return None
    return (seen.st_size, seen.st_mtime_ns) if seen.st_size else None
