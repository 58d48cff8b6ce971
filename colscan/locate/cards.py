"""A photo → the cards in it: AprilTag 36h11 at full resolution, small tags too."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import cv2
import numpy as np

from colscan.locate.model import Card, Points
from colscan.locate.tag_edges import TagEdge, blur_of, fit_tag_edges, refine_corners
from colscan.photo.model import ImageRGB, Mask

CARD_MM = (90.0, 50.0)
TAG_MM = 36.0
TAG_LEFT_MM = 7.0
FAMILY = cv2.aruco.DICT_APRILTAG_36h11
CELL_MM = TAG_MM / 8
"""36h11 has eight cells a side, the black border included."""

# OpenCV refuses tags whose perimeter is under this share of the photo's longer side; its default
# (.03) loses tags under 32 px in a photo of 4000 px.
_LEAST_PERIMETER = 0.01
# Local threshold windows: the widest must hold a whole tag, or a reflection that touches the
# tag's edge breaks its outline.
_THRESHOLD_WINDOWS_PX = (7, 83, 38)
# Outlines of one square from several windows are grouped before they are read; grouped loosely, the
# one that is read may be a poor one and the tag is lost.
_GROUP_DISTANCE = 0.05
# A cell is read from 8 x 8 samples, the outer third of them left out: blurred from its neighbours.
_CELL_SAMPLES, _CELL_MARGIN = 8, 0.3
SMALLEST_TAG_PX = 16.0
"""Side of the smallest tags that can be read."""
# Tags from this side are found in the photo as it is, smaller ones in the photo at twice its size.
_PLAIN_TAG_PX = 24.0
# Tags in a photo must be so much larger than the smallest that are found at its size for all to have been.
_SURELY_ALL = 1.25
# Blurred tags are lost before small ones, and show when enlarged: of 15 rendered photos none is lost up to
# blurs of this sigma, or strokes of five pixels; at twice that every seventh is.
_SHARP_PX = 1.2
# What covers a card reaches over its edges, more so at the far end, which bends off the film.
_COVER_MM, _COVER_FAR_MM, _COVER_GREY = 1.0, 4.0, 120
# Larger photos than this are not enlarged: that would take seconds, and their tags are seldom so small.
_ENLARGE_UP_TO_PX = 4_000_000

_Tag = tuple[int, Points, tuple[TagEdge | None, ...]]
"""A tag's number, its corners and its edges."""


def find_cards(rgb: ImageRGB, *, smallest_px: float = SMALLEST_TAG_PX) -> tuple[Card, ...]:
    """All cards in a photo, shelf cards and repeated tags included, by tag, then from left to right.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright sRGB.
    smallest_px : float
        Side of the smallest tags looked for; larger ones take less time.

    Returns
    -------
    tuple of Card
        One for each place where a tag stands.

    References
    ----------
    Olson 2011, AprilTag: a robust and flexible visual fiducial system,
    https://doi.org/10.1109/ICRA.2011.5979561
    """
    gray = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    found = _find_tags(gray)
    tags = _fitted(rgb, found)
    if smallest_px < _PLAIN_TAG_PX and gray.size <= _ENLARGE_UP_TO_PX and not _shows_all(tags):
        tags = _fitted(rgb, found + _detect_at(gray, 2.0, cv2.INTER_CUBIC))
    cards = [_card(*tag) for tag in tags]
    return tuple(sorted(cards, key=lambda card: (card.tag, card.corners_px[:, 0].mean())))


def _find_tags(gray: np.ndarray) -> list[tuple[int, Points]]:
    if gray.size > _ENLARGE_UP_TO_PX:
        # Time goes with the area. What half the size might hide would be smaller by far than all it shows.
        found = _detect_at(gray, 0.5, cv2.INTER_AREA, smallest_px=_PLAIN_TAG_PX)
        if found and _smallest_side_px(found) > _SURELY_ALL * _PLAIN_TAG_PX / 0.5:
            return found
        return detect_tags(gray, FAMILY) + found
    return detect_tags(gray, FAMILY)


def _fitted(rgb: ImageRGB, found: Iterable[tuple[int, Points]]) -> list[_Tag]:
    """Each square once, with its edges."""
    apart = _apart(found)
    edges = fit_tag_edges(rgb, [corners for _, corners in apart])
    return [(tag, corners, own) for (tag, corners), own in zip(apart, edges, strict=True)]


def _shows_all(tags: Sequence[_Tag]) -> bool:
    """Whether twice the size wouldn't show more tags: all of these are large and sharp all round."""
    sharp = all(edge is not None and edge.blur_px < _SHARP_PX for _, _, edges in tags for edge in edges)
    found = [(tag, corners) for tag, corners, _ in tags]
    return bool(found) and sharp and _smallest_side_px(found) > _SURELY_ALL * _PLAIN_TAG_PX


def _smallest_side_px(found: Sequence[tuple[int, Points]]) -> float:
    return float(min(np.hypot(*(corners - np.roll(corners, 1, 0)).T).min() for _, corners in found))


def _detect_at(
    gray: np.ndarray, scale: float, how: int, *, smallest_px: float = 0.0
) -> list[tuple[int, Points]]:
    """The tags found in a grey picture made smaller or larger; `smallest_px` is meant there."""
    resized = np.asarray(cv2.resize(gray, None, fx=scale, fy=scale, interpolation=how))
    found = detect_tags(resized, FAMILY, smallest_px=smallest_px)
    return [(tag, (corners + 0.5) / scale - 0.5) for tag, corners in found]


def _card(tag: int, corners: Points, edges: tuple[TagEdge | None, ...]) -> Card:
    exact = refine_corners(corners, edges)
    return Card(tag=tag, corners_px=exact, mm_per_px=_mm_per_px(exact), blur_px=blur_of(edges))


def detect_tags(gray: np.ndarray, family: int, *, smallest_px: float = 0.0) -> list[tuple[int, Points]]:
    """Ids and corners, px, of the tags of one of OpenCV's families in a grey picture.

    Most outlines in a photo are those of texture: passing over all that are too short for tags with sides of
    `smallest_px` takes half the time.
    """
    parameters = cv2.aruco.DetectorParameters()
    # A square that stands on its corner has 1 / sqrt(2) as many pixels round it as one that lies.
    least = 0.9 * 4 * smallest_px / np.sqrt(2) / max(gray.shape)
    parameters.minMarkerPerimeterRate = max(_LEAST_PERIMETER, float(least))
    (
        parameters.adaptiveThreshWinSizeMin,
        parameters.adaptiveThreshWinSizeMax,
        parameters.adaptiveThreshWinSizeStep,
    ) = _THRESHOLD_WINDOWS_PX
    parameters.minGroupDistance = _GROUP_DISTANCE
    parameters.perspectiveRemovePixelPerCell = _CELL_SAMPLES
    parameters.perspectiveRemoveIgnoredMarginPerCell = _CELL_MARGIN
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(family)
    corners, tags, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(gray)
    if tags is None:
        return []
    return [
        (int(tag), np.asarray(quad, np.float64).reshape(4, 2))
        for tag, quad in zip(np.ravel(tags), corners, strict=True)
    ]


def _apart(found: Iterable[tuple[int, Points]]) -> list[tuple[int, Points]]:
    """The tags without second sightings of one and the same square; the first sighting is kept."""
    kept: list[tuple[int, Points]] = []
    for tag, corners in found:
        middle, reach = corners.mean(0), np.ptp(corners, 0).max() / 2
        if not any(tag == t and np.hypot(*(c.mean(0) - middle)) < reach for t, c in kept):
            kept.append((tag, corners))
    return kept


def _mm_per_px(corners_px: Points) -> float:
    # The upright sides alone: bags are turned about the upright axis and cards bend about it,
    # which shortens a tag sideways only.
    top_left, top_right, bottom_right, bottom_left = corners_px
    upright = np.hypot(*(bottom_left - top_left)) + np.hypot(*(bottom_right - top_right))
    return float(2 * TAG_MM / upright)


def card_points_px(card: Card, points_mm: Points) -> Points:
    """Where points of a card stand in the photo.

    Parameters
    ----------
    card : Card
        The card, by its tag.
    points_mm : ndarray, shape (N, 2)
        x, y in mm from the card's top left corner.

    Returns
    -------
    ndarray, shape (N, 2)
        x, y in px of the photo.
    """
    left, top = TAG_LEFT_MM, (CARD_MM[1] - TAG_MM) / 2
    tag_mm = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], np.float32) * TAG_MM + (left, top)
    to_px = cv2.getPerspectiveTransform(tag_mm.astype(np.float32), card.corners_px.astype(np.float32))
    moved = cv2.perspectiveTransform(np.asarray(points_mm, np.float64)[None], to_px)
    return np.asarray(moved[0], np.float64)


def card_outline_px(card: Card, *, margin_mm: float = 0.0, far_margin_mm: float = 0.0) -> Points:
    """The card's four corners in the photo, clockwise from the top left, widened by a margin.

    The end far from the tag, whose place is extrapolated and which bends off the film, may have another.
    """
    m, far = margin_mm, CARD_MM[0] + far_margin_mm
    corners = np.array([(-m, -m), (far, -m), (far, CARD_MM[1] + m), (-m, CARD_MM[1] + m)])
    return card_points_px(card, corners)


def cover_cards(rgb: ImageRGB) -> ImageRGB:
    """Return a picture with its cards painted over in grey: they may say what a bag got.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        A photo or a part of one, upright sRGB; left as it is.
    """
    covered = rgb.copy()
    for card in find_cards(rgb):
        outline = card_outline_px(card, margin_mm=_COVER_MM, far_margin_mm=_COVER_FAR_MM)
        covered[filled(outline, rgb.shape[:2])] = _COVER_GREY
    return covered


def card_middle_px(card: Card) -> Points:
    """The middle of the card in the photo, by the tag's own directions.

    Half a card's width beyond the tag a perspective fitted to the tag alone would be unsteady.
    """
    top_left, top_right, bottom_right, bottom_left = card.corners_px
    along = (top_right - top_left + bottom_right - bottom_left) / (2 * TAG_MM)
    offset_mm = CARD_MM[0] / 2 - TAG_LEFT_MM - TAG_MM / 2
    return np.asarray(card.corners_px.mean(0) + offset_mm * along, np.float64)


def filled(polygon: Points, shape: tuple[int, int]) -> Mask:
    """The pixels inside a polygon, as a mask of this shape (rows, columns)."""
    canvas = np.zeros(shape, np.uint8)
    sixteenths = np.round(np.asarray(polygon) * 16).astype(np.int32)
    cv2.fillPoly(canvas, [sixteenths], 1, shift=4)
    return canvas > 0
