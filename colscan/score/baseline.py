"""A bag's photos of its first day and a half → how it looked before anything grew."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.locate.model import BagView
from colscan.score.face import (
    GRID_MM,
    Face,
    Grid,
    blurred,
    brightness_of,
    depth_mm,
    near_mm,
    own_frame,
    resample,
    smooth,
)
from colscan.score.model import Baseline, TakenOff
from colscan.score.register import lay_onto

MOST_VIEWS = 3
# Less than this much of the face in view is no baseline.
_LEAST_SEEN = 0.3
_LEAST_CELLS = 500
# A reflection is this much brighter than its surround (10 mm): the palest shaving is not, at 1.5 mm.
_HIGHLIGHT = 1.6
# Spread is stated at 2 mm, the size of a small shaving.
_SPREAD_MM = 2.0


def make_baseline(views: Sequence[BagView], *, photos: Sequence[str], late: bool) -> Baseline | None:
    """How a bag looked before anything grew, from up to three views of it; None when none is usable.

    Parameters
    ----------
    views : sequence of BagView
        The bag in its earliest photos, the best first; after `share_reference`.
    photos : sequence of str
        SHA-256 of the photos, in the same order.
    late : bool
        The photos are later than 36 hours after spawning.
    """
    usable = [(v, p) for v, p in zip(views, photos, strict=True) if _is_usable(v)][:MOST_VIEWS]
    if not usable:
        return None
    first_view = usable[0][0]
    first = resample(first_view, *own_frame(first_view))
    faces = [first, *(lay_onto(view, first)[0] for view, _ in usable[1:])]
    layers = [np.where(without_highlights(face)[..., None], face.light, np.nan) for face in faces]
    face_map = _median(layers)
    return describe(face_map, late=late, photos=tuple(photo for _, photo in usable))


def describe(
    face_map: Grid, *, late: bool, photos: tuple[str, ...], taken_off: TakenOff | None = None
) -> Baseline | None:
    """A baseline of a face's light, (h, w, 3), NaN where unknown; None when hardly any of it is known.

    Parameters
    ----------
    late : bool
        From photos later than 36 hours after spawning.
    photos : tuple of str
        SHA-256 of the photos it comes from.
    taken_off : TakenOff or None
        What had grown by then and is taken off in `face_map`.
    """
    known = np.isfinite(face_map[..., 0])
    if known.sum() < _LEAST_CELLS:
        return None
    return Baseline(
        colour=np.median(face_map[known], axis=0).astype(np.float64),
        spread=_spread(face_map, known),
        face=face_map.astype(np.float32),
        late=late,
        photos=photos,
        taken_off=taken_off,
    )


def _is_usable(view: BagView) -> bool:
    seen = (view.face & ~view.hidden).sum() / max(view.face.sum(), 1)
    return bool(
        np.isfinite(view.paper).all()
        and Flag.CUT_OFF not in view.flags
        and seen > _LEAST_SEEN
        and view.mm_per_px < 2 * GRID_MM
    )


def without_highlights(face: Face) -> NDArray[np.bool_]:
    """The seen cells that are not much brighter than their surround."""
    brightness = brightness_of(face.light)
    return np.asarray(face.seen & (brightness < _HIGHLIGHT * smooth(brightness, face.seen, 10.0)))


def _median(layers: list[Grid]) -> Grid:
    """The median over photos of each cell, NaN where no photo shows it."""
    if len(layers) == 1:
        return layers[0].astype(np.float32)
    stack = np.stack(layers)
    known = np.isfinite(stack).any(0)
    return np.where(known, np.nanmedian(np.where(known, stack, 0.0), axis=0), np.nan).astype(np.float32)


def _spread(face_map: Grid, known: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Covariance of the log light at 2 mm, by the middle 90 % of the face's brightness."""
    light = smooth(np.where(known[..., None], face_map, 0.0).astype(np.float32), known, _SPREAD_MM)
    log_light = np.log(np.maximum(light[known], 1e-4))
    brightness = log_light.mean(1)
    low, high = np.quantile(brightness, [0.05, 0.95])
    return np.cov(log_light[(brightness >= low) & (brightness <= high)], rowvar=False)


def fill_gaps(baseline: Baseline) -> tuple[Grid, NDArray[np.bool_]]:
    """A baseline's face with card and reflections filled from around them, and where it is face at all."""
    known = np.isfinite(baseline.face[..., 0])
    light = np.where(known[..., None], baseline.face, 0.0).astype(np.float32)
    reach = near_mm(known, 30.0)
    whole = reach & (depth_mm(reach) > 30.0 - GRID_MM)
    whole |= known
    around = smooth(light, known, 10.0)
    reachable = blurred(known.astype(np.float32), 10.0) > 1e-3
    light[~known] = around[~known]
    return light, whole & (known | reachable)
