"""A practice sheet: drawn faces of exactly known coverage, to train the eye, and their answers."""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from colscan.present.card_sheets import draw_ruler
from colscan.present.paper import MARGIN_MM, Page, Paper, write_pdf

COVERAGES_PCT = (5, 10, 25, 50, 75, 90, 95)
COLONIES_MM = {"small": 1.0, "middling": 2.5, "large": 6.0}
"""Colony sizes and how far their drawn lumps reach (sigma), on faces of 52 x 27 mm."""
FACE_MM = (52.0, 27.0)
CELL_MM = 0.25
SUBSTRATE_RGB, MYCELIUM_RGB = (88, 76, 66), (168, 165, 158)
"""Moist wood, and mycelium as it looks through film beside white paper: some .4 of the paper's light.

As bright as paper it would be taken for a reflection."""
_COLUMNS, _PITCH_MM = 3, (60.0, 31.5)
_LABEL_MM = 2.8
# The order is mixed, or the eye would know the answer from the place; the same on every sheet.
_ORDER_SEED = 13


def practice_faces() -> list[tuple[int, str]]:
    """Return coverage in percent and colony size of each face, in the sheet's order."""
    faces = list(product(COVERAGES_PCT, COLONIES_MM))
    return [faces[i] for i in np.random.default_rng(_ORDER_SEED).permutation(len(faces))]


def draw_face(coverage_pct: float, reach_mm: float, *, seed: int) -> NDArray[np.uint8]:
    """Return a drawn face, (108, 208, 3) sRGB, whose coverage is exact to half a cell of its raster.

    Parameters
    ----------
    coverage_pct : float
        Share of its area that is white, 0 to 100.
    reach_mm : float
        How large the colonies are: sigma of the random field whose highest places are white.
    seed : int
        Which substrate and colonies.
    """
    import cv2

    rng = np.random.default_rng(seed)
    shape = (round(FACE_MM[1] / CELL_MM), round(FACE_MM[0] / CELL_MM))
    grain = cv2.GaussianBlur(rng.normal(0, 1, shape), (0, 0), 1.2)
    field = cv2.GaussianBlur(rng.normal(0, 1, shape), (0, 0), reach_mm / CELL_MM)
    rank = np.empty(field.size, int)
    rank[np.argsort(field, axis=None)[::-1]] = np.arange(field.size)
    white = (rank < round(field.size * coverage_pct / 100)).reshape(shape)[..., None]
    substrate = np.array(SUBSTRATE_RGB) * (1 + 0.6 * np.clip(grain[..., None], -0.5, 0.5))
    return np.where(white, np.array(MYCELIUM_RGB), substrate).round().astype(np.uint8)


def draw_practice(paper: Paper) -> bytes:
    """Return a PDF of two pages: numbered faces, and the coverage of each.

    Parameters
    ----------
    paper : Paper
        What it will be printed on.
    """
    faces, answers = Page(paper), Page(paper)
    left = (paper.width_mm - _PITCH_MM[0] * _COLUMNS) / 2
    faces.text(
        (left, MARGIN_MM + 3.0), "How much is covered (pale)? Note it, then turn to the answers.", size_mm=3.5
    )
    answers.text((left, MARGIN_MM + 3.0), "Answers: number, coverage, colonies", size_mm=3.5)
    for place, (coverage_pct, size) in enumerate(practice_faces()):
        row, column = divmod(place, _COLUMNS)
        x, y = left + column * _PITCH_MM[0], MARGIN_MM + 6.0 + row * _PITCH_MM[1]
        faces.picture((x, y), FACE_MM, draw_face(coverage_pct, COLONIES_MM[size], seed=place))
        faces.text((x, y + FACE_MM[1] + 3.0), f"{place + 1}.   ______ %", size_mm=_LABEL_MM)
        answer = f"{place + 1}.   {coverage_pct} %   {size}"
        answers.text((x, MARGIN_MM + 14.0 + 8.0 * row), answer, size_mm=3.5)
    draw_ruler(faces)
    return write_pdf([faces, answers], "Practice sheet: faces of known coverage")
