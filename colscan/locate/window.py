"""The surroundings of a card, or of a place where one would hang, in millimetres and units of paper."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.cards import card_middle_px, card_outline_px, filled
from colscan.locate.model import Card, Points
from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB, LinearRGB, Mask
from colscan.photo.thin import left_variance_px, thinned

# From the card's middle. Blocks are up to about 280 mm wide and high, the card sits in their upper
# part anywhere between the two sides, and 20 mm around them are looked at too.
LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = -160, 160, -90, 240

LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""Of linear sRGB (IEC 61966-2-1)."""
BRIGHTEST = 4.0
"""In units of paper; reflections brighter than this say no more."""
DARKEST = 0.02
"""Added before logarithms, in units of paper: haze and noise make darker tones meaningless."""
_SMOOTH_MM = 0.4
# Pixels this large show as much as a grid of a millimetre does. To find outlines by, the mean of what a file
# says of some pixels is as good as the mean of their light.
_FINE_MM = 1.2
# Places in one product: with more, more of the weights are zero; with fewer, products are too small.
_BAND = 32
Plane = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Window:
    """A photo's cut-out around a card, or where one would hang, one value a mm, axes along the photo's.

    Parameters
    ----------
    light : LinearRGB, shape (330, 320, 3)
        Linear light in units of the card's paper; 0 beyond the photo.
    middle_px : ndarray, shape (2,)
        The card's middle in the photo.
    mm_per_px : float
        Scale of the photo at the card.
    card : ndarray of bool, shape (330, 320)
        Places under the card; none without a card.
    """

    light: LinearRGB
    middle_px: Points
    mm_per_px: float
    card: Mask

    def filled(self, outline_px: Points) -> Mask:
        """The window's places inside a polygon of the photo."""
        return filled(self.to_mm(outline_px) - (LEFT_MM + 0.5, TOP_MM + 0.5), self.light.shape[:2])

    def laid_over(self, places: Mask, origin_px: tuple[int, int], shape: tuple[int, int]) -> Mask:
        """Places of the window laid over a crop of the photo."""
        scale = self.mm_per_px
        start = self.to_mm(np.array(origin_px, np.float64)) - (LEFT_MM + 0.5, TOP_MM + 0.5)
        laid = cv2.warpAffine(
            places.astype(np.uint8),
            np.array([[scale, 0, start[0]], [0, scale, start[1]]]),
            (shape[1], shape[0]),
            flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP,
        )
        return np.asarray(laid) > 0

    def to_px(self, points_mm: Points) -> Points:
        """Points in mm from the card's middle, in px of the photo."""
        return np.asarray(points_mm / self.mm_per_px + self.middle_px, np.float64)

    def to_mm(self, points_px: Points) -> Points:
        """Points in px of the photo, in mm from the card's middle."""
        return np.asarray((points_px - self.middle_px) * self.mm_per_px, np.float64)


def cut_window(rgb: ImageRGB, card: Card, paper: NDArray[np.float64]) -> Window:
    """The surroundings of a card.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo; only the part around the card is made linear.
    card : Card
        The card.
    paper : ndarray, shape (3,)
        Its paper in linear light. Where it is NaN, the brightest twentieth around the card stands in.
    """
    middle_px = card_middle_px(card)
    outline_mm = (card_outline_px(card) - middle_px) * card.mm_per_px
    on_card = filled(outline_mm - (LEFT_MM + 0.5, TOP_MM + 0.5), (BOTTOM_MM - TOP_MM, RIGHT_MM - LEFT_MM))
    bare = cut_bare_window(rgb, middle_px, mm_per_px=card.mm_per_px, paper=paper)
    return replace(bare, card=on_card)


def cut_bare_window(
    rgb: ImageRGB, middle_px: Points, *, mm_per_px: float, paper: NDArray[np.float64]
) -> Window:
    """The surroundings of a place (2,) in the photo at which a card would hang; see `cut_window`."""
    corners = np.array([(LEFT_MM - 5, TOP_MM - 5), (RIGHT_MM + 5, BOTTOM_MM + 5)]) / mm_per_px + middle_px
    height, width = rgb.shape[:2]
    x0, y0 = np.clip(np.floor(corners[0]).astype(int), 0, (width - 1, height - 1))
    x1, y1 = np.clip(np.ceil(corners[1]).astype(int), (x0 + 1, y0 + 1), (width, height))
    every = max(1, int(_FINE_MM / mm_per_px))
    middle = (middle_px - (x0, y0) - (every - 1) / 2) / every
    # Where a millimetre has several pixels, their Gaussian mean is meant, or noise and texture would alias.
    blur_px = left_variance_px((_SMOOTH_MM / mm_per_px) ** 2, every) ** 0.5 if mm_per_px < 1 else 0.0
    light = to_linear(thinned(rgb[y0:y1, x0:x1], every))
    mm_grid = _to_mm_grid(light, middle, mm_per_px * every, blur_px=blur_px)
    white = paper if np.isfinite(paper).all() else _brightest(mm_grid)
    planes = cv2.merge(
        [plane / np.float32(max(one, 1e-4)) for plane, one in zip(mm_grid, white, strict=True)]
    )
    return Window(
        light=planes,
        middle_px=middle_px,
        mm_per_px=mm_per_px,
        card=np.zeros(planes.shape[:2], bool),
    )


def _brightest(planes: Plane) -> NDArray[np.float64]:
    """What a twentieth of the places within the photo reaches of each colour."""
    seen = planes[:, planes.any(0)]
    return np.quantile(seen, 0.95, axis=1) if seen.size else np.zeros(len(planes))


def _to_mm_grid(light: LinearRGB, middle_px: Points, mm_per_px: float, *, blur_px: float) -> Plane:
    """Light of the pixels around a place, (3, 330, 320), blurred by a Gaussian of this sigma.

    They are sums over rows, then over columns, weighted by the same numbers all along: matrix products, which
    take a third of the time that smoothing all pixels first and then taking values between them does.
    """
    start = (np.array([LEFT_MM, TOP_MM]) + 0.5) / mm_per_px + middle_px
    (height, width), step = light.shape[:2], 1 / mm_per_px
    down = start[1] + step * np.arange(BOTTOM_MM - TOP_MM)
    across = start[0] + step * np.arange(RIGHT_MM - LEFT_MM)
    over_columns = [(some, used, weights.T) for some, used, weights in _weighted(across, width, blur_px)]
    mm_grid = np.empty((3, len(down), len(across)), np.float32)
    # Band by band: what lies between stays in the processor's cache.
    band = np.empty((3, _BAND, width), np.float32)
    for rows, used_rows, over_rows in _weighted(down, height, blur_px):
        mixed = (over_rows @ light[used_rows].reshape(-1, width * 3)).reshape(-1, width, 3)
        planes = band[:, : len(mixed)]
        planes[:] = np.moveaxis(mixed, 2, 0)
        for columns, used, weights in over_columns:
            mm_grid[:, rows, columns] = planes[..., used] @ weights
    return mm_grid


def _weighted(
    places: NDArray[np.float64], length: int, blur_px: float
) -> Iterator[tuple[slice, slice, Plane]]:
    """Some places along a line of pixels after the others, the pixels that count there, and how much each.

    Linear between pixels; zero beyond the photo: its border then shows as the edge it is.
    """
    reach = round(8 * blur_px + 1) // 2
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / max(blur_px, 0.1)) ** 2)
    whole = np.floor(places)
    first, second = (
        np.where((pixel >= 0) & (pixel < length), share, 0)[:, None] * (kernel / kernel.sum())
        for pixel, share in ((whole, 1 - (places - whole)), (whole + 1, places - whole))
    )
    parts = np.pad(first, ((0, 0), (0, 1))) + np.pad(second, ((0, 0), (1, 0)))
    near = abs(whole.astype(int)[:, None] + np.arange(-reach, reach + 2))
    mirrored = np.clip(length - 1 - abs(length - 1 - near), 0, length - 1)
    weights = np.zeros((len(places), length), np.float32)
    np.add.at(weights, (np.arange(len(places))[:, None], mirrored), parts.astype(np.float32))
    for start in range(0, len(places), _BAND):
        some = slice(start, start + _BAND)
        used = slice(int(mirrored[some].min()), int(mirrored[some].max()) + 1)
        yield some, used, weights[some, used]
