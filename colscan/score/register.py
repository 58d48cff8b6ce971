"""Today's face laid onto the bag's first one, by the grain that they have in common."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.model import BagView
from colscan.photo.between import warp_affine
from colscan.photo.model import Mask
from colscan.score.ecc import align_affine, align_blurred
from colscan.score.face import (
    GRID_MM,
    Affine,
    Face,
    Grid,
    blurred,
    frame_onto,
    lay,
    smoothed,
)
from colscan.score.grain import best_shift, grain_of

# Bags are put back within about this of their place; searching further finds chance likeness.
_SEARCH_MM = 24.0
# Corners that moved further than this off the outlines' placement are a wrong answer.
_FURTHEST_MM = 32.0
# What a shift is sought and a change begun by: detail this coarse is still alike some steps away.
_COARSE_MM = 2.0
# Of 710 faces of other bags of six rendered racks one in nine reaches this; of the bags' own, where mycelium
# is not yet dense, 96 in a hundred (tests/bench/known_again.py).
_LEAST_ALIKE = 0.15
# A shift after which less than this share of the first face is seen is none.
_SHARED = 0.4
# A face seen from another side, or whose outline was found otherwise, is this much wider or narrower.
_STRETCHES = (1.0, 0.94, 1.06)


def lay_onto(view: BagView, first: Face) -> tuple[Face, float]:
    """A view's face on the grid of the bag's first face, and the likeness (0-1) of their grain.

    The outlines place it; then a shift and an affine change are sought that bring the grain of
    brightness and colour together (enhanced correlation coefficient). When none does, likeness is 0
    and the outlines' placement stands.

    References
    ----------
    Evangelidis, Psarakis 2008, doi:10.1109/TPAMI.2008.113.
    """
    placed = frame_onto(view, first.whole)
    shape = first.whole.shape
    ready = smoothed(view, placed)
    rough = lay(ready, placed, (shape[0], shape[1]))
    likeness, change = _find_change(first, rough)
    if likeness < _LEAST_ALIKE:
        return rough, 0.0
    return lay(ready, _chain(placed, change), (shape[0], shape[1])), likeness


def _find_change(first: Face, rough: Face) -> tuple[float, Affine]:
    """The most likeness that a change of place reaches, and that change."""
    known, today = (grain_of(face.light, face.seen) for face in (first, rough))
    coarse0, coarse = (blurred(grain, _COARSE_MM) for grain in (known, today))
    best: tuple[float, Affine] = (0.0, np.eye(2, 3))
    for stretches in ((1.0,), _STRETCHES):
        start = _begin(coarse0, first.seen, coarse, rough.seen, stretches)
        near = align_blurred(coarse0, coarse, start, rough.seen)
        found = near and align_affine(known, today, near[1], rough.seen)
        if found and found[0] > best[0] and _moved_mm(found[1], known.shape) < _FURTHEST_MM:
            best = found
        if best[0] >= _LEAST_ALIKE:
            break
    return best


def _moved_mm(change: Affine, shape: tuple[int, ...]) -> float:
    """How far a corner of the grid moves."""
    height, width = shape[:2]
    corners = np.array([[0, 0, 1], [width, 0, 1], [0, height, 1], [width, height, 1]], float)
    return float(np.abs(corners @ change.T - corners[:, :2]).max() * GRID_MM)


def _begin(known: Grid, seen0: Mask, today: Grid, seen: Mask, stretches: Sequence[float]) -> Affine:
    """The stretch and shift that make coarse grain most alike, sought at half the resolution."""
    reach = round(_SEARCH_MM / GRID_MM / 2)
    half0, clear0, half, clear = (_halved(x) for x in (known, seen0, today, seen))
    half0, half = half0 * clear0[..., None], half * clear[..., None]
    best, found = -1.0, np.eye(2, 3)
    for across, down in product(stretches, repeat=2):
        back = _stretch(1 / across, 1 / down, clear0.shape)
        there, shown = (warp_affine(x, back, clear0.shape) for x in (half0, clear0))
        most, shift = best_shift(there, shown, half, clear, reach=reach, least=_SHARED * float(clear0.sum()))
        if most > best:
            best, found = most, _stretch(across, down, known.shape)
            found[:, 2] += 2 * np.array(shift)
    return found


def _stretch(across: float, down: float, shape: tuple[int, ...]) -> Affine:
    """A change of scale about the middle of a grid."""
    x, y = (shape[1] - 1) / 2, (shape[0] - 1) / 2
    return np.array([[across, 0, (1 - across) * x], [0, down, (1 - down) * y]])


def _halved(values: NDArray[Any]) -> Grid:
    return np.asarray(
        cv2.resize(values.astype(np.float32), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    )


def _chain(placed: Affine, change: Affine) -> Affine:
    """First the change on the grid, then the placement in the view."""
    square = np.vstack([change, [0, 0, 1]])
    return np.asarray((np.vstack([placed, [0, 0, 1]]) @ square)[:2])
