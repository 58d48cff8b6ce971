"""The first page of the card sheets: how to print, where to put the cards, what to beware of."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from colscan.locate.cards import CARD_MM, CELL_MM, TAG_LEFT_MM, TAG_MM
from colscan.present.bag_card import tag_cells
from colscan.present.cautions import HEAT_CAUTION, SPORE_CAUTION
from colscan.present.paper import MARGIN_MM, Page, PointsMm, fit_text, printable, wrap_text

WIDTH_MM = 180.0
_TEXT_MM, _LEADING_MM, _INDENT_MM = 3.5, 5.4, 6.0
STEPS = (
    "Print the next pages at actual size (100 %), not fitted to the page, on plain white matt paper. "
    "Not glossy, not laminated, no tape over the front: the card is the white that photos go by.",
    "Measure the ruler: 100 mm. If it is longer or shorter, the printer has scaled the page.",
    "Cut along the crosses. Each card is 90 x 50 mm; keep the white around the black square.",
    "Fix each card on its own bag before the first photo: high, above the fill line, flat, upright, on the "
    "side that the camera will see. What is under the card is not measured.",
    "Cards 580 to 586 are for shelves: one on the front edge of each, above all where bags have none.",
)
# The drawing is to scale: a usual bag of 190 by 330 mm (common practice, no source) and the card.
_SCALE = 0.23
_BAG_MM = (190.0, 330.0)
_FILL_LINE_MM = 125.0
_PATCH_SIDE_MM, _PATCH_TOP_MM = 45.0, 12.0
_CARD_TOP_MM = 66.0
_LABEL_MM = 2.9


def draw_guide(page: Page, name: str) -> None:
    """Draw the page of instructions.

    Parameters
    ----------
    page : Page
        An empty page.
    name : str
        The trial's name.
    """
    left, y = (page.paper.width_mm - WIDTH_MM) / 2, MARGIN_MM + 8.0
    title, size = fit_text(printable(f"Cards of the trial {name}"), WIDTH_MM, (7.0, 5.6, 4.6), bold=True)
    page.text((left, y), title, size_mm=size, bold=True)
    y += 10.0
    for number, step in enumerate(STEPS, 1):
        page.text((left, y), f"{number}.", size_mm=_TEXT_MM)
        y = _write_paragraph(page, (left + _INDENT_MM, y), step, width_mm=WIDTH_MM - _INDENT_MM)
    _draw_places(page, left, y + 4.0)
    y += 110.0
    page.text((left, y), "Take care", size_mm=_TEXT_MM, bold=True)
    y += _LEADING_MM
    for caution in (HEAT_CAUTION, SPORE_CAUTION):
        y = _write_paragraph(page, (left, y), caution, width_mm=WIDTH_MM)


def _write_paragraph(page: Page, at_mm: tuple[float, float], text: str, *, width_mm: float) -> float:
    """Write a text in lines; gives where the next line's baseline is."""
    left, y = at_mm
    for line in wrap_text(text, width_mm, _TEXT_MM):
        page.text((left, y), line, size_mm=_TEXT_MM)
        y += _LEADING_MM
    return y


def _draw_places(page: Page, left: float, top: float) -> None:
    """Three bags on a shelf: one card placed well, two not; and the shelf's card."""
    wide, high = (side * _SCALE for side in _BAG_MM)
    bags_top = top + 8.0
    lefts = (left, left + 86.0, left + WIDTH_MM - wide)
    heads = ("\u2713 high, flat, upright", "\u2717 hides what is measured", "\u2717 askew, over the edge")
    middle = (_BAG_MM[0] - CARD_MM[0]) / 2
    placed = ((middle, _CARD_TOP_MM, 0.0), (middle, 200.0, 0.0), (112.0, 80.0, 24.0))
    for bag_left, head, (x, y, turn) in zip(lefts, heads, placed, strict=True):
        page.text((bag_left, top + 5.0), head, size_mm=_LABEL_MM, bold=True)
        _draw_bag(page, bag_left, bags_top)
        _draw_small_card(page, (bag_left + x * _SCALE, bags_top + y * _SCALE), turn_degrees=turn)
    _name_parts(page, lefts[0] + wide, bags_top)
    _draw_shelf(page, left, bags_top + high)


def _draw_bag(page: Page, left: float, top: float) -> None:
    wide, high = (side * _SCALE for side in _BAG_MM)
    fill = top + _FILL_LINE_MM * _SCALE
    page.area([_box(left, fill, wide, top + high - fill)], grey=0.88)
    page.line(_ring(_box(left, top, wide, high)), width_mm=0.4)
    page.line([(left, fill), (left + wide, fill)], dashed=True)
    side = _PATCH_SIDE_MM * _SCALE
    patch = _box(left + (wide - side) / 2, top + _PATCH_TOP_MM * _SCALE, side, side)
    page.line(_ring(patch), width_mm=0.2, grey=0.4)


def _draw_small_card(page: Page, corner_mm: tuple[float, float], *, turn_degrees: float = 0.0) -> None:
    """A card at the drawing's scale, turned clockwise about its top left corner."""
    turn = np.radians(turn_degrees)
    to_page = _SCALE * np.array([(np.cos(turn), np.sin(turn)), (-np.sin(turn), np.cos(turn))])
    card = _box(0.0, 0.0, *CARD_MM) @ to_page + corner_mm
    page.area([card], grey=1.0)
    page.line(_ring(card), width_mm=0.2)
    tag_corner = np.array([TAG_LEFT_MM, (CARD_MM[1] - TAG_MM) / 2])
    black = np.argwhere(tag_cells(0))[:, ::-1]
    page.area(
        [((tag_corner + (cell + _box(0.0, 0.0, 1.0, 1.0)) * CELL_MM) @ to_page) + corner_mm for cell in black]
    )
    for y in (16.0, 26.0, 34.0):
        page.line(np.array([(49.0, y), (80.0, y)]) @ to_page + corner_mm, width_mm=0.3, grey=0.4)


def _name_parts(page: Page, right: float, top: float) -> None:
    """The names of a bag's parts, right of it, each with a line to its part."""
    parts = (
        (_PATCH_TOP_MM + _PATCH_SIDE_MM / 2, 72.0, "filter patch"),
        (_CARD_TOP_MM + CARD_MM[1] / 2, 50.0, "card, free of folds"),
        (_FILL_LINE_MM, 0.0, "fill line"),
        (220.0, 40.0, "what is measured"),
    )
    for y, inside, name in parts:
        at = top + y * _SCALE
        page.line([(right - inside * _SCALE, at), (right + 3.0, at)], width_mm=0.15)
        page.text((right + 4.0, at + 1.0), name, size_mm=_LABEL_MM)


def _draw_shelf(page: Page, left: float, top: float) -> None:
    edge = 4.0
    page.area([_box(left, top, WIDTH_MM, edge)], grey=0.6)
    card = (left + 96.0, top + 0.8)
    _draw_small_card(page, card)
    page.text(
        (card[0] + CARD_MM[0] * _SCALE + 3.0, top + 9.0),
        "a shelf's card, on its front edge",
        size_mm=_LABEL_MM,
    )


def _box(left: float, top: float, wide: float, high: float) -> NDArray[np.float64]:
    return np.array([(left, top), (left + wide, top), (left + wide, top + high), (left, top + high)])


def _ring(polygon: NDArray[np.float64]) -> PointsMm:
    """A polygon's line, closed: on beyond its first corner, so that all corners are mitred."""
    return np.vstack([polygon, polygon[:2]])
