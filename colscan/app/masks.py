"""Painted masks of a trial: `masks/<first 8 letters of the photo's SHA-256>-<bag>.png` become coverages."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from unicodedata import normalize

from colscan.errors import PhotoError, TrialError
from colscan.growth.agree import Painted
from colscan.ledger import Ledger
from colscan.ledger.columns import SHORT_SHA, PhotoRow, ScoreRow
from colscan.photo.painted import Paint, read_paint
from colscan.trial.model import Trial

FOLDER = "masks"
_NOT_IN_NAMES = frozenset('<>:"/\\|?*')
"""What some system doesn't allow in a file's name, or takes for a folder's end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Masks:
    """What masks say, and why others say nothing."""

    painted: tuple[Painted, ...]
    errors: tuple[PhotoError, ...]


def read_masks(folder: Path, trial: Trial, ledger: Ledger) -> Masks:
    """Return what the painted masks of a trial say, each within the outline of its bag's score.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    trial : Trial
        The plan.
    ledger : Ledger
        With the photos and scores that masks belong to.
    """
    painted, errors = [], []
    for path in sorted((folder / FOLDER).glob("*.png")):
        try:
            painted.append(_read_mask(path, trial, ledger))
        except PhotoError as error:
            errors.append(error)
    return Masks(painted=tuple(painted), errors=tuple(errors))


def mask_path(folder: Path, photo_sha256: str, bag: str) -> Path:
    """Return where the mask of a bag in a photo is.

    Raises
    ------
    TrialError
        When the bag's code can't be part of a file's name.
    """
    if any(letter in _NOT_IN_NAMES or not letter.isprintable() for letter in bag):
        msg = f"The code {bag!r} can't be part of a file's name, so no mask can be kept for this bag."
        raise TrialError(msg, "Give a number instead, or another code in bags.csv.")
    return folder / FOLDER / f"{photo_sha256[:SHORT_SHA]}-{bag}.png"


def paint_of(path: Path, trial: Trial, photo: PhotoRow, score: ScoreRow) -> Paint:
    """Return what a mask says within the outline of a score.

    Raises
    ------
    PhotoError
        When it can't be read, is no mask of this photo, or hides the whole face.
    """
    return read_paint(
        path,
        score.outline,
        photo_size_px=(photo.width_px, photo.height_px),
        max_megapixels=trial.limits.max_photo_megapixels,
    )


def _read_mask(path: Path, trial: Trial, ledger: Ledger) -> Painted:
    begin, _, bag = normalize("NFC", path.stem).partition("-")
    photos = [row for row in ledger.photos if len(begin) >= SHORT_SHA and row.photo_sha256.startswith(begin)]
    scores = [
        row
        for row in ledger.scores
        for photo in photos
        if (row.photo_sha256, normalize("NFC", row.bag)) == (photo.photo_sha256, bag)
    ]
    if len(photos) != 1 or not scores or not scores[0].outline:
        msg = f"{path.name}: there is no score that it belongs to."
        hint = "Name it by the photo's letters under photos/ and the bag, like 5e1d07c2-B04.png."
        raise PhotoError(msg, hint)
    share = paint_of(path, trial, photos[0], scores[0]).share
    return Painted(photo_sha256=photos[0].photo_sha256, bag=scores[0].bag, coverage=share)
