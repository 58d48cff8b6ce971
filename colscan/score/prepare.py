"""A view and its bag's baseline → registered maps of light, ready to be unmixed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from colscan.locate.model import BagView
from colscan.photo.model import Mask
from colscan.photo.ranks import median, picked
from colscan.score.baseline import fill_gaps
from colscan.score.face import (
    GRID_MM,
    RIM_MM,
    Face,
    Grid,
    blurred,
    brightness_of,
    depth_mm,
    near_mm,
    own_frame,
    resample,
    smooth,
    tones_of,
)
from colscan.score.mixing import Cells
from colscan.score.model import Baseline
from colscan.score.register import lay_onto

# Light is smoothed by a pixel for the map, as smoothing widens every colony by about its sigma, and
# more for the cells that the fit stands on.
_MAP_MM = 1.0
_FIT_MM = 2.0
_FIT_STEP = 6
DETAIL_MM = 1.5
"""Finer than this is grain and JPEG noise."""
# Bare substrate is taken from this much of the baseline around a place.
_BARE_MM = 6.0
# Shading is what is left of the baseline at this scale, and 0.7 of it (log) is taken for today's: 1
# would be right under the same lamp, 0 under a lamp at the other side.
_SHADING_MM = 8.0
_SHADING_KEPT = 0.7
# Cards cast a shadow, and are stuck on again in another place.
_SHADOW_MM = 15.0
# Misfit of a cell's light by shading, relative: on the front, and where the block turns away or a
# card shades it. By veil and by noise of redness, relative to the photo's median brightness, and by
# colour cast, relative to the cell's own brightness.
_SHADING_SD, _SHADING_SD_RIM = 0.04, 0.2
_VEIL_SD, _REDNESS_SD, _CAST_SD = 0.02, 0.014, 0.01
# Brighter than its surround by this factor: too odd to fit the light to.
_ODD, _AROUND_MM = 1.45, 7.0
# Without a registered baseline its texture means nothing; its shading still does.
_UNREGISTERED_MM = 6.0
_LEAST_CELLS = 25


# Without slots: what is worked out of it is kept in it.
@dataclass(frozen=True, kw_only=True, eq=False)
class Prepared:
    """One bag of a photo, ready to be unmixed.

    Parameters
    ----------
    view : BagView
        As located.
    face : Face
        Today's face on the baseline's grid.
    light0 : ndarray, shape (h, w, 3)
        The baseline on the same grid.
    shading : ndarray, shape (h, w)
        By how much each place is darker or brighter than the front: light of both is divided by it.
    whole, seen : ndarray of bool, shape (h, w)
        The face, and what of it can be seen (reflections still included).
    rim : ndarray of bool, shape (h, w)
        Where shading is not to be trusted.
    likeness : float
        How well the baseline's fine detail was found again; 0 when it wasn't.
    """

    view: BagView
    face: Face
    light0: Grid
    shading: Grid
    whole: Mask
    seen: Mask
    rim: Mask
    likeness: float

    @cached_property
    def depth(self) -> Grid:
        """How deep each cell lies inside the face, mm."""
        return depth_mm(self.whole)

    @cached_property
    def tones(self) -> Grid:
        """Today's brightness, redness and greenness, (h, w, 3)."""
        return tones_of(self.face.light)

    @cached_property
    def tones0(self) -> Grid:
        """The baseline's, (h, w, 3)."""
        return tones_of(self.light0)

    @cached_property
    def even(self) -> Mask:
        """Seen cells that are not much brighter than their surround, (h, w)."""
        brightness = np.ascontiguousarray(self.tones[..., 0])
        return self.seen & (brightness < _ODD * smooth(brightness, self.seen, _AROUND_MM))

    @cached_property
    def around0(self) -> Grid:
        """The baseline's tones at 6 mm: bare substrate as it usually is about each place, (h, w, 3)."""
        return blurred(self.tones0, _BARE_MM)

    @cached_property
    def level0(self) -> Grid:
        """The baseline's log brightness without shading, (h, w)."""
        return self._level(blurred(np.ascontiguousarray(self.tones0[..., 0]), DETAIL_MM))

    @cached_property
    def detail(self) -> Grid:
        """Today's, not smoothed, (h, w)."""
        return self._level(self.tones[..., 0])

    def _level(self, brightness: Grid) -> Grid:
        return np.log(np.maximum(brightness, np.float32(1e-4)) / self.shading)

    @property
    def seen_share(self) -> float:
        """Share of the face that can be seen."""
        return float(self.seen.sum() / max(self.whole.sum(), 1))


def prepare(view: BagView, baseline: Baseline) -> Prepared:
    """A view registered to its bag's baseline."""
    light0, whole0 = fill_gaps(baseline)
    known0 = np.isfinite(baseline.face[..., 0])
    nothing = np.zeros_like(known0)
    first = Face(light=light0, whole=whole0, seen=known0, burnt_out=nothing, to_px=np.eye(2, 3))
    face, likeness = lay_onto(view, first)
    if likeness == 0.0:
        light0 = smooth(light0, whole0, _UNREGISTERED_MM)
    brightness0 = smooth(brightness_of(light0), whole0, _SHADING_MM)
    moved = near_mm(whole0 & ~known0, _SHADOW_MM - GRID_MM)
    return _prepared(
        view, face, light0=light0, brightness0=brightness0, known=whole0, moved=moved, likeness=likeness
    )


def prepare_without(view: BagView, colour: NDArray[np.float64]) -> Prepared:
    """A view without baseline, its substrate being of one colour (3,): light / paper."""
    face = resample(view, *own_frame(view))
    light0 = np.broadcast_to(colour.astype(np.float32), face.light.shape)
    level = np.full(face.whole.shape, float(colour.mean()), np.float32)
    nothing = np.zeros_like(face.whole)
    return _prepared(
        view, face, light0=light0, brightness0=level, known=face.whole, moved=nothing, likeness=0.0
    )


def _prepared(
    view: BagView, face: Face, *, light0: Grid, brightness0: Grid, known: Mask, moved: Mask, likeness: float
) -> Prepared:
    whole = face.whole & known
    front = depth_mm(face.whole) > RIM_MM
    hidden = face.whole & ~face.seen & near_mm(front, RIM_MM)
    large = depth_mm(hidden) > 2 * GRID_MM
    rim = ~front | moved | near_mm(large, _SHADOW_MM + 2 * GRID_MM)
    middle = whole & front
    typical = float(median(picked(brightness0, middle if middle.any() else whole))) if whole.any() else 1.0
    shading = np.clip(brightness0 / max(typical, 1e-4), 0.2, 4.0) ** _SHADING_KEPT
    return Prepared(
        view=view,
        face=face,
        light0=light0,
        shading=shading.astype(np.float32),
        whole=face.whole,
        seen=face.seen & whole,
        rim=rim,
        likeness=likeness,
    )


def usual_brightness(bags: Sequence[Prepared]) -> float:
    """The photo's median brightness, which noise and veil are relative to."""
    medians = [float(median(picked(bag.tones[..., 0], bag.seen))) for bag in bags if bag.seen.any()]
    return float(np.clip(np.median(medians), 0.06, 0.6)) if medians else 0.1


def map_cells(bag: Prepared, usual: float) -> Cells:
    """All cells of the face's grid, row by row."""
    return _cells(bag, usual, sigma_mm=_MAP_MM, seen=bag.seen, chosen=slice(None))


def fit_cells(bag: Prepared, usual: float, *, without: Mask) -> Cells | None:
    """Cells of the front that the bag's light is fitted to; None when they are too few."""
    clear = bag.even & ~without
    usable = clear & (bag.depth > RIM_MM)
    on_grid = np.zeros_like(usable)
    on_grid[_FIT_STEP // 2 :: _FIT_STEP, _FIT_STEP // 2 :: _FIT_STEP] = True
    usable &= on_grid
    if usable.sum() < _LEAST_CELLS:
        return None
    return _cells(bag, usual, sigma_mm=_FIT_MM, seen=clear, chosen=np.flatnonzero(usable))


def _cells(
    bag: Prepared, usual: float, *, sigma_mm: float, seen: Mask, chosen: NDArray[np.intp] | slice
) -> Cells:
    today = smooth(bag.tones[..., :2], seen, sigma_mm).reshape(-1, 2)[chosen]
    first = blurred(bag.tones0[..., :2], sigma_mm).reshape(-1, 2)[chosen]
    shading = bag.shading.ravel()[chosen]
    brightness, redness = (np.asarray(tone / shading, np.float32) for tone in today.T)
    brightness0, redness0 = (np.asarray(tone / shading, np.float32) for tone in first.T)
    return Cells(
        brightness=brightness,
        redness=redness,
        brightness0=brightness0,
        redness0=redness0,
        precision=_precision(brightness, redness, usual, bag.rim.ravel()[chosen]),
    )


def _precision(
    brightness: NDArray[np.float32], redness: NDArray[np.float32], usual: float, rim: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """Inverse covariance of brightness and redness in each cell: shading moves both together."""
    shading = np.where(rim, _SHADING_SD_RIM, _SHADING_SD) ** 2
    yy = (_VEIL_SD * usual) ** 2 + shading * brightness**2
    dd = (_REDNESS_SD * usual) ** 2 + shading * redness**2 + (_CAST_SD * brightness) ** 2
    yd = shading * brightness * redness
    return (np.stack([dd, -yd, yy]) / (yy * dd - yd**2)).astype(np.float32)
