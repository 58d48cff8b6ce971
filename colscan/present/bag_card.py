"""One card: its tag as vectors and what a person reads beside it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.cards import CARD_MM, CELL_MM, TAG_LEFT_MM, TAG_MM
from colscan.present.paper import Page, fit_text, printable

CELLS = round(TAG_MM / CELL_MM)
# A cell of white right of the tag is what a reader of tags needs to find its edge.
_TEXT_LEFT_MM = TAG_LEFT_MM + TAG_MM + CELL_MM
_TEXT_WIDTH_MM = CARD_MM[0] - 3.0 - _TEXT_LEFT_MM
# 30 points read from a metre and a half; under 11 and 7 points people need to step close.
_TITLE_SIZES_MM = (10.6, 9.0, 7.6, 6.4, 5.4, 4.6, 3.9)
_LINE_SIZES_MM = (4.6, 4.1, 3.7, 3.3, 2.9, 2.5)
_NOTE_SIZES_MM = (2.5,)


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLabel:
    """What stands on a card.

    Parameters
    ----------
    tag : int
        AprilTag 36h11 id, 0 to 586.
    title : str
        The bag's code, or the shelf.
    lines : tuple of str
        Under it, three at most; each in one line.
    """

    tag: int
    title: str
    lines: tuple[str, ...] = ()


def tag_cells(tag: int) -> NDArray[np.bool_]:
    """Return which cells of a tag are black, (8, 8), its border included.

    Parameters
    ----------
    tag : int
        AprilTag 36h11 id, 0 to 586.
    """
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return np.asarray(cv2.aruco.generateImageMarker(family, tag, CELLS) == 0)


def draw_card(page: Page, corner_mm: tuple[float, float], label: CardLabel) -> None:
    """Draw a card on a page, its top left corner at a point; without its outline.

    Parameters
    ----------
    page : Page
        Where.
    corner_mm : tuple of float
        x, y.
    label : CardLabel
        What stands on it.
    """
    left, top = corner_mm
    tag_corner = np.array([left + TAG_LEFT_MM, top + (CARD_MM[1] - TAG_MM) / 2])
    square = np.array([(0, 0), (1, 0), (1, 1), (0, 1)])
    black = np.argwhere(tag_cells(label.tag))[:, ::-1]
    page.area([tag_corner + (cell + square) * CELL_MM for cell in black])
    _write_label(page, left + _TEXT_LEFT_MM, top, label)


def _write_label(page: Page, left: float, top: float, label: CardLabel) -> None:
    title, size = fit_text(printable(label.title), _TEXT_WIDTH_MM, _TITLE_SIZES_MM, bold=True)
    page.text((left, top + 16.0), title, size_mm=size, bold=True)
    for row, line in enumerate(label.lines):
        text, size = fit_text(printable(line), _TEXT_WIDTH_MM, _LINE_SIZES_MM)
        page.text((left, top + 24.5 + 7.0 * row), text, size_mm=size)
    note, size = fit_text(f"tag {label.tag}", _TEXT_WIDTH_MM, _NOTE_SIZES_MM)
    page.text((left, top + CARD_MM[1] - 4.5), note, size_mm=size)
