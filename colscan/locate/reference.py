"""A card in a photo → its white paper, its black ink, and how blurred its edges are."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.locate.cards import CARD_MM, CELL_MM, TAG_LEFT_MM, TAG_MM, card_points_px
from colscan.locate.model import Card
from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB
from colscan.photo.ranks import median

BURNT_OUT = 250
"""A photo's highlights are burnt out from about here: JPEG and tone curves seldom reach 255."""
BURNT_OUT_LIGHT = 0.95
"""A channel of white paper at or over this linear light, that of `BURNT_OUT`, may be burnt out."""
BURNT_OUT_SHARE = 0.25
# Paper that isn't at least twice as bright as ink is no reference: black ink on plain paper is
# about 1 to 20, and haze before a card that is still read leaves more than this.
_LEAST_CONTRAST = 2.0
# Under two steps of an 8-bit photo's darkest tones ratios mean nothing.
_LEAST_PAPER = 0.005


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reference:
    """What a card says of the light on it.

    Parameters
    ----------
    paper, ink : ndarray, shape (3,)
        Linear light, 0-1; NaN when they can't be read.
    blur_px : float
        Sigma of the tag's edges; NaN when they can't be read.
    flags : tuple of Flag
        `no-reference` or `reference-clipped`, or none.
    """

    paper: NDArray[np.float64]
    ink: NDArray[np.float64]
    blur_px: float
    flags: tuple[Flag, ...]


def read_reference(rgb: ImageRGB, card: Card) -> Reference:
    """The light on a card, by medians, so that a reflection over part of it does no harm."""
    paper_rgb = _sample(rgb, card, _paper_mm())
    ink_rgb = _sample(rgb, card, _ink_mm())
    paper, ink = (median(to_linear(one).T).astype(np.float64) for one in (paper_rgb, ink_rgb))
    if paper.min() < _LEAST_PAPER or (paper < _LEAST_CONTRAST * ink).any():
        unread = np.full(3, np.nan)
        return Reference(paper=unread, ink=unread, blur_px=card.blur_px, flags=(Flag.NO_REFERENCE,))
    burnt_out = (paper_rgb >= BURNT_OUT).any(-1).mean() > BURNT_OUT_SHARE
    flags = (Flag.REFERENCE_CLIPPED,) if burnt_out else ()
    return Reference(paper=paper, ink=ink, blur_px=card.blur_px, flags=flags)


@cache
def _paper_mm() -> NDArray[np.float64]:
    """Places of bare paper: the margin around the tag, 2 mm off the card's edge and the ink."""
    x, y = _grid_mm(2.0, TAG_LEFT_MM + TAG_MM, 2.0, CARD_MM[1] - 2.0)
    margin = (x < TAG_LEFT_MM - 2) | (y < _TAG_TOP_MM - 2) | (y > _TAG_TOP_MM + TAG_MM + 2)
    return np.stack([x[margin], y[margin]], 1)


@cache
def _ink_mm() -> NDArray[np.float64]:
    """Places of ink: the middle third of the tag's black border, which is one cell wide."""
    x, y = _grid_mm(TAG_LEFT_MM, TAG_LEFT_MM + TAG_MM, _TAG_TOP_MM, _TAG_TOP_MM + TAG_MM)
    from_edge = np.minimum.reduce(
        [x - TAG_LEFT_MM, TAG_LEFT_MM + TAG_MM - x, y - _TAG_TOP_MM, _TAG_TOP_MM + TAG_MM - y]
    )
    inside = (from_edge > CELL_MM / 3) & (from_edge < CELL_MM * 2 / 3)
    return np.stack([x[inside], y[inside]], 1)


_TAG_TOP_MM = (CARD_MM[1] - TAG_MM) / 2


def _grid_mm(left: float, right: float, top: float, bottom: float) -> NDArray[np.float64]:
    step = 0.5
    return np.stack(np.meshgrid(np.arange(left, right, step), np.arange(top, bottom, step)))


def _sample(rgb: ImageRGB, card: Card, points_mm: NDArray[np.float64]) -> NDArray[np.uint8]:
    """The nearest pixels to points of a card, (N, 3); points beyond the photo take its border."""
    height, width = rgb.shape[:2]
    px = np.round(card_points_px(card, points_mm)).astype(int)
    return np.asarray(rgb[np.clip(px[:, 1], 0, height - 1), np.clip(px[:, 0], 0, width - 1)])
