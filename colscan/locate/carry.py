"""A shelf's mapped photo and a later one → where each bag's place lies there, and which bag stands in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import permutations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from colscan.locate.align import (
    EdgePicture,
    Matrix,
    begin,
    edge_picture,
    finish,
    is_sane,
    likeness,
    search_starts,
)
from colscan.locate.cards import filled
from colscan.locate.model import Card, Points
from colscan.photo.model import ImageRGB, Mask
from colscan.trial.model import SHELF_TAGS

# Around a bag's face, in shares of its size: the bag's empty top stands or leans above it, and film and
# shadow at its sides and foot are no shelf either.
_ABOVE, _BESIDE, _BELOW = 0.85, 0.10, 0.06
# Points are sought in a photo of this longer side at most: phones' finest detail is noise.
_POINTS_SIDE_PX, _MOST_POINTS, _POINT_CONTRAST = 1200, 3000, 0.02
# A point's match must be this much nearer than the next best (Lowe 2004).
_RATIO = 0.8
# Matched points lie within this of where the change of view puts them (px of the photo of 1200).
_POINT_OFF_PX = 2.0
# Chance finds five to twelve points that agree; so many, over so much of the photo, are no chance.
_SURE_POINTS, _SURE_SPREAD = 40, 0.1
# Fewer are worth a try as a start for the edges.
_SOME_POINTS = 8
# Edges of different shelves are alike up to about 0.45, those of one shelf from about 0.7.
_LEAST_LIKE = 0.6
# What part of a change of view's worth lies with the share of places at which bags stand.
_BAGS_SPEAK = 0.5
# Begun from the bags: that many different ways, turned by at most this (radians).
_STARTS_BY_BAGS, _MOST_TURN = 3, 0.2
# A bag found within this of a place, in shares of its size, stands in it; up to twice that is doubtful.
_NEAR, _DOUBTFUL = 0.35, 0.7
# Another bag this little further away could as well be the one.
_CLEARLY_NEARER = 1.6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """What a shelf looks like without its bags: all that registering another photo needs; picklable.

    Parameters
    ----------
    size_px : tuple of int
        Width and height of the photo.
    edges : EdgePicture
        Its edges, small.
    points_px : ndarray, shape (N, 2)
        Places that could be recognised.
    looks : ndarray, shape (N, 128), uint8
        How they look (SIFT, roots).
    bags_px : ndarray, shape (B, 3)
        Middle x, y of each bag's face, and its size.
    cards : tuple of Card
        The shelf's own.
    """

    size_px: tuple[int, int]
    bags_px: NDArray[np.float64]
    edges: EdgePicture
    points_px: Points
    looks: NDArray[np.uint8]
    cards: tuple[Card, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Homography:
    """From px of the mapped photo to px of a later one.

    Parameters
    ----------
    matrix : ndarray, shape (3, 3)
        The change of view.
    likeness : float
        Correlation of the two photos' edges under it, -1 to 1; nothing but chance reaches about 0.45.
    points : int
        Recognised places that agree with it.
    """

    matrix: Matrix
    likeness: float
    points: int

    def moved(self, points_px: Points) -> Points:
        """Where points of the mapped photo lie in the later one."""
        return _moved(np.asarray(points_px, np.float64), self.matrix)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Carried:
    """One place of the map in a later photo.

    Parameters
    ----------
    outline_px : ndarray, shape (n, 2)
        The mapped outline, carried.
    proposal : int or None
        Which of the photo's proposals stands there; None when none does.
    doubtful : bool
        The proposal stands far off the place, or another one could be meant as well.
    in_view : bool
        The place lies within the photo, wholly but for a tenth.
    """

    outline_px: Points
    proposal: int | None
    doubtful: bool
    in_view: bool


def describe_scene(rgb: ImageRGB, outlines_px: Sequence[Points], *, cards: Sequence[Card] = ()) -> Scene:
    """What registering other photos on this one needs, its bags masked out.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright.
    outlines_px : sequence of ndarray, shape (n, 2)
        The bags' faces in it; the empty tops above them are masked too.
    cards : sequence of Card
        Cards found in it; those of the shelf (580 to 586) are kept.
    """
    hidden = _bags(outlines_px, rgb.shape[:2])
    points_px, looks = _find_points(rgb, hidden)
    return Scene(
        size_px=(rgb.shape[1], rgb.shape[0]),
        bags_px=np.array([_middle_and_size(outline) for outline in outlines_px]).reshape(-1, 3),
        edges=edge_picture(rgb, hidden),
        points_px=points_px,
        looks=looks,
        cards=tuple(card for card in cards if card.tag in SHELF_TAGS),
    )


def register(
    scene: Scene, rgb: ImageRGB, mask_outlines: Sequence[Points], *, cards: Sequence[Card] = ()
) -> Homography | None:
    """The change of view from the mapped photo to this one, by the shelf itself; None when unbelievable.

    Many recognised points decide it alone. Otherwise the edges of posts, wires and wall do, begun from the
    shelf's cards, from the few points, from the same view, and from a search.

    Parameters
    ----------
    scene : Scene
        Of the mapped photo.
    rgb : ndarray, shape (H, W, 3), uint8
        The later photo, upright.
    mask_outlines : sequence of ndarray, shape (n, 2)
        The faces of bags in it, as far as known.
    cards : sequence of Card
        Cards found in it.

    References
    ----------
    Lowe 2004, doi:10.1023/B:VISI.0000029664.99615.94; Barath and others 2020 (MAGSAC++),
    doi:10.1109/CVPR42600.2020.00138.
    """
    today = describe_scene(rgb, mask_outlines, cards=cards)
    by_points, agreeing = _by_points(scene, today)
    corners = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * scene.size_px
    if by_points is not None and len(agreeing) >= _SURE_POINTS and is_sane(by_points, corners):
        spread = cv2.contourArea(cv2.convexHull(agreeing.astype(np.float32)))
        if spread > _SURE_SPREAD * scene.size_px[0] * scene.size_px[1]:
            like = likeness(scene.edges, today.edges, by_points)
            return Homography(matrix=by_points, likeness=like, points=len(agreeing))
    starts = [*_starts(scene, today), *(() if by_points is None else (by_points,))]
    begun = [begin(scene.edges, today.edges, start) for start in starts if is_sane(start, corners)]
    if not begun:
        return None
    best, _ = max(begun, key=lambda b: b[1] * (1 - _BAGS_SPEAK + _BAGS_SPEAK * _standing(scene, today, b[0])))
    matrix, like = finish(scene.edges, today.edges, best)
    if like < _LEAST_LIKE or not is_sane(matrix, corners):
        return None
    return Homography(matrix=matrix, likeness=like, points=0)


def _starts(scene: Scene, today: Scene) -> Iterator[Matrix]:
    zoom = max(today.size_px) / max(scene.size_px)
    yield np.diag([zoom, zoom, 1.0])
    by_cards = _by_cards(scene.cards, today.cards)
    if by_cards is not None:
        yield by_cards
    yield from _by_bags(scene.bags_px, today.bags_px)
    yield from search_starts(scene.edges, today.edges)


def _standing(scene: Scene, today: Scene, change: Matrix) -> float:
    """Share of the places at which some bag stands under a change of view; 1 when no bags are known."""
    if not len(scene.bags_px) or not len(today.bags_px):
        return 1.0
    placed = _moved(scene.bags_px[:, :2], change)
    apart = np.hypot(*(placed[:, None] - today.bags_px[None, :, :2]).transpose(2, 0, 1))
    return float((apart.min(1) < _NEAR * np.median(today.bags_px[:, 2])).mean())


def _by_bags(known: NDArray[np.float64], today: NDArray[np.float64]) -> list[Matrix]:
    """Shifts with scale and turn that bring most bags onto bags: where to begin, never who is who."""
    found: list[tuple[float, Matrix]] = []
    z, w = (bags[:, 0] + 1j * bags[:, 1] for bags in (known, today))
    size = float(np.median(today[:, 2])) if len(today) else 1.0
    for i, j in permutations(range(len(z)), 2):
        for a, b in permutations(range(len(w)), 2):
            by = (w[b] - w[a]) / (z[j] - z[i])
            likely = abs(by) * np.median(known[:, 2]) / size
            if not 0.8 < likely < 1.25 or abs(np.angle(by)) > _MOST_TURN:
                continue
            off = np.abs((by * (z - z[i]) + w[a])[:, None] - w[None]).min(1) / size
            shift = w[a] - by * z[i]
            change = np.array([[by.real, -by.imag, shift.real], [by.imag, by.real, shift.imag], [0, 0, 1]])
            found.append((float(np.minimum(off, _NEAR).sum()), change))
    kept: list[Matrix] = []
    for _, change in sorted(found, key=lambda f: f[0]):
        middles = [_moved(known[:, :2], one) for one in (change, *kept)]
        if all(np.abs(middles[0] - other).max() > _NEAR * size for other in middles[1:]):
            kept.append(change)
        if len(kept) == _STARTS_BY_BAGS:
            break
    return kept


def _middle_and_size(outline: Points) -> tuple[float, float, float]:
    low, high = outline.min(0), outline.max(0)
    x, y = (low + high) / 2
    return float(x), float(y), float(np.sqrt(np.prod(high - low)))


def _by_cards(known: Sequence[Card], today: Sequence[Card]) -> Matrix | None:
    """Shift, turn and scale that bring the shelf's cards onto those of today."""
    pairs = [(a.corners_px, b.corners_px) for a in known for b in today if a.tag == b.tag]
    if not pairs:
        return None
    a, b = (np.concatenate(side) for side in zip(*pairs, strict=True))
    change, _ = cv2.estimateAffinePartial2D(a, b, method=cv2.LMEDS)
    return None if change is None else np.vstack([change, [0, 0, 1]])


def _bags(outlines_px: Sequence[Points], shape: tuple[int, int]) -> Mask:
    hidden = np.zeros(shape, bool)
    for outline in outlines_px:
        (x0, y0), (x1, y1) = outline.min(0), outline.max(0)
        left, right = x0 - _BESIDE * (x1 - x0), x1 + _BESIDE * (x1 - x0)
        top, bottom = y0 - _ABOVE * (y1 - y0), y1 + _BELOW * (y1 - y0)
        hidden |= filled(np.array([(left, top), (right, top), (right, bottom), (left, bottom)]), shape)
    return hidden


def _find_points(rgb: ImageRGB, hidden: Mask) -> tuple[Points, NDArray[np.uint8]]:
    shrink = max(1.0, max(rgb.shape[:2]) / _POINTS_SIDE_PX)
    size = (round(rgb.shape[1] / shrink), round(rgb.shape[0] / shrink))
    gray = cv2.resize(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), size, interpolation=cv2.INTER_AREA)
    shown = cv2.resize((~hidden).astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    sift = cv2.SIFT_create(_MOST_POINTS, contrastThreshold=_POINT_CONTRAST)
    points, looks = sift.detectAndCompute(gray, shown)
    if looks is None:
        return np.empty((0, 2)), np.empty((0, 128), np.uint8)
    places = np.array([point.pt for point in points], np.float64)
    # Roots of the histograms: their distance is the better one (Arandjelovic, Zisserman 2012).
    roots = np.sqrt(looks / np.maximum(looks.sum(1, keepdims=True), 1e-6))
    return (places + 0.5) * shrink - 0.5, np.round(roots * 255).astype(np.uint8)


def _by_points(scene: Scene, today: Scene) -> tuple[Matrix | None, Points]:
    """The change of view that most matched points agree on, and those points in the mapped photo."""
    none = (None, np.empty((0, 2)))
    if min(len(scene.looks), len(today.looks)) < _SOME_POINTS:
        return none
    a, b = scene.looks.astype(np.float32), today.looks.astype(np.float32)
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(a, b, k=2)
    good = [one for one, next_best in pairs if one.distance < _RATIO * next_best.distance]
    off_px = _POINT_OFF_PX * max(1.0, max(today.size_px) / _POINTS_SIDE_PX)
    if len(good) < _SOME_POINTS:
        return none
    known = scene.points_px[[match.queryIdx for match in good]]
    seen = today.points_px[[match.trainIdx for match in good]]
    cv2.setRNGSeed(0)
    change, agree = cv2.findHomography(
        known, seen, cv2.USAC_MAGSAC, off_px, maxIters=10000, confidence=0.9999
    )
    if change is None or int(agree.sum()) < _SOME_POINTS:
        return none
    return _refined(scene, today, np.asarray(change, np.float64), off_px=off_px)


def _refined(scene: Scene, today: Scene, change: Matrix, *, off_px: float) -> tuple[Matrix | None, Points]:
    """Matched again among the points near where the change puts them, which finds the repeated ones too."""
    placed = _moved(scene.points_px, change)
    apart = np.hypot(*(placed[:, None] - today.points_px[None]).transpose(2, 0, 1))
    # Roots of histograms have the same length, so the least distant are those with the largest product.
    alike = scene.looks.astype(np.float32) @ today.looks.astype(np.float32).T
    unlike = np.where(apart < 2 * off_px, -alike, np.inf)
    best = unlike.argmin(1)
    rows = np.arange(len(best))
    mutual = np.isfinite(unlike[rows, best]) & (unlike.argmin(0)[best] == rows)
    known, seen = scene.points_px[mutual], today.points_px[best[mutual]]
    if len(known) < _SOME_POINTS:
        return None, known
    cv2.setRNGSeed(0)
    better, agree = cv2.findHomography(
        known, seen, cv2.USAC_MAGSAC, off_px, maxIters=10000, confidence=0.9999
    )
    if better is None:
        return None, known[:0]
    return np.asarray(better, np.float64), known[agree.ravel() > 0]


def _moved(points: Points, change: Matrix) -> Points:
    far = points @ change[2, :2] + change[2, 2]
    return np.asarray((points @ change[:2, :2].T + change[:2, 2]) / far[:, None], np.float64)


def carry_places(
    change: Homography, outlines_px: Sequence[Points], proposals_px: Sequence[Points], shape: tuple[int, int]
) -> tuple[Carried, ...]:
    """Each place of a map in a later photo, and which of the photo's blocks stands in it.

    Blocks and places are paired one to one, so that the distances together are least: bags are pushed
    about, but one does not jump over another.

    Parameters
    ----------
    change : Homography
        From `register`.
    outlines_px : sequence of ndarray, shape (n, 2)
        The places, px of the mapped photo.
    proposals_px : sequence of ndarray, shape (n, 2)
        The blocks found in the later photo.
    shape : tuple of int
        Rows and columns of the later photo.
    """
    carried = [change.moved(outline) for outline in outlines_px]
    apart = _apart(carried, proposals_px)
    paired = dict(
        zip(*(x.tolist() for x in linear_sum_assignment(np.minimum(apart, _DOUBTFUL))), strict=True)
    )
    return tuple(_carried(k, outline, apart, paired.get(k), shape) for k, outline in enumerate(carried))


def _apart(places: Sequence[Points], blocks: Sequence[Points]) -> NDArray[np.float64]:
    """Distances of middles (places, blocks), in shares of the place's size."""
    apart = np.empty((len(places), len(blocks)))
    for k, place in enumerate(places):
        size = float(np.sqrt(max(cv2.contourArea(place.astype(np.float32)), 1.0)))
        for j, block in enumerate(blocks):
            apart[k, j] = float(np.hypot(*(_middle(place) - _middle(block)))) / size
    return apart


def _middle(outline: Points) -> Points:
    return np.asarray((outline.min(0) + outline.max(0)) / 2)


def _carried(
    k: int, outline: Points, apart: NDArray[np.float64], paired: int | None, shape: tuple[int, int]
) -> Carried:
    photo = np.array([(0, 0), (shape[1], 0), (shape[1], shape[0]), (0, shape[0])], np.float32)
    whole = cv2.contourArea(outline.astype(np.float32))
    within, _ = cv2.intersectConvexConvex(cv2.convexHull(outline.astype(np.float32)), photo)
    found = paired is not None and apart[k, paired] < _DOUBTFUL
    doubtful = False
    if found and paired is not None:
        off = max(float(apart[k, paired]), 0.1)
        rivals = [*np.delete(apart[k], paired), *np.delete(apart[:, paired], k)]
        doubtful = off > _NEAR or any(rival < _CLEARLY_NEARER * off for rival in rivals)
    return Carried(
        outline_px=outline,
        proposal=paired if found else None,
        doubtful=bool(doubtful),
        in_view=within > 0.9 * whole,
    )
