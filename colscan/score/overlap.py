"""Two faces of one bag, photographed within minutes → where one's cells lie in the other."""

from __future__ import annotations

import cv2
import numpy as np

from colscan.photo.between import warp_affine
from colscan.photo.model import Mask
from colscan.score.ecc import align_affine
from colscan.score.face import GRID_MM, Affine, Face, Grid, blurred
from colscan.score.grain import best_shift, grain_of

# Outlines lay both faces on one grid; reflections at a bag's edge move them by less than this.
_SEARCH_MM = 12.0
# 32 rendered faces, relit and moved by some millimetres, are alike by 0.44 to 0.97 with themselves, and by
# 0.29 at most with other bags'.
_ALIKE = 0.35
# A search step away, only detail this coarse is still alike.
_COARSE_MM = 2.0
_LEAST_CELLS = 400


def find_overlap(first: Face, again: Face, *, clear: tuple[Mask, Mask]) -> Affine | None:
    """From column, row of a face to those of the same bag's face in another photo, (2, 3); None if unlike.

    Unlike registration to a baseline nothing has grown in between, but reflections are wherever the
    lamp is: only what is clear in both photos is compared. A shift is searched, then an affine change.

    Parameters
    ----------
    first, again : Face
        On grids of one shape, laid there by outlines or better.
    clear : pair of ndarray of bool, shape (h, w)
        Where each shows the bag without reflection.

    References
    ----------
    Evangelidis, Psarakis 2008, doi:10.1109/TPAMI.2008.113.
    """
    known, today = (grain_of(face.light, face.seen) for face in (first, again))
    coarse0, coarse = (blurred(grain, _COARSE_MM) for grain in (known, today))
    change = _search(coarse0, coarse, clear)
    for one, other in ((coarse0, coarse), (known, today)):
        change = _refine(one, other, change, clear=clear)
    return change if _likeness(known, today, change, clear) > _ALIKE else None


def _search(known: Grid, today: Grid, clear: tuple[Mask, Mask]) -> Affine:
    """The shift by whole cells after which the detail that both show is most alike."""
    grains = (grain * mask[..., None] for grain, mask in zip((known, today), clear, strict=True))
    (one, other), (clear0, clear1) = grains, (mask.astype(np.float32) for mask in clear)
    reach = round(_SEARCH_MM / GRID_MM)
    _, (x, y) = best_shift(one, clear0, other, clear1, reach=reach, least=_LEAST_CELLS)
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y]])


def _likeness(known: Grid, today: Grid, change: Affine, clear: tuple[Mask, Mask]) -> float:
    both = _both_clear(change, clear)
    if both.sum() < _LEAST_CELLS:
        return 0.0
    one, other = known[both], move(today, change)[both]
    return float((one * other).sum() / max(float(np.sqrt((one**2).sum() * (other**2).sum())), 1e-9))


def _both_clear(change: Affine, clear: tuple[Mask, Mask]) -> Mask:
    return np.asarray(clear[0] & (move(clear[1].astype(np.float32), change) > 0.5))


def _refine(known: Grid, today: Grid, change: Affine, *, clear: tuple[Mask, Mask]) -> Affine:
    """An affine change near another one that makes the detail more alike; that one itself if none does."""
    both = _both_clear(change, clear)
    back = move(both.astype(np.float32), np.asarray(cv2.invertAffineTransform(change), np.float64)) > 0.5
    found = align_affine(known * both[..., None], today * back[..., None], change, back)
    if found is None:
        return change
    _, refined = found
    if _likeness(known, today, refined, clear) > _likeness(known, today, change, clear):
        return refined
    return change


def move(values: Grid, change: Affine) -> Grid:
    """A map of another photo on the grid of the first; 0 where it doesn't reach."""
    return warp_affine(values, change, values.shape[:2])
