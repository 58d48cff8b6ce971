"""The photos as given, kept under `photos/` so that any number can be computed again."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from colscan.errors import LedgerError
from colscan.ledger.columns import PhotoRow, original_stem
from colscan.photo import PHOTO_SUFFIXES, PhotoRef

PART = ".part"
LEFT_OVER_S = 600.0
"""A file that nobody wrote to for so long is a leftover: a photo is copied in seconds."""


def keep_original(folder: Path, ref: PhotoRef) -> Path:
    """Return the file under the trial's `photos/` that a photo was copied to, whole or not at all.

    Raises
    ------
    LedgerError
        When it can't be written.
    """
    target = folder / "photos" / (original_stem(ref.taken_at, ref.sha256) + ref.path.suffix.lower())
    part = target.with_name(f"{target.name}.{os.getpid()}{PART}")
    try:
        if not target.exists():
            target.parent.mkdir(exist_ok=True)
            shutil.copyfile(ref.path, part)
            with part.open("rb+") as copied:
                os.fsync(copied.fileno())
            part.replace(target)
    except OSError as error:
        _clear([part])
        if not target.exists():  # another scan may have kept it meanwhile
            msg = f"{target}: the photo can't be kept ({error.strerror})."
            raise LedgerError(
                msg, "Make room on the disk, or make the trial's folder writable; then scan again."
            ) from error
    _clear(
        part for part in _parts(target.parent) if part.name.startswith(f"{target.name}.")
    )  # of killed scans
    return target


def clear_leftovers(folder: Path) -> None:
    """Take away what commands that were killed left half-written; younger files may be being written."""
    places = (folder, *(folder / name for name in ("photos", "cache", "overlays", "masks", "waiting")))
    inside = (path for path in (folder / "cache").glob("*") if path.is_dir())
    found = (path for place in (*places, *inside) for path in _parts(place))
    _clear(path for path in found if _age_s(path) > LEFT_OVER_S)


def _parts(folder: Path) -> list[Path]:
    """What is half-written in a folder: by its names alone, as one of originals holds a great many."""
    with suppress(OSError):
        return [folder / name for name in os.listdir(folder) if name.endswith(PART)]  # noqa: PTH208 - no Path each
    return []


def _age_s(path: Path) -> float:
    try:
        return time.time() - path.stat().st_mtime
    except OSError:  # just finished
        return 0.0


def _clear(paths: Iterable[Path]) -> None:
    for path in paths:
        with suppress(OSError):
            path.unlink()


def find_by_hash(folder: Path, photo_sha256: str) -> Path | None:
    """The kept file of a photo that need not be recorded, by its hash; None when there is none."""
    named = (folder / "photos").glob(f"*-{photo_sha256[:8]}.*")
    return next((path for path in sorted(named) if path.suffix != PART), None)


def find_original(folder: Path, row: PhotoRow) -> Path | None:
    """The kept file of a recorded photo, or None when it is gone."""
    stem = original_stem(row.taken_at, row.photo_sha256)
    usual = (folder / "photos" / f"{stem}{suffix}" for suffix in PHOTO_SUFFIXES)
    named = (path for path in (folder / "photos").glob(f"{stem}.*") if path.suffix != PART)
    return next((path for path in usual if path.exists()), None) or next(named, None)


def names_by_stem(folder: Path) -> dict[str, str]:
    """The names of all kept files by their stems: for asking after many of them."""
    with suppress(OSError):
        names = os.listdir(folder / "photos")  # noqa: PTH208 - no Path each
        return {name.partition(".")[0]: name for name in names if not name.endswith(PART)}
    return {}
