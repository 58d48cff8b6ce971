"""Kept photos → pictures made from them for a page, kept in the trial's cache and made once."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import numpy as np

from colscan.app.batch.originals import find_original
from colscan.app.put import keep_bytes, kept_bytes
from colscan.errors import PhotoError
from colscan.ledger.columns import PhotoRow
from colscan.locate.cards import cover_cards
from colscan.photo.load import load_rgb, load_small
from colscan.present.crop import cut_out
from colscan.present.report.small import encode_small

FOLDER = Path("cache") / "photos"
WIDTHS_PX = (480, 960, 1920)
"""A photo is shown in one of these: what fits a phone, a phone held close or a tablet, a large screen."""
# Part of each photo's name in the cache: another one when they are made in another way.
_VERSION = 1


def original_of(trial_dir: Path, photo: PhotoRow) -> Path:
    """Return the kept file of a recorded photo.

    Raises
    ------
    PhotoError
        When it is gone.
    """
    path = find_original(trial_dir, photo)
    if path is None:
        msg = f"{photo.photo}: is no longer in {trial_dir / 'photos'}."
        raise PhotoError(msg, "Scan the photo again: that puts it back.")
    return path


def keep_picture(folder: Path, made_of: str, make: Callable[[], bytes]) -> bytes:
    """Return a JPEG file, from the cache when it is whole there; else it is made and kept.

    Parameters
    ----------
    folder : Path
        The folder of the cache for pictures of its kind.
    made_of : str
        All that the picture depends on: two that differ in it are two.
    make : callable
        Makes the file's bytes.
    """
    path = folder / f"{hashlib.sha256(made_of.encode()).hexdigest()[:32]}.jpg"
    known = kept_bytes(path)
    if known is not None:
        return known
    data = make()
    keep_bytes(path, data)  # viewers of JPEG files don't look behind a picture's end
    return data


def photo_picture(trial_dir: Path, photo: PhotoRow, *, width_px: int, covers_cards: bool) -> bytes:
    """Return a kept photo as a JPEG file, upright; never wider than it is.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder; pictures are kept in its `cache/`.
    photo : PhotoRow
        Which photo.
    width_px : int
        Width of the picture.
    covers_cards : bool
        Whether its cards are painted over: they may say what a bag got.

    Raises
    ------
    PhotoError
        When the photo is gone, damaged, or another one than was scanned.
    """
    path = original_of(trial_dir, photo)
    share = min(1.0, width_px / photo.width_px)
    size = round(photo.width_px * share), max(1, round(photo.height_px * share))
    made_of = f"{_VERSION} {photo.photo_sha256} {size}{' covered' if covers_cards else ''}"
    return keep_picture(
        trial_dir / FOLDER, made_of, lambda: _shrink(path, photo, size, covers_cards=covers_cards)
    )


def _shrink(path: Path, photo: PhotoRow, size: tuple[int, int], *, covers_cards: bool) -> bytes:
    # The size was checked when the photo was scanned.
    if covers_cards:
        rgb = cover_cards(load_rgb(path, max_megapixels=np.inf))  # in a small picture tags aren't found
    else:
        rgb = load_small(path, least_px=min(size), max_megapixels=np.inf)
    height, width = rgb.shape[:2]
    if abs(width * photo.height_px - height * photo.width_px) > max(photo.width_px, photo.height_px):
        msg = f"{photo.photo}: has another shape than when it was scanned."
        raise PhotoError(msg, "Put the photo back as it was.")
    return encode_small(cut_out(rgb, (0, 0, width, height), size=size))
