"""Places of two photos that look alike → the change of view they agree on."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.align import Matrix
from colscan.locate.model import Points
from colscan.photo.model import ImageRGB, Mask

# Points are sought in a photo of this longer side at most: phones' finest detail is noise.
_POINTS_SIDE_PX, _MOST_POINTS, _POINT_CONTRAST = 1200, 3000, 0.02
# A point's match must be this much nearer than the next best (Lowe 2004).
_RATIO = 0.8
# Matched points lie within this of where the change of view puts them (px of the photo of 1200).
_POINT_OFF_PX = 2.0
# Fewer are worth a try at all.
_SOME_POINTS = 8

Looks = NDArray[np.uint8]
"""(N, 128), roots of SIFT histograms times 255."""
Recognisable = tuple[Points, Looks]
"""Places, px, and how each looks."""


def find_points(rgb: ImageRGB, hidden: Mask) -> tuple[Points, NDArray[np.uint8]]:
    """The places of a photo outside what is hidden that could be recognised, and how they look.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo.
    hidden : ndarray of bool, shape (H, W)
        What is no part of the shelf.
    """
    shrink = max(1.0, max(rgb.shape[:2]) / _POINTS_SIDE_PX)
    size = (round(rgb.shape[1] / shrink), round(rgb.shape[0] / shrink))
    gray = cv2.resize(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), size, interpolation=cv2.INTER_AREA)
    shown = cv2.resize((~hidden).astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    sift = cv2.SIFT.create(_MOST_POINTS, contrastThreshold=_POINT_CONTRAST)
    points, looks = sift.detectAndCompute(gray, shown)
    if looks is None:
        return np.empty((0, 2)), np.empty((0, 128), np.uint8)
    places = np.array([point.pt for point in points], np.float64)
    # Roots of the histograms: their distance is the better one (Arandjelovic, Zisserman 2012).
    roots = np.sqrt(looks / np.maximum(looks.sum(1, keepdims=True), 1e-6))
    return (places + 0.5) * shrink - 0.5, np.round(roots * 255).astype(np.uint8)


def match_points(known: Recognisable, today: Recognisable, *, side_px: int) -> tuple[Matrix | None, Points]:
    """The change of view that most matched points agree on, and those points in the known photo.

    Parameters
    ----------
    known, today : tuple of ndarray
        Of the two photos, as from `find_points`.
    side_px : int
        The longer side of today's photo.

    References
    ----------
    Lowe 2004, doi:10.1023/B:VISI.0000029664.99615.94; Barath and others 2020 (MAGSAC++),
    doi:10.1109/CVPR42600.2020.00138.
    """
    none = (None, np.empty((0, 2)))
    if min(len(known[1]), len(today[1])) < _SOME_POINTS:
        return none
    a, b = known[1].astype(np.float32), today[1].astype(np.float32)
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(a, b, k=2)
    good = [one for one, next_best in pairs if one.distance < _RATIO * next_best.distance]
    off_px = _POINT_OFF_PX * max(1.0, side_px / _POINTS_SIDE_PX)
    if len(good) < _SOME_POINTS:
        return none
    from_px = known[0][[match.queryIdx for match in good]]
    to_px = today[0][[match.trainIdx for match in good]]
    change, agree = _agreed(from_px, to_px, off_px)
    if change is None or agree.sum() < _SOME_POINTS:
        return none
    return _refined(known, today, change, off_px=off_px)


def _agreed(from_px: Points, to_px: Points, off_px: float) -> tuple[Matrix | None, NDArray[np.bool_]]:
    # The same answer every time: the search is by chance.
    cv2.setRNGSeed(0)
    change, agree = cv2.findHomography(
        from_px, to_px, cv2.USAC_MAGSAC, off_px, maxIters=10000, confidence=0.9999
    )
    if change is None:
        return None, np.zeros(len(from_px), bool)
    return np.asarray(change, np.float64), np.asarray(agree.ravel() > 0)


def _refined(
    known: Recognisable, today: Recognisable, change: Matrix, *, off_px: float
) -> tuple[Matrix | None, Points]:
    """Matched again among the points near where the change puts them, which finds the repeated ones too."""
    apart = np.hypot(*(moved(known[0], change)[:, None] - today[0][None]).transpose(2, 0, 1))
    # Roots of histograms have the same length, so the least distant are those with the largest product.
    alike = known[1].astype(np.float32) @ today[1].astype(np.float32).T
    unlike = np.where(apart < 2 * off_px, -alike, np.inf)
    best, rows = unlike.argmin(1), np.arange(len(known[0]))
    mutual = np.isfinite(unlike[rows, best]) & (unlike.argmin(0)[best] == rows)
    from_px, to_px = known[0][mutual], today[0][best[mutual]]
    if len(from_px) < _SOME_POINTS:
        return None, from_px
    better, agree = _agreed(from_px, to_px, off_px)
    return better, from_px[agree]


def moved(points: Points, change: Matrix) -> Points:
    """Where points (N, 2) lie after a change of view."""
    far = points @ change[2, :2] + change[2, 2]
    return np.asarray((points @ change[:2, :2].T + change[:2, 2]) / far[:, None], np.float64)
