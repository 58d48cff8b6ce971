"""What stays the same on a shelf, wall and posts, says how the lamp changed since the mapped photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.locate.cards import filled
from colscan.locate.carry import Homography
from colscan.locate.model import Points
from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB

# Light is compared on pictures of this longer side; codes above and below these are clipped or noise.
_SIDE_PX = 200
_BRIGHTEST, _DARKEST = 245, 12
# Bags with their empty tops, and the wall that takes their colour, are left out: so far around a face.
_ABOVE, _AROUND = 1.0, 0.25
_LEAST_PIXELS = 400


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surroundings:
    """A photo's light apart from its bags.

    Parameters
    ----------
    log_light : ndarray, shape (h, w, 3), float32
        Log of linear light, small; NaN at bags, and where it is clipped or black.
    scale : float
        Pixels of the photo a pixel of it.
    """

    log_light: NDArray[np.float32]
    scale: float


def surroundings(rgb: ImageRGB, faces_px: Sequence[Points]) -> Surroundings:
    """The light of a photo apart from its bags.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright.
    faces_px : sequence of ndarray, shape (n, 2)
        Its bags' faces.
    """
    scale = max(1.0, max(rgb.shape[:2]) / _SIDE_PX)
    size = (round(rgb.shape[1] / scale), round(rgb.shape[0] / scale))
    small = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    usable = (small.max(2) < _BRIGHTEST) & (small.min(2) > _DARKEST)
    for face in faces_px:
        (x0, y0), (x1, y1) = face.min(0), face.max(0)
        aside, above = _AROUND * (x1 - x0), _ABOVE * (y1 - y0)
        box = np.array(
            [(x0 - aside, y0 - above), (x1 + aside, y0 - above), (x1 + aside, y1), (x0 - aside, y1)]
        )
        usable &= ~filled(box / scale, (size[1], size[0]))
    light = np.log(np.maximum(to_linear(small), 1e-4))
    return Surroundings(log_light=np.where(usable[..., None], light, np.float32(np.nan)), scale=scale)


def lamp_change(known: Surroundings, today: Surroundings, change: Homography) -> NDArray[np.float64] | None:
    """By which factor, relative to green, each channel of the light changed; None where too little is shared.

    Parameters
    ----------
    known, today : Surroundings
        Of the mapped photo and of a later one.
    change : Homography
        From px of the mapped photo to px of the later one.

    Returns
    -------
    ndarray, shape (3,) or None
        Median over the places that both show.
    """
    to_known, to_today = (
        np.diag([known.scale, known.scale, 1]),
        np.diag([1 / today.scale, 1 / today.scale, 1]),
    )
    size = (known.log_light.shape[1], known.log_light.shape[0])
    moved = cv2.warpPerspective(
        today.log_light,
        to_today @ change.matrix @ to_known,
        size,
        flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(np.nan, np.nan, np.nan),
    )
    differ = (np.asarray(moved) - known.log_light).reshape(-1, 3)
    differ = differ[np.isfinite(differ).all(1)]
    if len(differ) < _LEAST_PIXELS:
        return None
    colour = differ - differ[:, 1:2]
    return np.asarray(np.exp(np.median(colour, axis=0)), np.float64)
