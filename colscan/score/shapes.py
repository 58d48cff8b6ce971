"""Marks on a face's grid: where they end, how compact they are, what lies around them."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.photo.model import Mask
from colscan.photo.ranks import median, picked, quantiles
from colscan.score.face import GRID_MM, Grid, depth_mm, near_mm

# Seeds at the threshold grow to places at this share of it, this far.
_GROWS_TO, _GROWS_MM = 0.7, 10.0
# What lies around a mark: this far from it, leaving out its own blurred border.
_RING_MM, _BORDER_MM = 9.0, 1.5
_LEAST_CELLS = 8
# Where nothing of the face lies further out: the outline's own error and a mark's blurred border.
_OUTLINE_MM = 6.0
# A reflection, wire or pen stroke narrower than 10 mm does not part a mark.
_BRIDGE_CELLS = 7
# A promised patch (150 mm2) is 14 mm across; pen strokes, wires and gaps are under 6.
_CORE_CELLS = 7


def blobs(excess: Grid, clear: Mask, free: Mask, *, least_mm2: float) -> Iterator[Mask]:
    """Connected places over 1, grown to where they end, the largest first.

    Parameters
    ----------
    excess : ndarray, shape (h, w)
        1 at the threshold.
    clear, free : ndarray of bool, shape (h, w)
        What can be seen, and what is not taken by another mark. A mark goes on behind what is narrow.
    least_mm2 : float
        Smaller marks, and marks whose seed is less than half of this, are left out.
    """
    allowed = clear & free
    seeds = _open((excess > 1) & allowed)
    if not seeds.any():
        return
    reach = _open((excess > _GROWS_TO) & near_mm(seeds, _GROWS_MM) & allowed)
    bridge = np.ones((_BRIDGE_CELLS, _BRIDGE_CELLS), np.uint8)
    reach |= (cv2.morphologyEx(reach.astype(np.uint8), cv2.MORPH_CLOSE, bridge) > 0) & ~clear
    _, labels, stats, _ = cv2.connectedComponentsWithStats(reach.astype(np.uint8), connectivity=8)
    seeded = np.bincount(labels[seeds], minlength=len(stats)) * GRID_MM**2
    for label in np.argsort(-stats[:, cv2.CC_STAT_AREA]):
        area_mm2 = stats[label, cv2.CC_STAT_AREA] * GRID_MM**2
        if label and area_mm2 >= least_mm2 and seeded[label] >= least_mm2 / 2:
            yield np.asarray(labels == label)


def _open(mask: Mask) -> Mask:
    """A mask without what is narrower than three cells."""
    cross = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, cross) > 0)


def cores(mask: Mask, least_mm2: float) -> list[Mask]:
    """Parts of a mask that a disc of 10 mm fits into, the largest first: strokes and bridges are cut off."""
    if not mask.any():
        return []
    # A small part of the face is looked at in far less time than all of it.
    x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
    box = np.s_[max(y - _CORE_CELLS, 0) : y + h + _CORE_CELLS, max(x - _CORE_CELLS, 0) : x + w + _CORE_CELLS]
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_CORE_CELLS, _CORE_CELLS))
    opened = cv2.morphologyEx(mask[box].astype(np.uint8), cv2.MORPH_OPEN, disc)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(opened, connectivity=4)
    parts = []
    for label in np.argsort(-stats[:, cv2.CC_STAT_AREA], kind="stable"):
        if label and stats[label, cv2.CC_STAT_AREA] * GRID_MM**2 >= least_mm2:
            part = np.zeros_like(mask)
            part[box] = labels == label
            parts.append(part)
    return parts


def roundness(blob: Mask) -> float:
    """Share of a mark's area that its largest inscribed circle takes: 1 for a disc, 0.1 for a stroke."""
    closed = cv2.morphologyEx(_filled(blob), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)) > 0
    # The deepest cell's middle lies half a cell inside of what a circle covers.
    radius_mm = float(depth_mm(closed).max()) - GRID_MM / 2
    return float(np.pi * radius_mm**2 / (closed.sum() * GRID_MM**2))


def _filled(blob: Mask) -> NDArray[np.uint8]:
    filled = np.zeros(blob.shape, np.uint8)
    contours, _ = cv2.findContours(blob.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    cv2.drawContours(filled, contours, -1, 1, -1)
    return filled


def gaps(level: Grid, blob: Mask, clear: Mask) -> float:
    """Share of a dark mark, its holes filled, that is nearer to what lies around: high in writing."""
    inside, around = (_filled(blob) > 0) & clear, ring(blob, clear)
    if not around.any():
        return 0.0
    # Of a surround that is half bare the white half lies behind writing too.
    between = (median(picked(level, blob)) + quantiles(picked(level, around), [0.75])[0]) / 2
    return float((level[inside] > between).mean())


def outline_mm(blob: Mask, depth: Grid) -> float:
    """How far a mark runs along the face's outline, mm: long for a shadow that falls in from outside."""
    border = blob & ~(cv2.erode(blob.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) > 0)
    return float((depth[border] < _OUTLINE_MM).sum() * GRID_MM)


def ring(blob: Mask, clear: Mask) -> Mask:
    """Clear cells around a mark, without its border."""
    return np.asarray(near_mm(blob, _RING_MM) & ~near_mm(blob, _BORDER_MM) & clear)


def darkest_alike(level: Grid, blob: Mask, *, clear: Mask, depth: Grid) -> float:
    """What the darkest tenth of the face reaches that lies as deep inside the outline as a mark does."""
    low, high = quantiles(picked(depth, blob), [0.2, 0.8])
    alike = clear & ~near_mm(blob, 2 * _BORDER_MM) & (depth >= low) & (depth <= high)
    return float(quantiles(picked(level, alike), [0.1])[0]) if alike.any() else float(level[blob].min())


def contrast(values: Grid, blob: Mask, around: Mask) -> float:
    """Median inside a mark less the median around it; 0 where too little of either is seen."""
    if around.sum() < _LEAST_CELLS or blob.sum() < _LEAST_CELLS:
        return 0.0
    return float(median(picked(values, blob)) - median(picked(values, around)))
