"""Painted masks of a trial: `masks/<first 8 letters of the photo's SHA-256>-<bag>.png` become coverages."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from colscan.errors import PhotoError
from colscan.growth.agree import Painted
from colscan.ledger import Ledger
from colscan.ledger.columns import SHORT_SHA
from colscan.photo.painted import painted_share
from colscan.trial.model import Trial

FOLDER = "masks"


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


def _read_mask(path: Path, trial: Trial, ledger: Ledger) -> Painted:
    begin, _, bag = path.stem.partition("-")
    photos = [row for row in ledger.photos if len(begin) >= SHORT_SHA and row.photo_sha256.startswith(begin)]
    scores = [
        row
        for row in ledger.scores
        for photo in photos
        if (row.photo_sha256, row.bag) == (photo.photo_sha256, bag)
    ]
    if len(photos) != 1 or not scores or not scores[0].outline:
        msg = f"{path.name}: there is no score that it belongs to."
        hint = "Name it by the photo's letters under photos/ and the bag, like 5e1d07c2-B04.png."
        raise PhotoError(msg, hint)
    share = painted_share(
        path,
        scores[0].outline,
        photo_size_px=(photos[0].width_px, photos[0].height_px),
        max_megapixels=trial.limits.max_photo_megapixels,
    )
    return Painted(photo_sha256=photos[0].photo_sha256, bag=bag, coverage=share)
