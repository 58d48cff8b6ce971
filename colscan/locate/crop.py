"""A face's outline in a photo → the view of its bag: its crop, and whether the photo's border cuts it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from colscan.flags import Flag
from colscan.locate.cards import filled
from colscan.locate.model import BagView, Points
from colscan.locate.outline import simplified
from colscan.locate.reference import Reference
from colscan.photo.model import ImageRGB, Mask

Shape = tuple[int, int]
"""Rows and columns."""
Hide = Callable[[tuple[int, int], Shape], Mask]
"""From a crop's origin (x, y in px of the photo) and shape to its places that something covers."""

# Around the face: room for what scoring smooths over.
_MARGIN_MM = 8.0
# An outline this near to the photo's border is cut by it.
_BORDER_PX = 2.0


def is_cut(outline_px: Points, shape: Shape) -> bool:
    """Whether the border of a photo of this shape cuts an outline."""
    return bool(((outline_px < _BORDER_PX) | (outline_px > _last(shape) - _BORDER_PX)).any())


def face_within(outline_px: Points, shape: Shape) -> Points:
    """The polygon of what a photo of this shape shows of an outline."""
    return simplified(np.clip(outline_px, 0, _last(shape)))


def _last(shape: Shape) -> Points:
    return np.array([shape[1] - 1.0, shape[0] - 1.0])


def view_of(
    rgb: ImageRGB,
    face_px: Points,
    *,
    key: int,
    mm_per_px: float,
    reference: Reference,
    flags: tuple[Flag, ...],
    hide: Hide,
) -> BagView:
    """The view of a bag.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright sRGB.
    face_px : ndarray, shape (n, 2)
        The face, from `face_within`.
    key : int
        As the view's.
    mm_per_px : float
        Scale at the bag.
    reference : Reference
        The light on it.
    flags : tuple of Flag
        Beside those of the reference.
    hide : callable
        What covers the face.
    """
    x0, y0, x1, y1 = _box(face_px, mm_per_px, rgb.shape[:2])
    shape = (y1 - y0, x1 - x0)
    face = filled(face_px - (x0, y0), shape)
    return BagView(
        key=key,
        rgb=rgb[y0:y1, x0:x1].copy(),
        origin_px=(x0, y0),
        face=face,
        hidden=face & hide((x0, y0), shape),
        outline_px=face_px,
        mm_per_px=mm_per_px,
        paper=reference.paper,
        ink=reference.ink,
        blur_px=reference.blur_px,
        flags=(*reference.flags, *flags),
    )


def outline_doubts(*, sure: bool, cut: bool) -> tuple[Flag, ...]:
    """What makes a face's outline doubtful, as flags."""
    doubts = {Flag.FACE_UNSURE: not sure, Flag.CUT_OFF: cut}
    return tuple(flag for flag, applies in doubts.items() if applies)


def _box(face_px: Points, mm_per_px: float, shape: Shape) -> tuple[int, int, int, int]:
    """x0, y0, x1, y1 of the crop around a face in a photo of this shape."""
    margin = _MARGIN_MM / mm_per_px
    x0, y0 = np.maximum(np.floor(face_px.min(0) - margin), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(face_px.max(0) + margin) + 1, (shape[1], shape[0])).astype(int)
    return int(x0), int(y0), int(x1), int(y1)
