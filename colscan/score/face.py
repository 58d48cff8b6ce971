"""A bag's view → its face on a flat grid of millimetres, as light relative to the card's paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.model import BagView
from colscan.locate.reference import BURNT_OUT
from colscan.photo.between import warp_affine
from colscan.photo.light import to_linear
from colscan.photo.model import Mask
from colscan.photo.thin import left_variance_px, thinned

GRID_MM = 1.5
"""Step of the face's grid: under a third of the smallest patch looked for (150 mm2 is 14 mm across)."""
MARGIN = 3
"""Cells of empty border, so that a face that moved a little is not cut."""
RIM_MM = 18.0
"""A block's sides turn away within this of its outline; what lies deeper is its front."""
# A row or column belongs to the face when this share of it does; stray tips of an outline don't.
_FILLED = 0.15
# Scale from the outlines is believed while it stays this near to the scale from the cards.
_SCALE_TOLERANCE = 0.12
# Blurs of a greater sigma (cells) don't need the full resolution.
_WIDE = 3.0
# A cell is face where most of it is, seen where all of it is but a fiftieth, and burnt out from a quarter on.
_MOSTLY, _ALL_CLEAR, _BURNT = 0.5, 0.98, 0.25
# Px of a step that hold all the detail which a grid can show.
_FINE = 1.4

_TONES = np.array([(1 / 3, 1 / 3, 1 / 3), (1, 0, -1), (-0.5, 1, -0.5)], np.float32)

Affine = NDArray[np.float64]
"""(2, 3) from column, row of the face's grid to x, y of the view's crop, px."""
Grid = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Face:
    """A face on its grid.

    Parameters
    ----------
    light : ndarray, shape (h, w, 3), float32
        Linear light / paper.
    whole : ndarray of bool, shape (h, w)
        The face, hidden places included.
    seen : ndarray of bool, shape (h, w)
        The face without what hides it and without burnt-out places.
    burnt_out : ndarray of bool, shape (h, w)
        Face that is clipped in the photo, under nothing: a reflection.
    to_px : Affine
        Where a cell lies in the view's crop.
    """

    light: Grid
    whole: Mask
    seen: Mask
    burnt_out: Mask
    to_px: Affine


class Means:
    """Gaussian means of the seen cells around each cell; how many of them there are is worked out once.

    Parameters
    ----------
    seen : ndarray of bool, shape (h, w)
        The cells that count.
    """

    def __init__(self, seen: Mask) -> None:
        self._weight = seen.astype(np.float32)
        self._shares: dict[float, Grid] = {}

    def at(self, values: Grid, sigma_mm: float) -> Grid:
        """The mean of a map (h, w) or of maps (h, w, n), of the same shape; 0 where none is near."""
        weight, share = self._weight, self._share(sigma_mm)
        if values.ndim == 3:
            weight, share = (over_channels(x, values.shape[2]) for x in (weight, share))
        return np.asarray(blurred(values * weight, sigma_mm) / share, np.float32)

    def _share(self, sigma_mm: float) -> Grid:
        if sigma_mm not in self._shares:
            self._shares[sigma_mm] = np.maximum(blurred(self._weight, sigma_mm), np.float32(1e-3))
        return self._shares[sigma_mm]


def smooth(values: Grid, seen: Mask, sigma_mm: float) -> Grid:
    """Gaussian mean of the seen cells around each cell, shape of `values`; 0 where none is near."""
    return Means(seen).at(values, sigma_mm)


def blurred(values: Grid, sigma_mm: float) -> Grid:
    """Gaussian mean around each cell, all cells seen.

    A wide one is taken at a half or a quarter of the resolution, where it is 3 to 9 times as quick: within a
    hundredth of its top the same kernel (Burt & Adelson 1983, doi:10.1109/TCOM.1983.1095851).
    """
    return _blurred(values, sigma_mm / GRID_MM)


def _blurred(values: Grid, sigma: float) -> Grid:
    if sigma <= _WIDE:
        return np.asarray(cv2.GaussianBlur(values, (0, 0), sigma), np.float32)
    half = np.asarray(cv2.pyrDown(values), np.float32)
    # Halving and doubling add a variance of 1 each.
    wide = _blurred(half, float(np.sqrt(sigma**2 - 2)) / 2)
    return np.asarray(cv2.pyrUp(wide, dstsize=values.shape[1::-1]), np.float32)


def over_channels(values: Grid, count: int) -> Grid:
    """A map (h, w) as often as there are channels: numpy's own broadcasting takes four times as long."""
    return merged([values] * count)


def merged(maps: Sequence[Grid]) -> Grid:
    """Maps (h, w) as one of several channels."""
    return np.asarray(cv2.merge(list(maps)), np.float32)


def channels_of(maps: Grid) -> list[Grid]:
    """The maps (h, w) of (h, w, n)."""
    return [np.asarray(one, np.float32) for one in cv2.split(maps)]


def brightness_of(light: Grid) -> Grid:
    """The mean of the channels (h, w, 3)."""
    return np.asarray(cv2.transform(light, _TONES[:1]), np.float32)


def tones_of(light: Grid) -> Grid:
    """Brightness, red minus blue, and green over the mean of red and blue (h, w, 3) of light (h, w, 3)."""
    return np.asarray(cv2.transform(light, _TONES), np.float32)


def own_frame(view: BagView) -> tuple[Affine, tuple[int, int]]:
    """The grid of a view by itself: its placement and its (h, w); the middle cell is the face's middle."""
    x0, y0, x1, y1 = extent(view.face)
    step_px = GRID_MM / view.mm_per_px
    w, h = (int(np.ceil(side / step_px)) + 2 * MARGIN for side in (x1 - x0, y1 - y0))
    left, top = (x0 + x1) / 2 - (w - 1) / 2 * step_px, (y0 + y1) / 2 - (h - 1) / 2 * step_px
    return np.array([[step_px, 0, left], [0, step_px, top]]), (h, w)


def frame_onto(view: BagView, known: Mask) -> Affine:
    """Where the cells of a known face (bool, on its grid) lie in a view, by the two outlines alone."""
    x0, y0, x1, y1 = extent(known)
    u0, v0, u1, v1 = extent(view.face)
    step_px = GRID_MM / view.mm_per_px
    scale = [
        ratio if abs(ratio / step_px - 1) < _SCALE_TOLERANCE else step_px
        for ratio in ((u1 - u0) / max(x1 - x0, 1), (v1 - v0) / max(y1 - y0, 1))
    ]
    left = (u0 + u1) / 2 - scale[0] * (x0 + x1) / 2
    top = (v0 + v1) / 2 - scale[1] * (y0 + y1) / 2
    return np.array([[scale[0], 0, left], [0, scale[1], top]])


def extent(mask: Mask) -> tuple[int, int, int, int]:
    """First and last well filled column and row: left, top, right, bottom."""
    rows = np.flatnonzero(mask.mean(1) > _FILLED)
    columns = np.flatnonzero(mask.mean(0) > _FILLED)
    if not len(rows) or not len(columns):
        return 0, 0, mask.shape[1] - 1, mask.shape[0] - 1
    return int(columns[0]), int(rows[0]), int(columns[-1]), int(rows[-1])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Smoothed:
    """A view made ready to be laid on grids of about one step.

    Parameters
    ----------
    maps : ndarray, shape (rows, columns, 6), float32
        Linear light without detail finer than the grid; and how much (0-1) each place is face, is not hidden,
        and is clipped in the photo.
    every : int
        One row and column of it is so many px of the view.
    paper : ndarray, shape (3,)
        White paper.
    """

    maps: Grid
    every: int
    paper: NDArray[np.float32]


def smoothed(view: BagView, to_px: Affine) -> Smoothed:
    """A view made ready for grids of the step of this placement."""
    step_px = float(np.sqrt(abs(np.linalg.det(to_px[:, :2]))))
    every = max(1, int(step_px / _FINE))
    light = thinned(to_linear(view.rgb), every)
    if step_px > 1.2:
        # Without this, detail finer than the grid would fold into it. Thinning did a part of it.
        sigma = left_variance_px((step_px / 2) ** 2, every) ** 0.5
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), sigma), np.float32)
    unclipped = cv2.inRange(view.rgb, np.zeros(3), np.full(3, BURNT_OUT - 1.0)) > 0
    masks = (
        thinned(mask.astype(np.float32), every) for mask in (view.face, view.face & ~view.hidden, ~unclipped)
    )
    return Smoothed(
        maps=np.asarray(cv2.merge([light, *masks]), np.float32),
        every=every,
        paper=view.paper.astype(np.float32),
    )


def resample(view: BagView, to_px: Affine, shape: tuple[int, int]) -> Face:
    """A view's face on a grid of (h, w) cells placed by `to_px`."""
    return lay(smoothed(view, to_px), to_px, shape)


def lay(view: Smoothed, to_px: Affine, shape: tuple[int, int]) -> Face:
    """The same of a view that is smoothed already."""
    to_maps = np.array(to_px, np.float64)
    to_maps[:, 2] -= (view.every - 1) / 2
    laid = warp_affine(view.maps, to_maps / view.every, shape)
    whole, clear, burnt = channels_of(laid)[3:]
    clear_cells = clear > _ALL_CLEAR
    return Face(
        light=np.asarray(laid[..., :3] / view.paper, np.float32),
        whole=whole > _MOSTLY,
        seen=clear_cells & (burnt < _BURNT),
        burnt_out=clear_cells & (burnt >= _BURNT),
        to_px=to_px,
    )


def to_mm(cells: NDArray[np.float64], shape: tuple[int, int]) -> NDArray[np.float64]:
    """Millimetres x, y from the middle of the face for (N, 2) columns, rows of a grid of (h, w)."""
    return (cells - (np.array(shape[::-1]) - 1) / 2) * GRID_MM


def to_photo_px(cells: NDArray[np.float64], face: Face, view: BagView) -> NDArray[np.float64]:
    """Px x, y in the photo for (N, 2) columns, rows of a face's grid."""
    return np.asarray(cells @ face.to_px[:, :2].T + face.to_px[:, 2] + np.array(view.origin_px, float))


def depth_mm(mask: Mask) -> Grid:
    """How deep each cell lies inside a mask, mm; the grid's border counts as outside."""
    padded = np.pad(mask, 1).astype(np.uint8)
    return np.asarray(cv2.distanceTransform(padded, cv2.DIST_L2, 3)[1:-1, 1:-1] * GRID_MM, np.float32)


def near_mm(mask: Mask, reach_mm: float) -> Mask:
    """Cells within about `reach_mm` of a mask."""
    size = 2 * round(reach_mm / GRID_MM) + 1
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((size, size), np.uint8)) > 0)
