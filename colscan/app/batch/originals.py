"""The photos as given, kept under `photos/` so that any number can be computed again."""

from __future__ import annotations

import os
import shutil
from contextlib import suppress
from pathlib import Path

from colscan.errors import LedgerError
from colscan.ledger.columns import PhotoRow, original_stem
from colscan.photo import PhotoRef

PART = ".part"


def keep_original(folder: Path, ref: PhotoRef) -> None:
    """Copy a photo into the trial's `photos/`, whole or not at all.

    Raises
    ------
    LedgerError
        When it can't be written.
    """
    target = folder / "photos" / (original_stem(ref.taken_at, ref.sha256) + ref.path.suffix.lower())
    part = target.with_name(f"{target.name}.{os.getpid()}{PART}")
    try:
        if target.exists():
            return
        target.parent.mkdir(exist_ok=True)
        shutil.copyfile(ref.path, part)
        with part.open("rb+") as copied:
            os.fsync(copied.fileno())
        part.replace(target)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        msg = f"{target}: the photo can't be kept ({error.strerror})."
        raise LedgerError(
            msg, "Make room on the disk, or make the trial's folder writable; then scan again."
        ) from error


def find_by_hash(folder: Path, photo_sha256: str) -> Path | None:
    """The kept file of a photo that need not be recorded, by its hash; None when there is none."""
    named = (folder / "photos").glob(f"*-{photo_sha256[:8]}.*")
    return next((path for path in sorted(named) if path.suffix != PART), None)


def find_original(folder: Path, row: PhotoRow) -> Path | None:
    """The kept file of a recorded photo, or None when it is gone."""
    named = (folder / "photos").glob(original_stem(row.taken_at, row.photo_sha256) + ".*")
    return next((path for path in named if path.suffix != PART), None)
