"""A photo of practice pages → their drawn faces, squared up, as views of bags; and how a page is laid out.

A page has a tag in each corner of a frame, and faces in columns and rows, one of them bare: it is to the
others what a bag's first photo is to its later ones. On both sizes of paper the frame is the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.errors import PhotoError
from colscan.flags import Flag
from colscan.locate.cards import detect_tags, filled
from colscan.locate.model import BagView, Points
from colscan.locate.reference import BURNT_OUT, BURNT_OUT_SHARE
from colscan.locate.tag_edges import blur_of, fit_tag_edges, refine_corners
from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB

FAMILY = cv2.aruco.DICT_APRILTAG_25h9
"""Bags and shelves use up all ids of 36h11; no tag of one family is read as one of the other."""
CELLS = 7
TAG_MM = 14.0
FRAME_MM = (184.0, 252.0)
"""From outer corner to outer corner of the tags: what Letter and A4 both hold within their margins."""
FACE_MM = (56.0, 48.0)
TIMES = 190.0 / FACE_MM[0]
"""By how much a drawn face is smaller than a bag's: a usual block is 190 mm wide (common practice)."""
COLUMNS, ROWS = 3, 4
BARE = 4
"""The bare face's place on each page, near its middle; places run along the rows."""
PAGES = 2
MOST_MM_PER_PX = 0.5
"""Of a face as large as a bag's: coarser photos move hard edges further out than finer ones do."""
INSET_MM = 0.75
"""This border of a face isn't scored, so that no white paper gets in: bent paper and lenses move faces by
about as much as they move the corners of the tags off a plane."""

_PITCH_MM = (64.0, 54.0)
_TOP_MM = 18.0
# White paper is read in strips to the left and right of a face, off its blurred edge.
_WHITE_MM = (1.5, 3.5)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PracticePage:
    """One page of the sheet in a photo.

    Parameters
    ----------
    bare : BagView
        The bare face.
    drawn : tuple of BagView
        The others, by place; a view's key is the face's number on the sheet, from 1.
    """

    bare: BagView
    drawn: tuple[BagView, ...]


def corner_tags_mm(page: int) -> Iterator[tuple[int, NDArray[np.float64]]]:
    """Id and outer corners of each of a page's four tags, clockwise from the top left, in its frame."""
    square = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * TAG_MM
    room = np.array(FRAME_MM) - TAG_MM
    for corner, at in enumerate([(0, 0), (1, 0), (1, 1), (0, 1)]):
        yield 4 * page + corner, square + at * room


def face_corner_mm(place: int) -> tuple[float, float]:
    """Top left corner of a place's face in its page's frame."""
    row, column = divmod(place, COLUMNS)
    return column * _PITCH_MM[0], _TOP_MM + row * _PITCH_MM[1]


def numbered_places(page: int, faces: int) -> Iterator[tuple[int, int]]:
    """Number on the sheet, from 1, and place of each drawn face of a page, of so many in all."""
    places = [place for place in range(COLUMNS * ROWS) if place != BARE]
    for number, place in enumerate(places, start=1 + page * len(places)):
        if number <= faces:
            yield number, place


def find_practice(rgb: ImageRGB, *, faces: int) -> tuple[PracticePage, ...]:
    """The practice pages in a photo, each of which shows all its four tags.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo.
    faces : int
        How many faces are drawn on all pages together.

    Raises
    ------
    PhotoError
        When no page shows its four tags, when it isn't flat, too small or too bright in the photo.
    """
    found = dict(detect_tags(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), FAMILY))
    pages = [page for page in range(PAGES) if all(tag in found for tag, _ in corner_tags_mm(page))]
    if not pages:
        msg = f"No practice page: of the squares in its four corners {len(found)} can be read."
        raise PhotoError(msg, "Show one whole page, flat and sharp, all four squares in the picture.")
    return tuple(_page(rgb, page, found, faces) for page in pages)


def _page(rgb: ImageRGB, page: int, found: dict[int, Points], faces: int) -> PracticePage:
    tags_px = [found[tag] for tag, _ in corner_tags_mm(page)]
    fitted = fit_tag_edges(rgb, tags_px)
    corners_px = [refine_corners(corners, edges) for corners, edges in zip(tags_px, fitted, strict=True)]
    to_px = _plane(np.concatenate(corners_px), page)
    blur_px = blur_of(edge for edges in fitted for edge in edges)
    return PracticePage(
        bare=_view(rgb, to_px, 0, BARE, blur_px),
        drawn=tuple(
            _view(rgb, to_px, number, place, blur_px) for number, place in numbered_places(page, faces)
        ),
    )


def _plane(corners_px: Points, page: int) -> NDArray[np.float64]:
    """From mm of a page's frame to px of the photo, by the corners of its tags."""
    corners_mm = np.concatenate([corners for _, corners in corner_tags_mm(page)])
    to_px, _ = cv2.findHomography(corners_mm, corners_px)
    back = cv2.perspectiveTransform(corners_px[None], np.linalg.inv(to_px))[0]
    off_mm = float(np.hypot(*(back - corners_mm).T).max())
    if off_mm > INSET_MM:
        msg = f"The practice page isn't flat: its corners are up to {off_mm:.1f} mm off a plane."
        raise PhotoError(msg, "Lay it on a table or fix it to a board, and photograph it from above.")
    return np.asarray(to_px)


def _view(rgb: ImageRGB, to_px: NDArray[np.float64], number: int, place: int, blur_px: float) -> BagView:
    x, y = face_corner_mm(place)
    px_per_mm = _px_per_mm(to_px, (x + FACE_MM[0] / 2, y + FACE_MM[1] / 2))
    if TIMES / px_per_mm > MOST_MM_PER_PX:
        msg = f"The practice page is too small in the photo: {px_per_mm:.1f} pixels a millimetre."
        raise PhotoError(
            msg, f"Go nearer: {TIMES / MOST_MM_PER_PX:.1f} are needed. Fill the picture with it."
        )
    pad = _WHITE_MM[1]
    crop = _squared(rgb, to_px, (x - pad, y - pad), px_per_mm)
    inset = pad + INSET_MM
    w, h = FACE_MM[0] + 2 * pad - inset, FACE_MM[1] + 2 * pad - inset
    outline_px = np.array([(inset, inset), (w, inset), (w, h), (inset, h)]) * px_per_mm
    face = filled(outline_px, crop.shape[:2])
    white = _white(crop, px_per_mm)
    burnt_out = (white >= BURNT_OUT).any(-1).mean() > BURNT_OUT_SHARE
    paper = np.median(to_linear(white).astype(np.float64), 0)
    return BagView(
        key=number,
        rgb=crop,
        origin_px=(0, 0),
        face=face,
        hidden=np.zeros_like(face),
        outline_px=outline_px,
        mm_per_px=TIMES / px_per_mm,
        paper=paper,
        ink=np.full(3, np.nan),
        blur_px=blur_px,
        flags=(Flag.REFERENCE_CLIPPED,) if burnt_out else (),
    )


def _px_per_mm(to_px: NDArray[np.float64], at_mm: tuple[float, float]) -> float:
    """The photo's scale at a point of the page: the root of how much larger a small square gets."""
    square = np.array([[(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)]]) + at_mm
    return float(np.sqrt(cv2.contourArea(cv2.perspectiveTransform(square, to_px).astype(np.float32))))


def _squared(
    rgb: ImageRGB, to_px: NDArray[np.float64], corner_mm: tuple[float, float], px_per_mm: float
) -> ImageRGB:
    """The part of a photo that shows a face and the paper around it, upright, at the photo's resolution."""
    wide, high = (round((side + 2 * _WHITE_MM[1]) * px_per_mm) for side in FACE_MM)
    # A crop's first pixel has its centre at 0, half a pixel into the page.
    half = 0.5 / px_per_mm
    to_mm = np.array(
        [[1 / px_per_mm, 0, corner_mm[0] + half], [0, 1 / px_per_mm, corner_mm[1] + half], [0, 0, 1]]
    )
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(
        cv2.warpPerspective(rgb, to_px @ to_mm, (wide, high), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    )


def _white(crop: ImageRGB, px_per_mm: float) -> ImageRGB:
    """The pixels, (n, 3), of the paper to the left and right of a face."""
    near, far = (round((_WHITE_MM[1] - mm) * px_per_mm) for mm in _WHITE_MM)
    return np.concatenate(
        [crop[:, far:near], crop[:, crop.shape[1] - near : crop.shape[1] - far]], 1
    ).reshape(-1, 3)
