"""A shelf's mapped photo and a later one → where each bag's place lies there, and which bag stands in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

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
from colscan.locate.points import find_points, match_points, moved
from colscan.photo.model import ImageRGB, Mask
from colscan.trial.model import SHELF_TAGS

# Around a bag's face, in shares of its size: the bag's empty top stands or leans above it, and film and
# shadow at its sides and foot are no shelf either.
_ABOVE, _BESIDE, _BELOW = 0.85, 0.10, 0.06
# Chance finds five to twelve points that agree; so many, over so much of the photo, are no chance.
_SURE_POINTS, _SURE_SPREAD = 40, 0.1
# Edges of unrelated pictures are alike up to about 0.35, those of one shelf mostly from about 0.7. (Racks
# of one make are as alike as one and the same: which of them it is, edges can't tell.)
_LEAST_LIKE = 0.5
# What part of a change of view's worth lies with the share of places at which bags stand.
_BAGS_SPEAK = 0.5
# Begun from the bags: that many different ways, turned by at most this (radians).
_STARTS_BY_BAGS, _MOST_TURN = 3, 0.2
# A bag found within this of a place, in shares of its size, stands in it; up to twice that is doubtful.
_NEAR, _DOUBTFUL = 0.35, 0.7
# Fewer of the places in view than this have a bag: the map doesn't fit.
_LEAST_FOUND = 0.5
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
        Correlation of the two photos' edges under it, -1 to 1; unrelated pictures reach about 0.35.
    points : int
        Recognised places that agree with it.
    """

    matrix: Matrix
    likeness: float
    points: int

    def moved(self, points_px: Points) -> Points:
        """Where points of the mapped photo lie in the later one."""
        return moved(np.asarray(points_px, np.float64), self.matrix)


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CarriedPlaces:
    """A whole map in a later photo.

    Parameters
    ----------
    places : tuple of Carried
        One a place, in the map's order.
    extra : tuple of int
        Proposals that stand in no place.
    """

    places: tuple[Carried, ...]
    extra: tuple[int, ...]


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
    points_px, looks = find_points(rgb, hidden)
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
    """
    today = describe_scene(rgb, mask_outlines, cards=cards)
    by_points, agreeing = match_points(
        (scene.points_px, scene.looks), (today.points_px, today.looks), side_px=max(today.size_px)
    )
    corners = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * scene.size_px
    if by_points is not None and len(agreeing) >= _SURE_POINTS and is_sane(by_points, corners):
        spread = cv2.contourArea(cv2.convexHull(agreeing.astype(np.float32)))
        if spread > _SURE_SPREAD * scene.size_px[0] * scene.size_px[1]:
            like = likeness(scene.edges, today.edges, by_points)
            return Homography(matrix=by_points, likeness=like, points=len(agreeing))
    starts = [*_starts(scene, today), *(() if by_points is None else (by_points,))]
    known, now = scene.edges.halved(), today.edges.halved()
    begun = [begin(known, now, start) for start in starts if is_sane(start, corners)]
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
    placed = moved(scene.bags_px[:, :2], change)
    apart = np.hypot(*(placed[:, None] - today.bags_px[None, :, :2]).transpose(2, 0, 1))
    return float((apart.min(1) < _NEAR * np.median(today.bags_px[:, 2])).mean())


def _by_bags(known: NDArray[np.float64], today: NDArray[np.float64]) -> list[Matrix]:
    """Shifts with scale and turn that bring most bags onto bags: where to begin, never who is who."""
    if min(len(known), len(today)) < 2:
        return []
    z, w = (bags[:, 0] + 1j * bags[:, 1] for bags in (known, today))
    usual, size = (float(np.median(bags[:, 2])) for bags in (known, today))
    pairs = combinations(range(len(known)), 2)
    found = [way for pair in pairs for way in _ways(z, w, pair, sizes=(usual, size))]
    kept: list[Matrix] = []
    for _, by, shift in sorted(found, key=lambda way: way[0]):
        change = np.array([[by.real, -by.imag, shift.real], [by.imag, by.real, shift.imag], [0, 0, 1]])
        middles = [moved(known[:, :2], one) for one in (change, *kept)]
        if all(np.abs(middles[0] - other).max() > _NEAR * size for other in middles[1:]):
            kept.append(change)
        if len(kept) == _STARTS_BY_BAGS:
            break
    return kept


def _ways(
    z: NDArray[np.complex128], w: NDArray[np.complex128], pair: tuple[int, int], *, sizes: tuple[float, float]
) -> list[tuple[float, complex, complex]]:
    """The ways to bring two known bags onto any two of today's, places and changes as complex numbers.

    Parameters
    ----------
    z, w : ndarray, shape (n,) and (m,)
        The known bags' middles and today's.
    pair : tuple of int
        Which two of the known ones.
    sizes : tuple of float
        A usual bag's, known and today.

    Returns
    -------
    list of (float, complex, complex)
        How badly all bags fit, what multiplies places and what is then added to them.
    """
    i, j = pair
    if z[i] == z[j]:
        return []
    by = (w[None] - w[:, None]) / (z[j] - z[i])
    likely = np.abs(by) * sizes[0] / sizes[1]
    a, b = np.nonzero((likely > 0.8) & (likely < 1.25) & (np.abs(np.angle(by)) <= _MOST_TURN))
    chosen = by[a, b]
    placed = chosen[:, None] * (z - z[i]) + w[a, None]
    off = np.abs(placed[..., None] - w).min(2) / sizes[1]
    cost = np.minimum(off, _NEAR).sum(1)
    return list(zip(cost.tolist(), chosen.tolist(), (w[a] - chosen * z[i]).tolist(), strict=True))


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


def carry_places(
    change: Homography,
    outlines_px: Sequence[Points],
    proposals_px: Sequence[Points],
    *,
    size_px: tuple[int, int],
) -> CarriedPlaces:
    """Where a map's places lie in a later photo, and which of the faces found there stands in each.

    One face a place and one place a face, so that they lie nearest on the whole. Who stands there is not
    looked at: that is for the scoring, which knows what each bag looked like.

    Parameters
    ----------
    change : Homography
        From the mapped photo to this one.
    outlines_px : sequence of ndarray, shape (n, 2)
        The places, in the mapped photo.
    proposals_px : sequence of ndarray, shape (n, 2)
        The faces found in this photo.
    size_px : tuple of int
        Width and height of this photo.
    """
    from scipy.optimize import linear_sum_assignment

    carried = [change.moved(outline) for outline in outlines_px]
    off = _offsets(carried, proposals_px)
    # Over the limit all are equally bad, or one hopeless pair would push the others about.
    pairs = zip(*linear_sum_assignment(np.minimum(off, _DOUBTFUL)), strict=True) if off.size else ()
    stands = {int(place): int(face) for place, face in pairs if off[place, face] < _DOUBTFUL}
    in_view = [_is_in_view(outline, size_px) for outline in carried]
    # A map that fits hardly any bag is laid wrongly, or another shelf's.
    lost = sum(in_view[i] and i in stands for i in range(len(carried))) < _LEAST_FOUND * sum(in_view)
    places = tuple(
        Carried(
            outline_px=outline,
            proposal=stands.get(i),
            doubtful=i in stands and (lost or _is_doubtful(off[i], stands[i])),
            in_view=in_view[i],
        )
        for i, outline in enumerate(carried)
    )
    extra = tuple(j for j in range(len(proposals_px)) if j not in stands.values())
    return CarriedPlaces(places=places, extra=extra)


def _offsets(carried: Sequence[Points], proposals_px: Sequence[Points]) -> NDArray[np.float64]:
    """How far each face lies off each place, in shares of the place's size."""
    a, b = (np.array([_middle_and_size(o) for o in side]).reshape(-1, 3) for side in (carried, proposals_px))
    apart = np.hypot(*(a[:, None, :2] - b[None, :, :2]).transpose(2, 0, 1))
    return np.asarray(apart / a[:, None, 2], np.float64)


def _is_doubtful(off: NDArray[np.float64], face: int) -> bool:
    rivals = np.delete(off, face)
    return bool(off[face] > _NEAR or (rivals < _CLEARLY_NEARER * off[face]).any())


def _is_in_view(outline: Points, size_px: tuple[int, int]) -> bool:
    (x0, y0), (x1, y1) = outline.min(0), outline.max(0)
    shown_x = min(x1, size_px[0]) - max(x0, 0)
    shown_y = min(y1, size_px[1]) - max(y0, 0)
    return bool(shown_x > 0.9 * (x1 - x0) and shown_y > 0.9 * (y1 - y0))
