"""A practice sheet: drawn faces of exactly known coverage, to train the eye, and their answers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.practice import (
    BARE,
    CELLS,
    FACE_MM,
    FAMILY,
    FRAME_MM,
    INSET_MM,
    PAGES,
    TAG_MM,
    TIMES,
    corner_tags_mm,
    face_corner_mm,
    numbered_places,
)
from colscan.present.card_sheets import PRINT_NOTE, draw_ruler
from colscan.present.paper import MARGIN_MM, Page, Paper, write_pdf

COVERAGES_PCT = (5, 10, 25, 50, 75, 90, 95)
COLONIES_MM = {"small": 27.0 / TIMES, "middling": 36.0 / TIMES, "large": 50.0 / TIMES}
"""Colony sizes and how far their drawn lumps reach (sigma of the field that is cut): 27 to 50 mm on a bag.

A half covered face of such lumps has an edge of 1 / (2 sqrt(2) sigma) for each unit of its area (Rice 1945,
level crossings along all lines, https://doi.org/10.1002/j.1538-7305.1945.tb00453.x). With 27 mm that is as
much as `_MOST_EDGE` allows.
"""
# The scorer puts a hard edge 0.77 mm too far out on a face as large as a bag's. Edges may make a third of
# the 3 points that it may be off here, as mostly covered faces err by some 2 without them: mm of edge for
# each mm2 of a bag.
_MOST_EDGE = 0.010 / 0.77
CELL_MM = 0.25
SUBSTRATE_RGB, MYCELIUM_RGB = (94, 86, 78), (131, 130, 126)
"""As in photos of bags, whose faces get less light than their card: wood .09 of the paper's, white .22."""
# Chips of 2 mm on a bag, which differ by a fifth: what a face is laid onto its bare twin by.
_CHIP_MM, _CHIPS_DIFFER = 2.0 / TIMES, 0.2
# What the border may leave out of a face's coverage.
_BORDER_POINTS = 0.2
# The order is mixed, or the eye would know the answer from the place; the same on every sheet.
_ORDER_SEED, _SUBSTRATE_SEED = 13, 0
_LABEL_MM = 2.8
_QUESTION = "How much of each face is covered (pale)? Note it, then turn to the answers."
_TO_PHOTOGRAPH = (
    "Matt paper. The tool's turn: lay the page flat, in daylight without sun, shadows or reflections,",
    "fill the picture with it, all four corner squares in view:   colscan practice PHOTO",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnFace:
    """What is drawn at a number of the sheet."""

    number: int
    coverage_pct: int
    colonies: str


def practice_faces() -> tuple[DrawnFace, ...]:
    """Return what each drawn face of the sheet shows, by number."""
    kinds = list(product(COVERAGES_PCT, COLONIES_MM))
    order = np.random.default_rng(_ORDER_SEED).permutation(len(kinds))
    return tuple(
        DrawnFace(number=number, coverage_pct=kinds[i][0], colonies=kinds[i][1])
        for number, i in enumerate(order, start=1)
    )


def draw_bare() -> NDArray[np.float64]:
    """Return bare substrate, (192, 224, 3) sRGB 0-255: the same under all faces."""
    rng = np.random.default_rng(_SUBSTRATE_SEED)
    chips = cv2.GaussianBlur(rng.normal(0, 1, _raster()), (0, 0), _CHIP_MM / CELL_MM)
    light = 1 + _CHIPS_DIFFER * np.clip(chips / chips.std(), -2, 2)
    # A factor of light is its root of 2.4 in sRGB, near enough for ink.
    return np.asarray(np.array(SUBSTRATE_RGB) * light[..., None] ** (1 / 2.4))


@cache
def draw_face(face: DrawnFace) -> NDArray[np.uint8]:
    """Return a drawn face, (192, 224, 3) sRGB, whose coverage is exact to half a cell of its raster.

    It is the first of its kind with so little edge that the scorer can read it, and with that coverage in
    the part that is scored, without the border, too. It takes some tries to come by, and is the same on
    every sheet: remembered, not to be written into.
    """
    rng = np.random.default_rng(face.number)
    border = round(INSET_MM / CELL_MM)
    while True:
        white = _colonies(face, rng)
        scored_pct = 100 * white[border:-border, border:-border].mean()
        if abs(scored_pct - face.coverage_pct) <= _BORDER_POINTS and edge_per_mm(white) <= _MOST_EDGE:
            break
    drawn = np.where(white[..., None], np.array(MYCELIUM_RGB), draw_bare()).round().astype(np.uint8)
    drawn.flags.writeable = False
    return drawn


def _colonies(face: DrawnFace, rng: np.random.Generator) -> NDArray[np.bool_]:
    """The highest places of a random field, as many as are to be covered."""
    reach = COLONIES_MM[face.colonies] / CELL_MM
    field = cv2.GaussianBlur(rng.normal(0, 1, _raster()), (0, 0), reach)
    covered = round(field.size * face.coverage_pct / 100)
    return np.asarray(field >= np.partition(field, -covered, axis=None)[-covered])


def edge_per_mm(white: NDArray[np.bool_]) -> float:
    """Return mm of edge for each mm2 of a drawn face as large as a bag's.

    By how often rows and columns cross it: a line crosses edges of all directions 2 / pi times for each
    unit of their length in a unit of area (Cauchy and Crofton).
    """
    crossed = np.count_nonzero(white[1:] != white[:-1]) + np.count_nonzero(white[:, 1:] != white[:, :-1])
    return float(np.pi / 4 * crossed / (white.size * CELL_MM * TIMES))


def _raster() -> tuple[int, int]:
    return round(FACE_MM[1] / CELL_MM), round(FACE_MM[0] / CELL_MM)


def frame_corner_mm(paper: Paper) -> tuple[float, float]:
    """Return where on a paper the frame of its corner tags begins."""
    return (paper.width_mm - FRAME_MM[0]) / 2, MARGIN_MM


def draw_practice(paper: Paper) -> bytes:
    """Return a PDF of numbered faces, and of the coverage of each on its last page.

    Parameters
    ----------
    paper : Paper
        What it will be printed on.
    """
    pages = [*(_faces_page(paper, page) for page in range(PAGES)), _answers_page(paper)]
    return write_pdf(pages, "Practice sheet: faces of known coverage")


def _faces_page(paper: Paper, number: int) -> Page:
    page, (left, top) = Page(paper), frame_corner_mm(paper)
    for tag, corners in corner_tags_mm(number):
        _draw_tag(page, tag, corners[0] + (left, top))
    head = left + TAG_MM + 4.0
    page.text((head, top + 4.0), _QUESTION, size_mm=3.5)
    for row, line in enumerate(_TO_PHOTOGRAPH):
        page.text((head, top + 8.6 + 4.0 * row), line, size_mm=_LABEL_MM)
    faces = practice_faces()
    drawn = [(BARE, draw_bare().round().astype(np.uint8), "bare:  0 %")]
    for face_number, place in numbered_places(number, len(faces)):
        drawn.append((place, draw_face(faces[face_number - 1]), f"{face_number}.   ______ %"))
    for place, picture, label in drawn:
        x, y = np.add(face_corner_mm(place), (left, top))
        page.picture((x, y), FACE_MM, picture)
        page.text((x, y + FACE_MM[1] + 3.8), label, size_mm=_LABEL_MM)
    draw_ruler(page)
    return page


def _draw_tag(page: Page, tag: int, corner_mm: NDArray[np.float64]) -> None:
    family = cv2.aruco.getPredefinedDictionary(FAMILY)
    black = np.argwhere(cv2.aruco.generateImageMarker(family, tag, CELLS) == 0)[:, ::-1]
    square, cell_mm = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]), TAG_MM / CELLS
    page.area([corner_mm + (cell + square) * cell_mm for cell in black])


def _answers_page(paper: Paper) -> Page:
    page, (left, top) = Page(paper), frame_corner_mm(paper)
    page.text((left, top + 4.0), "Answers: number, coverage, colonies", size_mm=3.5)
    for row, face in enumerate(practice_faces()):
        answer = f"{face.number}.   {face.coverage_pct} %   {face.colonies}"
        page.text((left, top + 14.0 + 8.0 * row), answer, size_mm=3.5)
    page.text((left, top + FRAME_MM[1] - 2.0), PRINT_NOTE, size_mm=_LABEL_MM)
    return page
