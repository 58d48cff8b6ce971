"""Today's face laid onto the bag's first one, by what their fine detail has in common."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from colscan.locate.model import BagView
from colscan.photo.ranks import median, picked
from colscan.score.ecc import align_affine, align_blurred
from colscan.score.face import (
    GRID_MM,
    Affine,
    Face,
    Grid,
    blurred,
    brightness_of,
    frame_onto,
    lay,
    smooth,
    smoothed,
)

# Shavings and grain are 1 to 10 mm; coarser detail is light and growth.
_DETAIL_MM = (1.0, 5.0)
# Bags are put back within about this of their place; searching further finds chance likeness.
_SEARCH_MM = 24.0
# Corners that moved further than this off the outlines' placement are a wrong answer.
_FURTHEST_MM = 26.0
# Of unrelated faces one in ten reaches 0.26, one in twenty 0.3; the same substrate, half grown over, has
# 0.3 to 0.8. Where brightness is less alike than the first of these, colour is asked too.
_ALIKE = 0.4
_LEAST_ALIKE = 0.28


def lay_onto(view: BagView, first: Face) -> tuple[Face, float]:
    """A view's face on the grid of the bag's first face, and the likeness (0-1) of their detail.

    The outlines place it; then a shift and an affine change are sought that bring the fine detail
    of brightness, or else of colour, together (enhanced correlation coefficient). When none does,
    likeness is 0 and the outlines' placement stands.

    References
    ----------
    Evangelidis, Psarakis 2008, doi:10.1109/TPAMI.2008.113.
    """
    placed = frame_onto(view, first.whole)
    shape = first.whole.shape
    ready = smoothed(view, placed)
    rough = lay(ready, placed, (shape[0], shape[1]))
    change, likeness = _best_change(first, rough)
    if likeness < _LEAST_ALIKE:
        return rough, 0.0
    return lay(ready, _chain(placed, change), (shape[0], shape[1])), likeness


def _best_change(first: Face, rough: Face) -> tuple[Affine, float]:
    best: tuple[Affine, float] = (np.eye(2, 3), 0.0)
    for known, today in zip(details(first), details(rough), strict=True):
        change, likeness = _align(known, today, rough)
        if likeness > best[1]:
            best = change, likeness
        if best[1] > _ALIKE:
            break
    return best


def details(face: Face) -> Iterator[Grid]:
    """Fine detail of brightness, then of red minus blue, which film and reflections don't touch."""
    brightness = np.log(np.maximum(brightness_of(face.light), 1e-4))
    yield np.clip(_band(brightness, face), -0.4, 0.4)
    redness = face.light[..., 0] - face.light[..., 2]
    level = max(float(median(np.abs(picked(redness, face.seen)))) if face.seen.any() else 0.0, 1e-4)
    yield np.clip(_band(redness / level, face), -1.0, 1.0)


def _band(values: Grid, face: Face) -> Grid:
    fine, coarse = (smooth(values, face.seen, sigma) for sigma in _DETAIL_MM)
    return np.asarray((fine - coarse) * face.seen, np.float32)


def _align(known: Grid, today: Grid, rough: Face) -> tuple[Affine, float]:
    coarse0, coarse = (blurred(d, 2.0) for d in (known, today))
    start = np.eye(2, 3)
    start[:, 2] = _shift(coarse0, coarse)
    near = align_blurred(coarse0, coarse, start, rough.seen)
    found = None if near is None else align_affine(known, today, near, rough.seen)
    if found is None:
        return np.eye(2, 3), 0.0
    likeness, change = found
    height, width = known.shape
    corners = np.array([[0, 0, 1], [width, 0, 1], [0, height, 1], [width, height, 1]], float)
    moved_mm = np.abs(corners @ change.T - corners[:, :2]).max() * GRID_MM
    return change, likeness if moved_mm < _FURTHEST_MM else 0.0


def _shift(known: Grid, today: Grid) -> tuple[float, float]:
    """The shift in cells that makes coarse detail most alike, sought at half the resolution."""
    reach = round(_SEARCH_MM / GRID_MM / 2)
    half0, half = (cv2.resize(d, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA) for d in (known, today))
    padded = cv2.copyMakeBorder(half, reach, reach, reach, reach, cv2.BORDER_CONSTANT, value=0)
    likeness = cv2.matchTemplate(padded, half0, cv2.TM_CCORR_NORMED)
    _, _, _, best = cv2.minMaxLoc(likeness)
    return 2.0 * (best[0] - reach), 2.0 * (best[1] - reach)


def _chain(placed: Affine, change: Affine) -> Affine:
    """First the change on the grid, then the placement in the view."""
    square = np.vstack([change, [0, 0, 1]])
    return np.asarray((np.vstack([placed, [0, 0, 1]]) @ square)[:2])
