"""What stands in for a card's white paper: a shelf card nearby, or the bags' own white filter patches."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.locate.cards import card_middle_px, filled
from colscan.locate.model import Card, Points
from colscan.locate.reference import BURNT_OUT, BURNT_OUT_SHARE, Reference, read_reference
from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB, LinearRGB

PATCH_MM = (30, 80)
"""Sides of filter patches: squares of white, finely porous, even material (common practice)."""
# They hang within this height above the block.
_ABOVE_MM = 130.0
_FILL, _LONGEST = 0.85, 1.5
# Of the light of film and wall around them; shades at which a patch may stand out.
_LEAST_STEP, _SHADES = 1.15, 24
# Shades are sought in ratios, which black has none of: a third of an 8-bit photo's first step.
_DARKEST = 1e-4
# What is left of a patch when its seam and blurred edge are taken off.
_SEAM_MM = 4.0


def stand_in_references(
    rgb: ImageRGB, outlines_px: Sequence[Points], *, mm_per_px: float, shelf_cards: Sequence[Card] = ()
) -> tuple[Reference, ...]:
    """The light on each bag without a card.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo.
    outlines_px : sequence of ndarray, shape (n, 2)
        The bags' blocks.
    mm_per_px : float
        Scale at the bags.
    shelf_cards : sequence of Card
        Cards on the shelf itself. The nearest one that can be read serves.

    Returns
    -------
    tuple of Reference
        By a shelf card; else by the bag's filter patch, or the median of the photo's patches where its own
        isn't seen, flagged `no-reference` (and `reference-clipped` where it is burnt out): a patch is
        white, but no paper, and hangs in other light than the face. Paper is NaN when there is no patch.
    """
    cards = [(card_middle_px(card), read_reference(rgb, card)) for card in shelf_cards]
    cards = [(middle, reference) for middle, reference in cards if np.isfinite(reference.paper).all()]
    if cards:
        return tuple(_nearest(outline, cards) for outline in outlines_px)
    patches = [_read_patch(rgb, outline, mm_per_px) for outline in outlines_px]
    seen = [patch for patch in patches if patch is not None]
    return tuple(patch or _shared(seen) for patch in patches)


def _shared(patches: Sequence[Reference]) -> Reference:
    """The median of the photo's patches."""
    if not patches:
        return _by_patch(np.full(3, np.nan), float("nan"), burnt_out=False)
    return _by_patch(
        np.asarray(np.median([patch.paper for patch in patches], 0)),
        float(np.median([patch.blur_px for patch in patches])),
        burnt_out=any(Flag.REFERENCE_CLIPPED in patch.flags for patch in patches),
    )


def _by_patch(paper: NDArray[np.float64], blur_px: float, *, burnt_out: bool) -> Reference:
    flags = (Flag.NO_REFERENCE, Flag.REFERENCE_CLIPPED) if burnt_out else (Flag.NO_REFERENCE,)
    return Reference(paper=paper, ink=np.full(3, np.nan), blur_px=blur_px, flags=flags)


def _nearest(outline_px: Points, cards: Sequence[tuple[Points, Reference]]) -> Reference:
    middle = outline_px.mean(0)
    return min(cards, key=lambda card: float(np.hypot(*(card[0] - middle))))[1]


def _read_patch(rgb: ImageRGB, outline_px: Points, mm_per_px: float) -> Reference | None:
    """The light on the white square above a block; None when none is seen."""
    x0, x1 = outline_px[:, 0].min(), outline_px[:, 0].max()
    top = outline_px[:, 1].min()
    rows = slice(max(0, int(top - _ABOVE_MM / mm_per_px)), max(0, int(top)))
    columns = slice(max(0, int(x0)), max(0, int(x1) + 1))
    light = to_linear(rgb[rows, columns])
    if min(light.shape[:2]) < PATCH_MM[0] / mm_per_px:
        return None
    square = _square(np.asarray(light.mean(2), np.float32), mm_per_px)
    if square is None:
        return None
    inner = square.mean(0) + (square - square.mean(0)) * (1 - 2 * _SEAM_MM / PATCH_MM[0])
    inside = filled(inner, light.shape[:2])
    paper = np.median(light[inside].astype(np.float64), 0)
    burnt_out = bool((rgb[rows, columns][inside] >= BURNT_OUT).any(-1).mean() > BURNT_OUT_SHARE)
    return _by_patch(paper, _edge_blur_px(light, square), burnt_out=burnt_out)


def _square(light: NDArray[np.float32], mm_per_px: float) -> Points | None:
    """Corners (4, 2) of the brightest square that stands out from film and wall."""
    low, high = PATCH_MM[0] / mm_per_px, PATCH_MM[1] / mm_per_px
    # Folds and reflections are thinner than half a patch.
    across = max(3, int(low / 2))
    kernel = np.ones((across, across), np.uint8)
    smooth = cv2.GaussianBlur(light, (0, 0), 1.0)
    brightest, middling = (max(float(np.quantile(smooth, share)), _DARKEST) for share in (0.995, 0.5))
    for level in np.geomspace(brightest, middling, _SHADES):
        bright = cv2.morphologyEx((smooth > level).astype(np.uint8), cv2.MORPH_OPEN, kernel)
        for contour in cv2.findContours(bright, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]:
            box = cv2.minAreaRect(contour)
            short, long = sorted(box[1])
            if (
                low <= short
                and long <= min(high, _LONGEST * short)
                and cv2.contourArea(contour) > _FILL * short * long
            ):
                square = np.asarray(cv2.boxPoints(box), np.float64)
                if _stands_out(light, square, mm_per_px):
                    return square
    return None


def _stands_out(light: NDArray[np.float32], square: Points, mm_per_px: float) -> bool:
    inside = filled(square, light.shape[:2])
    reach = max(3, int(2 * 2 * _SEAM_MM / mm_per_px) | 1)
    around = cv2.dilate(inside.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0
    seam = cv2.dilate(inside.astype(np.uint8), np.ones((reach // 2, reach // 2), np.uint8)) > 0
    ring = around & ~seam
    return bool(ring.any() and np.median(light[inside]) > _LEAST_STEP * np.median(light[ring]))


def _edge_blur_px(light: LinearRGB, square: Points) -> float:
    """Sigma of a patch's upright edges: the step over its steepest slope, by rows through its middle."""
    x0, y0 = square.min(0)
    x1, y1 = square.max(0)
    reach = (x1 - x0) / 4
    sigmas = []
    for y in range(int(y0 + (y1 - y0) / 3), int(y1 - (y1 - y0) / 3) + 1):
        for x in (x0, x1):
            line = light[y, max(0, int(x - reach)) : int(x + reach) + 1].mean(1)
            slope = abs(np.diff(line)).max(initial=0)
            if slope > 0:
                sigmas.append(float(np.ptp(line) / slope / np.sqrt(2 * np.pi)))
    return float(np.median(sigmas)) if sigmas else float("nan")
