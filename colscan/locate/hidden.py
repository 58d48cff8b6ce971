"""What covers a face besides its card: the filter patch, the shelf's rods and wires before it.

Worked out on a card's window in millimetres; neighbours are for the composition, which sees them all.
"""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.standin import PATCH_MM
from colscan.locate.window import BRIGHTEST, DARKEST, LUMINANCE, Window
from colscan.photo.model import Mask
from colscan.photo.ranks import median

# A rod before the bag lies in the lowest part of the face, at least this far above its lowest point:
# the block's own lower edge is no rod.
_ROD_ZONE_MM, _ROD_LEAST_ABOVE_MM = 60, 3
# Shelves are level within this in a photo held by hand.
_SLOPES = (0.0, -0.01, 0.01, -0.02, 0.02, -0.03, 0.03, -0.04, 0.04)
# The rod's edge must be seen on both sides of the block, this near to it, and all across it.
_BESIDE_MM = (5, 30)
_ACROSS_PARTS = 6
# Log light per mm: well over the steps of film folds and texture, whose sign also changes along a line.
_ROD_EDGE = 0.05

# A rod looks the same before the block and beside it, within this much log light just below its upper edge.
_ROD_ALIKE, _ROD_BELOW_MM = 0.3, (1, 4)

# Light in units of the card's paper above which a patch may stand out from wall and film: it hangs in
# other light than the card.
_PATCH_LEVELS = (0.4, 0.55, 0.75, 1.0, 1.3)
_PATCH_FILL = 0.9
# So many pixels at least are round the smallest, standing on its corner.
_PATCH_ROUND = int(4 * (PATCH_MM[0] - 1) / np.sqrt(2))


def hidden_places(window: Window, face: Mask) -> Mask:
    """Places (330, 320) of a window whose face (330, 320) is covered by patch, rod or wires; not the card."""
    if not face.any():
        return np.zeros_like(face)
    light = np.asarray(cv2.transform(np.minimum(window.light, BRIGHTEST), LUMINANCE[None]), np.float32)
    return (_behind_rod(light, face) | _under_patch(light, face)) & face


def _behind_rod(light: NDArray[np.float32], face: Mask) -> Mask:
    """All of the face below the highest straight edge that goes on to both sides of the block.

    A rod or wire behind the block ends at it; one that is seen across it is in front, and what is
    seen between the rods below it is too little to score.
    """
    rows, columns = np.flatnonzero(face.any(1)), np.flatnonzero(face.any(0))
    bottom, left, right = int(rows[-1]), int(columns[0]), int(columns[-1])
    middle = (left + right) / 2
    # Only the rows where a rod may be, and what a slope moves in and out of them.
    first = max(0, bottom - _ROD_ZONE_MM - 10)
    aside = max(0, left - _BESIDE_MM[1] - 1)
    zone = np.log(light[first : bottom + 10, aside : right + _BESIDE_MM[1] + 1] + DARKEST)
    least, most = bottom - _ROD_ZONE_MM, bottom - _ROD_LEAST_ABOVE_MM
    within = slice(max(least - first, 0), most + 1 - first)
    which, at = _level_edges(_sheared(zone, middle - aside), (left - aside, right - aside), rows=within)
    highest = bottom + 1, 0.0
    for k, slope in enumerate(_SLOPES):
        # A steeper line must lie clearly higher: near a level rod every slope finds a little.
        higher = at[(which == k) & (at + first <= highest[0] - 3)]
        if len(higher):
            highest = first + int(higher[0]), slope
    if highest[0] > bottom:
        return np.zeros_like(face)
    y, x = np.arange(face.shape[0])[:, None], np.arange(face.shape[1])
    return np.asarray(y >= highest[0] + highest[1] * (x - middle))


def _sheared(zone: NDArray[np.float32], middle: float) -> NDArray[np.float32]:
    """A part of the window (h, w), sheared around a column so that each slope's lines become rows: (9, h, w).

    Beyond it, it goes on as at its border.
    """
    height, width = zone.shape
    down = np.multiply.outer(_SLOPES, np.arange(width) - middle)
    whole = np.floor(down)
    share = (down - whole).astype(np.float32)[:, None]
    room = int(abs(whole).max()) + 1
    padded = np.pad(zone, ((room, room), (0, 0)), mode="edge")
    starts = (whole.astype(np.intp) + room) * width + np.arange(width)
    at = starts[:, None] + width * np.arange(height)[:, None]
    upper, lower = padded.ravel().take(at), padded.ravel()[width:].take(at)
    upper *= 1 - share
    lower *= share
    return np.asarray(upper + lower, np.float32)


def _level_edges(
    levels: NDArray[np.float32], sides: tuple[int, int], *, rows: slice
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The slopes, and those of some rows, at which an edge of that slope runs across the block and beside it.

    Parameters
    ----------
    levels : ndarray, shape (n, h, w)
        Log light, sheared by each slope.
    sides : tuple of int
        The block's first and last column.
    rows : slice
        Rows that count.
    """
    left, right = sides
    near, far = _BESIDE_MM
    beside = [(left - far, left - near), (right + near, right + far)]
    inside = np.linspace(left + 12, right - 12, _ACROSS_PARTS + 1).astype(int)
    spans = [*beside, *pairwise(inside)]
    steps = np.stack([cv2.Sobel(level, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8) for level in levels])
    steep = _steep_rows(steps, spans)
    which, found = np.nonzero(steep[:, rows])
    found += rows.start
    if len(found):
        edges = [_part(steps, which, found, span) for span in spans]
        # The steps beside the block may have another sign than those across it: a wall is not a block.
        strength = np.minimum(_common(edges[2:]), np.minimum(*(abs(edge) for edge in edges[:2])))
        which, found = which[strength > _ROD_EDGE], found[strength > _ROD_EDGE]
    if len(found):
        _, height, width = levels.shape
        below = np.minimum(found + np.arange(*_ROD_BELOW_MM)[:, None], height - 1)
        light = levels[which, below].mean(0)
        looks = np.stack([median(light[:, _columns(a, b, width)]) for a, b in spans])
        alike = np.ptp(looks, 0) < _ROD_ALIKE
        which, found = which[alike], found[alike]
    return which, found


def _steep_rows(steps: NDArray[np.float32], spans: list[tuple[int, int]]) -> Mask:
    """Rows (n, h) that may have an edge in all spans: half of each must be steep for its median to be.

    Counting is far quicker than the medians, and most rows hold no rod.
    """
    width = steps.shape[-1]
    within = np.zeros((width, len(spans)), np.float32)
    for k, (first, last) in enumerate(spans):
        within[max(first, 0) : max(last, 0), k] = 1
    least = np.maximum(within.sum(0) // 2, 2)
    # Those above and below count too: see `_part`.
    steep = np.stack([steps > _ROD_EDGE, steps < -_ROD_EDGE]).astype(np.float32)
    half = (steep @ within >= least).any(0)
    near = half | np.roll(half, 1, axis=1) | np.roll(half, -1, axis=1)
    return np.asarray(near.all(-1))


def _columns(first: int, last: int, width: int) -> slice:
    """The columns from first to last that are in the window; the nearest one where none is."""
    first = min(max(first, 0), width - 1)
    return slice(first, min(max(last, first + 1), width))


def _part(
    steps: NDArray[np.float32], which: NDArray[np.intp], rows: NDArray[np.intp], span: tuple[int, int]
) -> NDArray[np.float32]:
    """For each of some rows the median step in a span of columns, the strongest of it and its neighbours."""
    first, last = max(span[0], 0), min(span[1], steps.shape[-1])
    if last - first < 4:
        return np.zeros(len(rows), np.float32)
    near = (rows + np.array([[1], [0], [-1]])) % steps.shape[1]
    medians = median(steps[which, near, first:last])
    return np.asarray(np.take_along_axis(medians, abs(medians).argmax(0)[None], 0)[0])


def _common(parts: list[NDArray[np.float32]]) -> NDArray[np.float32]:
    """For each row the weakest step of all parts; 0 where their signs differ."""
    stack = np.stack(parts)
    same = abs(np.sign(stack).sum(0)) == len(parts)
    return np.where(same, abs(stack).min(0), 0.0)


def _under_patch(light: NDArray[np.float32], face: Mask) -> Mask:
    """White squares that stand mostly on the empty bag above the face."""
    patch = np.zeros(face.shape, np.uint8)
    face_top = int(np.flatnonzero(face.any(1))[0])
    # What reaches so far down that it is cut here is too large for a patch, or lies on the face.
    above = light[: face_top + 2 * PATCH_MM[1]]
    brightest = above[:face_top].max(initial=0)
    for level in _PATCH_LEVELS:
        if brightest <= level:
            break
        bright = cv2.morphologyEx((above > level).astype(np.uint8), cv2.MORPH_OPEN, np.ones((9, 9), np.uint8))
        for contour in cv2.findContours(bright, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]:
            if len(contour) < _PATCH_ROUND:
                continue
            _, (a, b), _ = cv2.minAreaRect(contour)
            square = PATCH_MM[0] <= min(a, b) and max(a, b) <= PATCH_MM[1] and max(a, b) < 1.4 * min(a, b)
            if square and cv2.contourArea(contour) > _PATCH_FILL * a * b:
                one = np.asarray(cv2.fillPoly(np.zeros(face.shape, np.uint8), [contour], 1))
                if one[:face_top].sum() > 0.5 * one.sum():
                    patch = np.maximum(patch, one)
    # 2 mm around it: its seam.
    return np.asarray(cv2.dilate(patch, np.ones((5, 5), np.uint8))) > 0
