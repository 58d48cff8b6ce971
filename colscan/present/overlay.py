"""The annotated photo: what the scorer saw, drawn thin enough that the bag stays visible."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.ledger.columns import ScoreRow, SuspectRow
from colscan.photo.model import ImageRGB
from colscan.present.face_marks import FaceMarks, draw_marks

if TYPE_CHECKING:
    from PIL import ImageDraw, ImageFont

PointsPx = NDArray[np.float64]
"""(N, 2) x, y in the photo."""
Box = tuple[float, float, float, float]
"""left, top, right, bottom, px."""

# White and yellow on a black casing are told apart by lightness too, on light and on dark photos.
FACE_COLOUR = (255, 255, 255)
ALARM_COLOUR = (255, 214, 0)
EXPECTED_COLOUR = (190, 190, 190)
CASING = (0, 0, 0)
JPEG_QUALITY = 90
_PLATE = (0, 0, 0, 175)
_LETTERS_PER_FACE = 15
"""Letters of a label that fit across a face."""
_SMALLEST_LETTER_PX = 11
_LARGEST_LETTER_SHARE = 1 / 36
"""Of the photo's longer side: more would hide the bag where few bags fill the photo."""
_PATCH_CLEARANCE = 0.35
"""Of the letter's height, between a patch and the line round it: its edge stays visible."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pen:
    """Sizes that fit a photo: letter height and line width, px."""

    letter: int
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Label:
    """A text on its plate."""

    text: str
    box: Box
    colour: tuple[int, int, int]


def draw_overlay(
    rgb: ImageRGB,
    scores: Sequence[ScoreRow],
    suspects: Sequence[SuspectRow],
    marks: Mapping[str, FaceMarks],
) -> ImageRGB:
    """Return a copy of a photo with its faces outlined and named and its suspect patches ringed and named.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The upright photo; left as it is.
    scores : sequence of ScoreRow
        The photo's scores; bag code and colonized % stand under each face.
    suspects : sequence of SuspectRow
        The photo's suspect patches; expected looks are drawn in grey.
    marks : mapping of str to FaceMarks
        By bag, what was found covered (its edge is drawn) and what was not seen (hatched).
    """
    from PIL import Image, ImageDraw

    faces = [np.array(score.outline) for score in scores if score.outline]
    pen = _choose_pen(rgb.shape[0], rgb.shape[1], faces)
    canvas = rgb.copy()
    for score in scores:
        if score.bag in marks and score.outline:
            draw_marks(canvas, marks[score.bag], np.array(score.outline), line_px=pen.line)
        _draw_polygon(canvas, np.array(score.outline), FACE_COLOUR, width_px=pen.line)
    rings = [_ring_of(suspect, pen) for suspect in suspects]
    for suspect, ring in zip(suspects, rings, strict=True):
        _draw_polygon(canvas, ring, _colour_of(suspect), width_px=pen.line)
    picture = Image.fromarray(canvas)
    draw = ImageDraw.Draw(picture, "RGBA")
    labels = [_label_face(score, pen, picture.size) for score in scores if score.outline]
    taken = [_box_around(ring) for ring in rings] + [label.box for label in labels]
    for suspect, ring in zip(suspects, rings, strict=True):
        label = _label_patch(suspect, ring, pen, size=picture.size, taken=taken)
        _draw_leader(draw, ring, label, pen)
        labels.append(label)
        taken.append(label.box)
    for label in labels:
        _draw_label(draw, label, pen)
    return np.asarray(picture).copy()


def draw_outlines(rgb: ImageRGB, outlines: Sequence[tuple[str, PointsPx]]) -> ImageRGB:
    """Return a copy of a photo with outlines drawn, each with its text under it.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The upright photo; left as it is.
    outlines : sequence of (str, ndarray of shape (n, 2))
        Texts and polygons, px.
    """
    from PIL import Image, ImageDraw

    pen = _choose_pen(rgb.shape[0], rgb.shape[1], [outline for _, outline in outlines])
    canvas = rgb.copy()
    for _, outline in outlines:
        _draw_polygon(canvas, outline, FACE_COLOUR, width_px=pen.line)
    picture = Image.fromarray(canvas)
    draw = ImageDraw.Draw(picture, "RGBA")
    for text, outline in outlines:
        _draw_label(draw, _label_under(text, outline, pen, picture.size), pen)
    return np.asarray(picture).copy()


def encode_jpeg(rgb: ImageRGB) -> bytes:
    """Return a picture as the bytes of a JPEG file, without metadata.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The picture.
    """
    from PIL import Image

    out = BytesIO()
    # Full colour resolution: halved, the thin yellow rings turn grey.
    Image.fromarray(rgb).save(out, format="JPEG", quality=JPEG_QUALITY, subsampling=0)
    return out.getvalue()


def _choose_pen(height: int, width: int, outlines: Sequence[PointsPx]) -> _Pen:
    widths = [np.ptp(outline[:, 0]) for outline in outlines]
    face = float(np.median(widths)) if widths else max(height, width) / 4
    # A DejaVu letter is 0.6 of its height wide.
    letter = min(face / _LETTERS_PER_FACE / 0.6, max(height, width) * _LARGEST_LETTER_SHARE)
    letter = max(_SMALLEST_LETTER_PX, round(letter))
    return _Pen(letter=letter, line=max(1, round(letter / 11)))


def _colour_of(suspect: SuspectRow) -> tuple[int, int, int]:
    return EXPECTED_COLOUR if Flag.EXPECTED in suspect.flags else ALARM_COLOUR


def _draw_polygon(
    canvas: ImageRGB, points_px: PointsPx, colour: tuple[int, int, int], *, width_px: int
) -> None:
    """Draw on the canvas itself: a closed line with a dark casing."""
    import cv2

    if points_px.size == 0:
        return
    shift = 4
    points = [np.round(points_px * 2**shift).astype(np.int32)]
    for ink, width in ((CASING, 2 * width_px + 1), (colour, width_px)):
        cv2.polylines(canvas, points, True, ink, width, cv2.LINE_AA, shift)


def _ring_of(suspect: SuspectRow, pen: _Pen) -> PointsPx:
    """A line round a patch at some distance; a circle where the patch is too small to show its shape."""
    import cv2

    clearance = _PATCH_CLEARANCE * pen.letter
    outline = np.array(suspect.outline or [(suspect.x_px, suspect.y_px)], dtype=np.float32)
    (x, y), radius = cv2.minEnclosingCircle(outline)
    angles = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    circle = np.column_stack([np.cos(angles), np.sin(angles)])
    if radius < pen.letter:
        return np.array([x, y]) + (max(radius, 0.3 * pen.letter) + clearance) * circle
    # The hull of the patch and a small circle at each of its corners: the hull at that distance.
    swollen = (outline[:, None, :] + clearance * circle[None, :, :]).reshape(-1, 2)
    return cv2.convexHull(swollen.astype(np.float32)).reshape(-1, 2).astype(np.float64)


@cache
def _load_font(letter_px: int) -> ImageFont.FreeTypeFont:
    from matplotlib import get_data_path
    from PIL import ImageFont

    path = Path(get_data_path()) / "fonts" / "ttf" / "DejaVuSans-Bold.ttf"
    return ImageFont.truetype(str(path), letter_px)


def _label_face(score: ScoreRow, pen: _Pen, size: tuple[int, int]) -> _Label:
    measured = "not measured" if score.coverage_pct is None else f"{score.coverage_pct:.0f} %"
    return _label_under(f"{score.bag}  {measured}", np.array(score.outline), pen, size)


def _label_under(text: str, outline: PointsPx, pen: _Pen, size: tuple[int, int]) -> _Label:
    width, height = _size_label(text, pen)
    left = (outline[:, 0].min() + outline[:, 0].max() - width) / 2
    # Under the face: nothing of the bag is covered, and its card hangs at the top.
    top = outline[:, 1].max() + 2 * pen.line
    box = _into_picture((left, top, left + width, top + height), size)
    return _Label(text=text, box=box, colour=FACE_COLOUR)


def _label_patch(
    suspect: SuspectRow, ring: PointsPx, pen: _Pen, *, size: tuple[int, int], taken: list[Box]
) -> _Label:
    """A patch's name beside its ring, where it covers least of what is taken."""
    text = _text_of(suspect)
    places = _places_beside(_box_around(ring), _size_label(text, pen), pen)
    box = _choose_box([_into_picture(place, size) for place in places], taken)
    return _Label(text=text, box=box, colour=_colour_of(suspect))


def _text_of(suspect: SuspectRow) -> str:
    expected = " (expected)" if Flag.EXPECTED in suspect.flags else ""
    return f"{suspect.patch} {suspect.kind}{expected}"


def _box_around(points_px: PointsPx) -> Box:
    (left, top), (right, bottom) = points_px.min(axis=0), points_px.max(axis=0)
    return float(left), float(top), float(right), float(bottom)


def _places_beside(ring: Box, size: tuple[float, float], pen: _Pen) -> list[Box]:
    """Where a label of this size may stand by a ring, the best first."""
    left, top, right, bottom = ring
    width, height = size
    middle_x, middle_y = (left + right - width) / 2, (top + bottom - height) / 2
    corners: list[tuple[float, float]] = []
    for gap in (pen.line + 2, pen.line + 2 + height, pen.line + 2 + 2 * height):
        before_x, after_x, above_y, below_y = (
            left - gap - width,
            right + gap,
            top - gap - height,
            bottom + gap,
        )
        corners += [(after_x, middle_y), (before_x, middle_y), (middle_x, above_y), (middle_x, below_y)]
        corners += [(x, y) for x in (after_x, before_x) for y in (above_y, below_y)]
    return [(x, y, x + width, y + height) for x, y in corners]


def _choose_box(boxes: list[Box], taken: list[Box]) -> Box:
    """The place that covers least of what is drawn; a step down the list costs a little too."""
    step = 0.02 * _shared_area(boxes[0], boxes[0])
    costs = [sum(_shared_area(box, other) for other in taken) + i * step for i, box in enumerate(boxes)]
    return boxes[costs.index(min(costs))]


def _draw_leader(draw: ImageDraw.ImageDraw, ring: PointsPx, label: _Label, pen: _Pen) -> None:
    """A line from a patch's ring to its label, where they are apart."""
    left, top, right, bottom = label.box
    on_box = np.column_stack([ring[:, 0].clip(left, right), ring[:, 1].clip(top, bottom)])
    distances = np.hypot(*(ring - on_box).T)
    nearest = int(distances.argmin())
    if distances[nearest] > pen.letter:
        ends = [tuple(ring[nearest]), tuple(on_box[nearest])]
        draw.line(ends, fill=CASING, width=2 * pen.line + 1)
        draw.line(ends, fill=label.colour, width=pen.line)


def _size_label(text: str, pen: _Pen) -> tuple[float, float]:
    return _load_font(pen.letter).getlength(text) + 0.6 * pen.letter, 1.35 * pen.letter


def _into_picture(box: Box, size: tuple[int, int]) -> Box:
    left, top, right, bottom = box
    dx = max(0.0, -left) - max(0.0, right - size[0])
    dy = max(0.0, -top) - max(0.0, bottom - size[1])
    return left + dx, top + dy, right + dx, bottom + dy


def _shared_area(one: Box, other: Box) -> float:
    width = min(one[2], other[2]) - max(one[0], other[0])
    height = min(one[3], other[3]) - max(one[1], other[1])
    return max(0.0, width) * max(0.0, height)


def _draw_label(draw: ImageDraw.ImageDraw, label: _Label, pen: _Pen) -> None:
    left, top, right, bottom = label.box
    draw.rectangle(label.box, fill=_PLATE)
    middle = ((left + right) / 2, (top + bottom) / 2)
    draw.text(middle, label.text, font=_load_font(pen.letter), fill=label.colour, anchor="mm")
