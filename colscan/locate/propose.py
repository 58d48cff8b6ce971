"""A photo → the blocks of all bags in it, with or without cards: proposals for a shelf map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.crop import is_cut
from colscan.locate.facenet import log_odds
from colscan.locate.model import Points
from colscan.locate.outline import USUAL_MM, simplified
from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB, Mask

_WEIGHTS = "faces.npz"

# The network is surest where blocks are about this wide; it was fitted to 28 to 120 px.
_WIDTH_PX = 56.0
_WIDTHS_PX = (26.0, 130.0)
# Widths to which a photo is reduced when nothing says how large its blocks are: each block that is
# between a 16th of the photo's width and all of it is of a fit size in two of them.
_REDUCED_PX = (80, 140, 250, 450, 800)
# Outlines of one block at two sizes have at least this much in common; at sizes it wasn't fitted
# to the network sees things that are gone at the next.
_SAME = 0.6
# The network's maps have half its input's resolution; outlines are drawn four times as fine.
_FINER = 4
# Of a block's width: its core's least width, how far outside its core the block may reach (its
# corners), and what is thinner than a block can be.
_LEAST_CORE, _REACH, _SPUR = 0.2, 0.35, 0.15
# Mean chance over a block under which it is none, and the area of its convex hull that it fills.
_LEAST_CHANCE, _LEAST_FILL = 0.8, 0.88
# Width over height of blocks that stand free.
_SHAPES = (0.5, 1.8)
# Blocks on one shelf are of a size: others than this, against the median area, are none.
_SIZES = (0.35, 2.5)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proposal:
    """A block as proposed.

    Parameters
    ----------
    outline_px : ndarray, shape (n, 2), n <= 32
        Its polygon in the photo, to within about 5 mm.
    mm_per_px : float
        Scale: as given, or such that the photo's blocks are of usual size.
    sure : bool
        False where the photo's border cuts the block.
    """

    outline_px: Points
    mm_per_px: float
    sure: bool


def propose_faces(rgb: ImageRGB, *, scale_mm_per_px: float | None = None) -> tuple[Proposal, ...]:
    """The bags' blocks in a photo, tiers from top to bottom, each from left to right.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright sRGB.
    scale_mm_per_px : float, optional
        Scale where a card tells it; else a block of usual size does.

    Returns
    -------
    tuple of Proposal
        The substrate blocks, without the empty film above them.
    """
    if scale_mm_per_px is None:
        outlines = _at_best_size(rgb)
    else:
        outlines = _outlines(rgb, _WIDTH_PX * scale_mm_per_px / USUAL_MM[0])
    whole = [not is_cut(outline, rgb.shape[:2]) for outline in outlines]
    if not outlines:
        return ()
    scale = scale_mm_per_px or _usual_scale(
        [o for o, w in zip(outlines, whole, strict=True) if w] or outlines
    )
    found = [
        Proposal(outline_px=simplified(outline), mm_per_px=scale, sure=sure)
        for outline, sure in zip(outlines, whole, strict=True)
    ]
    return tuple(found[k] for k in reading_order([proposal.outline_px for proposal in found]))


def reading_order(outlines_px: Sequence[Points]) -> list[int]:
    """Indexes of outlines, tiers from top to bottom, each from left to right."""
    if not outlines_px:
        return []
    middles = np.array([(outline.min(0) + outline.max(0)) / 2 for outline in outlines_px])
    height = float(np.median([np.ptp(outline[:, 1]) for outline in outlines_px]))
    down = np.argsort(middles[:, 1])
    # The tier below stands at least a block and its empty film lower; a tilted shelf falls gently.
    tier_of_rank = np.concatenate([[0], np.cumsum(np.diff(middles[down, 1]) > height / 2)])
    tier = np.empty(len(down))
    tier[down] = tier_of_rank
    return [int(k) for k in np.lexsort((middles[:, 0], tier))]


def _at_best_size(rgb: ImageRGB) -> list[Points]:
    """Outlines found at the size at which blocks are as wide as the network knows them."""
    widths, smaller = [], list[Points]()
    for width_px in _REDUCED_PX:
        factor = width_px / rgb.shape[1]
        found = [
            o for o in _outlines(rgb, factor) if _WIDTHS_PX[0] <= factor * np.ptp(o[:, 0]) <= _WIDTHS_PX[1]
        ]
        widths += [np.ptp(o[:, 0]) for o in found if any(_overlap(o, other) > _SAME for other in smaller)]
        smaller = found
    return _outlines(rgb, _WIDTH_PX / float(np.median(widths))) if widths else []


def _overlap(a: Points, b: Points) -> float:
    """Intersection over union of two outlines' boxes."""
    low, high = np.maximum(a.min(0), b.min(0)), np.minimum(a.max(0), b.max(0))
    common = float(np.prod(np.maximum(high - low, 0)))
    return common / float(np.prod(np.ptp(a, 0)) + np.prod(np.ptp(b, 0)) - common)


def _outlines(rgb: ImageRGB, factor: float) -> list[Points]:
    """Outlines in px of the photo, as seen in the photo reduced by this factor."""
    size = (max(16, round(rgb.shape[1] * factor)), max(16, round(rgb.shape[0] * factor)))
    how = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    reduced = np.asarray(cv2.resize(rgb, size, interpolation=how), np.uint8)
    face, core = (_finer(plane) for plane in log_odds(to_linear(reduced), _WEIGHTS))
    width = _WIDTH_PX * _FINER / 2
    blocks = [block for block in _blocks(face, core) if _is_block(block, face)]
    if blocks:
        area = np.median([block.sum() for block in blocks])
        blocks = [block for block in blocks if _SIZES[0] < block.sum() / area < _SIZES[1]]
    to_photo = np.array(rgb.shape[1::-1]) / size * 2 / _FINER
    return [(_contour(block, width) + 0.5) * to_photo - 0.5 for block in blocks]


def _finer(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(
        cv2.resize(plane, None, fx=_FINER, fy=_FINER, interpolation=cv2.INTER_LINEAR), np.float32
    )


def _blocks(face: NDArray[np.float32], core: NDArray[np.float32]) -> list[Mask]:
    """One mask a core: the places of the face that are nearer to it than to another core."""
    count, cores, stats, _ = cv2.connectedComponentsWithStats((core > 0).astype(np.uint8))
    far, nearest = cv2.distanceTransformWithLabels((core <= 0).astype(np.uint8), cv2.DIST_L2, 5)
    blocks = []
    for k in range(1, count):
        own = cores == k
        _, _, w, h, area = (int(v) for v in stats[k])
        # A core is some two thirds as wide as its block, so its size says how far the block reaches.
        width = 1.5 * max(w, h)
        if min(w, h) < _LEAST_CORE * width or area < 16:
            continue
        near = (nearest == nearest[own][0]) & (face > 0) & (far < _REACH * width)
        places = near | own
        part, block = _around(places), np.zeros_like(own)
        block[part] = _main_part(places[part], own[part], width)
        blocks.append(block)
    return blocks


def _around(places: Mask) -> tuple[slice, slice]:
    """The rows and columns of some places, and where the photo goes on one more to each side."""
    x, y, w, h = cv2.boundingRect(places.astype(np.uint8))
    return slice(max(0, y - 1), y + h + 1), slice(max(0, x - 1), x + w + 1)


def _main_part(places: Mask, core: Mask, width: float) -> Mask:
    """Places without thin spurs, holes, and what isn't joined to the core."""
    across = max(3, int(_SPUR * width) | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))
    # Beyond the photo's border the block goes on: its cut is no spur.
    padded = cv2.copyMakeBorder(places.astype(np.uint8), across, across, across, across, cv2.BORDER_REPLICATE)
    smooth = cv2.morphologyEx(padded, cv2.MORPH_OPEN, kernel)[across:-across, across:-across]
    joined = cv2.connectedComponents((smooth > 0).astype(np.uint8))[1]
    inside = np.bincount(joined[core & (smooth > 0)], minlength=1)
    if inside.sum() == 0:
        return core
    contours, _ = cv2.findContours(
        (joined == inside.argmax()).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    return np.asarray(cv2.fillPoly(np.zeros(places.shape, np.uint8), contours, 1)) > 0


def _is_block(block: Mask, face: NDArray[np.float32]) -> bool:
    contours, _ = cv2.findContours(block.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)
    _, _, width, height = cv2.boundingRect(contour)
    hull = cv2.contourArea(cv2.convexHull(contour))
    chance = float((1 / (1 + np.exp(-face[block]))).mean())
    cut = is_cut(contour[:, 0].astype(np.float64), block.shape[:2])
    shape = cut or _SHAPES[0] < width / height < _SHAPES[1]
    return shape and chance > _LEAST_CHANCE and cv2.contourArea(contour) > _LEAST_FILL * hull > 0


def _contour(block: Mask, width: float) -> Points:
    """The block's outline along the borders between pixels, a little smoothed."""
    soft = cv2.GaussianBlur(block.astype(np.float32), (0, 0), 0.02 * width)
    contours, _ = cv2.findContours((soft > 0.5).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=cv2.contourArea)[:, 0].astype(np.float64)
    # Contours run through the centres of the outermost pixels: half a pixel within.
    middle = (outline.min(0) + outline.max(0)) / 2
    return np.asarray(outline + 0.5 * np.sign(outline - middle))


def _usual_scale(outlines: Sequence[Points]) -> float:
    return float(np.median([np.mean(np.array(USUAL_MM) / np.ptp(outline, 0)) for outline in outlines]))
