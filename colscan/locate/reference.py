"""A card in a photo → its white paper, its black ink, and how blurred its edges are."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.locate.cards import CARD_MM, CELL_MM, TAG_LEFT_MM, TAG_MM, card_points_px
from colscan.locate.model import Card
from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB

# A photo's highlights are burnt out from about here: JPEG and tone curves seldom reach 255.
_BURNT_OUT = 250
_BURNT_OUT_SHARE = 0.25
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
    paper, ink = np.median(to_linear(paper_rgb), 0), np.median(to_linear(ink_rgb), 0)
    paper, ink = paper.astype(np.float64), ink.astype(np.float64)
    blur_px = measure_blur_px(rgb, card, levels=(float(ink[1]), float(paper[1])))
    if paper.min() < _LEAST_PAPER or (paper < _LEAST_CONTRAST * ink).any():
        unread = np.full(3, np.nan)
        return Reference(paper=unread, ink=unread, blur_px=blur_px, flags=(Flag.NO_REFERENCE,))
    burnt_out = (paper_rgb >= _BURNT_OUT).any(-1).mean() > _BURNT_OUT_SHARE
    flags = (Flag.REFERENCE_CLIPPED,) if burnt_out else ()
    return Reference(paper=paper, ink=ink, blur_px=blur_px, flags=flags)


def _paper_mm() -> NDArray[np.float64]:
    """Places of bare paper: the margin around the tag, 2 mm off the card's edge and the ink."""
    x, y = _grid_mm(2.0, TAG_LEFT_MM + TAG_MM, 2.0, CARD_MM[1] - 2.0)
    margin = (x < TAG_LEFT_MM - 2) | (y < _TAG_TOP_MM - 2) | (y > _TAG_TOP_MM + TAG_MM + 2)
    return np.stack([x[margin], y[margin]], 1)


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
    return rgb[np.clip(px[:, 1], 0, height - 1), np.clip(px[:, 0], 0, width - 1)]


def measure_blur_px(rgb: ImageRGB, card: Card, *, levels: tuple[float, float]) -> float:
    """Sigma of the blur of a tag's four outer edges: the median of an error function fitted to each.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo.
    card : Card
        The card whose tag's edges are measured.
    levels : tuple of float
        Ink and paper in linear light of the green channel, where the fit begins.

    Returns
    -------
    float
        Sigma in px; NaN when no edge can be fitted. A pixel's own size adds about 0.3 px.
    """
    widths = [
        _edge_sigma_px(rgb, card.corners_px[i], card.corners_px[(i + 1) % 4], levels=levels) for i in range(4)
    ]
    known = [w for w in widths if np.isfinite(w)]
    return float(np.median(known)) if known else float("nan")


def _edge_sigma_px(
    rgb: ImageRGB, start: NDArray[np.float64], end: NDArray[np.float64], *, levels: tuple[float, float]
) -> float:
    """Sigma of one edge; pixels themselves are fitted, as interpolating them would blur them again."""
    height, width = rgb.shape[:2]
    length = float(np.hypot(*(end - start)))
    # 3.5 mm to either side: within the border's one cell and the paper's margin.
    reach = max(2.0, 3.5 / TAG_MM * length)
    low = np.maximum(np.floor(np.minimum(start, end) - reach), 0).astype(int)
    high = np.minimum(np.ceil(np.maximum(start, end) + reach), (width - 1, height - 1)).astype(int)
    if (high - low < 2).any():
        return float("nan")
    along = (end - start) / length
    x, y = np.meshgrid(np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1))
    t = ((x - start[0]) * along[0] + (y - start[1]) * along[1]) / length
    # Corners run clockwise, so the paper lies to the left of each side.
    outward = (x - start[0]) * along[1] - (y - start[1]) * along[0]
    near = (abs(outward) < reach) & (t > 0.15) & (t < 0.85)
    light = to_linear(rgb[low[1] : high[1] + 1, low[0] : high[0] + 1, 1][near])
    return _fit_edge(outward[near], t[near] - 0.5, light.astype(np.float64), levels=levels)


def _fit_edge(
    outward: NDArray[np.float64],
    t: NDArray[np.float64],
    light: NDArray[np.float64],
    *,
    levels: tuple[float, float],
) -> float:
    """Sigma of light = ink + (paper - ink) * Phi((outward - a - b t) / sigma), by least squares."""
    from scipy.optimize import least_squares
    from scipy.special import ndtr

    if len(light) < 12 or levels[1] <= levels[0]:
        return float("nan")

    def misfit(p: NDArray[np.float64]) -> NDArray[np.float64]:
        shape = ndtr((outward - p[0] - p[1] * t) / np.exp(p[2]))
        return np.asarray(p[3] + (p[4] - p[3]) * shape - light)

    # A soft loss: film reflections and the tag's inner cells are no part of the edge.
    begin = np.array([0.0, 0.0, 0.0, *levels])
    fit = least_squares(misfit, begin, loss="soft_l1", f_scale=0.1 * (levels[1] - levels[0]), max_nfev=40)
    sigma = float(np.exp(fit.x[2]))
    return sigma if abs(fit.x[0]) < np.ptp(outward) / 2 and sigma < np.ptp(outward) else float("nan")
