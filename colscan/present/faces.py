"""A face as a small picture: upright, to one scale, in the light that all others are shown in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.locate.model import Points
from colscan.photo import to_linear
from colscan.photo.model import ImageRGB

MARGIN_MM = 8.0
"""Around the face: what stands beside it tells an outline that is wrong."""
# Film and angle take light away: dense mycelium sends back a quarter of what the card's paper does. With
# this scale it is shown light, substrate dark, and nothing is burnt out however bright it is.
_LIGHT_SCALE = 0.3
# What lies outside the face is mixed with this share of white, so that the eye compares faces.
_FADE = 0.7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FacePlace:
    """Where a face lies in a picture, and how it is lit.

    Parameters
    ----------
    outline_px : ndarray, shape (n, 2)
        Its polygon.
    mm_per_px : float
        Scale there.
    paper : ndarray, shape (3,)
        White paper in the light on it, linear, 0-1.
    """

    outline_px: Points
    mm_per_px: float
    paper: NDArray[np.float64]


def draw_face(rgb: ImageRGB, place: FacePlace, *, shown_mm_per_px: float) -> ImageRGB:
    """Return a face cut out of a photo, to scale and as it would look in the common light.

    Light relative to white paper is shown by one curve that is the same for all pictures: of two faces the
    one that is lighter in the pictures is lighter under the same lamp. Outside the face the photo is faded.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright; left as it is.
    place : FacePlace
        Where the face lies and how it is lit.
    shown_mm_per_px : float
        Scale of the picture.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
    """
    import cv2

    x0, y0, x1, y1 = _box(place, rgb.shape[:2])
    zoom = place.mm_per_px / shown_mm_per_px
    size = (max(1, round((x1 - x0) * zoom)), max(1, round((y1 - y0) * zoom)))
    # Light is averaged, not its code: otherwise fine white threads on dark ground come out too dark.
    light = to_linear(rgb[y0:y1, x0:x1])
    method = cv2.INTER_AREA if zoom < 1 else cv2.INTER_LINEAR
    relative = cv2.resize(light, size, interpolation=method) / np.maximum(place.paper, 1e-6)
    shown = _encode(1 - np.exp(-relative / _LIGHT_SCALE))
    inside = np.zeros(size[::-1], np.uint8)
    corners = (place.outline_px - (x0, y0)) * (size[0] / (x1 - x0), size[1] / (y1 - y0))
    cv2.fillPoly(inside, [np.round(corners).astype(np.int32)], 255, cv2.LINE_AA)
    weight = 1 - _FADE * (1 - inside[..., None] / 255.0)
    return np.asarray(np.round(255 * (1 - weight + weight * shown)), np.uint8)


def _box(place: FacePlace, shape: tuple[int, ...]) -> tuple[int, int, int, int]:
    """x0, y0, x1, y1 around the face within the photo."""
    margin = MARGIN_MM / place.mm_per_px
    low = np.floor(place.outline_px.min(0) - margin).astype(int)
    high = np.ceil(place.outline_px.max(0) + margin).astype(int) + 1
    x0, y0 = np.clip(low, 0, [shape[1] - 1, shape[0] - 1])
    x1, y1 = np.clip(high, [x0 + 1, y0 + 1], [shape[1], shape[0]])
    return int(x0), int(y0), int(x1), int(y1)


def _encode(light: NDArray[np.floating]) -> NDArray[np.float64]:
    """Values of sRGB, 0-1, of linear light 0-1 (IEC 61966-2-1)."""
    value = np.asarray(light, np.float64)
    return np.where(value <= 0.0031308, 12.92 * value, 1.055 * np.maximum(value, 1e-9) ** (1 / 2.4) - 0.055)
