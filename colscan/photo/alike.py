"""Whether two files hold one and the same picture: saved again, smaller, sent through a messenger."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.photo.load import load_small
from colscan.photo.model import PhotoRef

SIDE = 96
"""Cells across and down: some 20 px each in a messenger's copy, so that JPEG's error averages out, and
smaller than a reflection on a bag."""
# Decoded at four times that, the cells' means don't depend on how a copy was made smaller.
_LEAST_PX = 4 * SIDE
# Differences of cells in sRGB steps: 99 % of them at most, and the largest. Copies of five rendered photos
# at a third of the size and JPEG quality 50 reach 4 and 9; the same photos shifted by a thousandth of their
# width reach 8 and 17, with a reflection of a fortieth of their height 1 and 115.
_MOST_99, _MOST = 5, 13
# Sides are whole pixels: a copy's shape is off by at most this.
_SHAPE_OFF = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Glance:
    """A picture at a glance: the means of its cells (SIDE, SIDE, 3) in sRGB, and its width / height."""

    cells: NDArray[np.uint8]
    shape: float


def glance_at(path: Path, *, max_megapixels: float) -> Glance:
    """A photo file at a glance, upright.

    Parameters
    ----------
    path : Path
        A JPEG, PNG or HEIC file.
    max_megapixels : float
        Larger photos are refused before they are decoded.

    Raises
    ------
    PhotoError
        When the file can't be read, or is too large or too small.
    """
    rgb = load_small(path, least_px=_LEAST_PX, max_megapixels=max_megapixels)
    cells = cv2.resize(rgb, (SIDE, SIDE), interpolation=cv2.INTER_AREA)
    return Glance(cells=np.asarray(cells, np.uint8), shape=rgb.shape[1] / rgb.shape[0])


def is_alike(one: Glance, other: Glance) -> bool:
    """Whether two pictures are one, but for compression and size; two photos of a burst are not."""
    if abs(one.shape / other.shape - 1) > _SHAPE_OFF:
        return False
    off = np.abs(one.cells.astype(np.int16) - other.cells).max(2)
    return bool(np.quantile(off, 0.99) <= _MOST_99 and off.max() <= _MOST)


def may_be_copies(one: PhotoRef, other: PhotoRef) -> bool:
    """Whether what two files say of themselves allows that they hold one picture.

    A copy keeps the camera's date or loses it; two dates by the camera are two photos, however alike a
    tripod makes them. Clocks are compared as they stand, as a copy may lose the offset alone.
    """
    dates = [
        ref.taken_at.replace(tzinfo=None) for ref in (one, other) if ref.taken_at_from.startswith("exif")
    ]
    return len(set(dates)) < 2
