"""On a photo: the edge of what is covered, and hatching over what is not seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.photo.model import ImageRGB, Mask

# Sky blue is told from white, yellow and browns by people of all colour visions, and from green mould.
EDGE_COLOUR = (86, 180, 233)
# A white and a dark line side by side show on white and on brown.
_HATCH_COLOURS = ((255, 255, 255), (60, 60, 60))
_SHIFT = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceMarks:
    """What of a face was found covered and seen, and where it lies in the photo.

    Parameters
    ----------
    covered, seen : ndarray of bool, shape (h, w)
        On the face's own grid.
    to_px : ndarray, shape (2, 3)
        From column, row of the grid to x, y in the photo.
    """

    covered: Mask
    seen: Mask
    to_px: NDArray[np.float64]


def draw_marks(canvas: ImageRGB, marks: FaceMarks, outline_px: NDArray[np.float64], *, line_px: int) -> None:
    """Draw on the canvas itself: hatching inside the outline where nothing was seen, and the edge."""
    _hatch(canvas, marks, outline_px, spacing_px=7 * line_px)
    _draw_edge(canvas, marks, line_px=line_px)


def _hatch(canvas: ImageRGB, marks: FaceMarks, outline_px: NDArray[np.float64], *, spacing_px: int) -> None:
    import cv2

    height, width = canvas.shape[:2]
    x0, y0 = np.maximum(np.floor(outline_px.min(0)).astype(int), 0)
    x1, y1 = np.minimum(np.ceil(outline_px.max(0)).astype(int) + 1, (width, height))
    if x1 <= x0 or y1 <= y0:
        return
    size = (int(x1 - x0), int(y1 - y0))
    inside = np.zeros(size[::-1], np.uint8)
    cv2.fillPoly(inside, [np.round(outline_px - (x0, y0)).astype(np.int32)], 1)
    placed = marks.to_px - np.array([[0, 0, x0], [0, 0, y0]])
    seen = cv2.warpAffine(marks.seen.astype(np.uint8), placed, size, flags=cv2.INTER_NEAREST)
    rows, columns = np.nonzero((inside > 0) & (seen == 0))
    phase = (rows + columns + x0 + y0) % spacing_px
    for step, colour in enumerate(_HATCH_COLOURS):
        on = phase == step
        canvas[rows[on] + y0, columns[on] + x0] = colour


def _draw_edge(canvas: ImageRGB, marks: FaceMarks, *, line_px: int) -> None:
    import cv2

    # Colonies and gaps of a few cells are noise to the eye; the score counts them all the same.
    kernel = np.ones((3, 3), np.uint8)
    covered = cv2.morphologyEx(marks.covered.astype(np.uint8), cv2.MORPH_OPEN, kernel)
    covered = cv2.morphologyEx(covered, cv2.MORPH_CLOSE, kernel)
    contours, _ = cv2.findContours(covered, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    for contour in contours:
        placed = contour[:, 0] @ marks.to_px[:, :2].T + marks.to_px[:, 2]
        points = [np.round(placed * 2**_SHIFT).astype(np.int32)]
        cv2.polylines(canvas, points, True, EDGE_COLOUR, line_px, cv2.LINE_AA, _SHIFT)
