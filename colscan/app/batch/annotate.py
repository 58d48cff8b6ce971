"""A recorded photo with the ledger's outlines and scores drawn on it."""

from __future__ import annotations

import hashlib
from pathlib import Path

from colscan.errors import LedgerError
from colscan.ledger import read_ledger
from colscan.photo import load_rgb
from colscan.present import draw_overlay, encode_jpeg
from colscan.trial import load_trial


def annotate_photo(folder: Path, photo: Path) -> Path:
    """Draw a scanned photo's scores on it and return where the picture is: ``annotated.jpg`` in the trial.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    photo : Path
        A photo that was scanned into it.

    Raises
    ------
    LedgerError
        When the picture can't be written.
    """
    rgb = load_rgb(photo, max_megapixels=load_trial(folder).limits.max_photo_megapixels)
    sha256 = hashlib.sha256(photo.read_bytes()).hexdigest()
    ledger = read_ledger(folder)
    scores = [row for row in ledger.scores if row.photo_sha256 == sha256]
    suspects = [row for row in ledger.suspects if row.photo_sha256 == sha256]
    target = folder / "annotated.jpg"
    part = target.with_suffix(".part")
    try:
        part.write_bytes(encode_jpeg(draw_overlay(rgb, scores, suspects)))
        part.replace(target)
    except OSError as error:
        msg = f"{target}: can't be written ({error.strerror})."
        raise LedgerError(msg, "Make room on the disk, or make the trial's folder writable.") from error
    return target
