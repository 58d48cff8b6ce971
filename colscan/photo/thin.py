"""Fewer pixels, each the mean of those it stands for."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray


def thinned(values: NDArray[Any], every: int) -> NDArray[Any]:
    """Means over squares of pixels; what is left over at the right and below is cut off.

    Parameters
    ----------
    values : ndarray, shape (h, w) or (h, w, c), uint8 or float32
        Any numbers.
    every : int
        A square's side, px. Pixel x of what comes out lies at `every` x + (`every` - 1) / 2.
    """
    if every == 1:
        return values
    h, w = (max(side // every, 1) for side in values.shape[:2])
    return np.asarray(cv2.resize(values[: h * every, : w * every], (w, h), interpolation=cv2.INTER_AREA))


def left_variance_px(variance_px: float, every: int) -> float:
    """What is left of a blur's variance (px of what is thinned) when thinning has done its part."""
    return max(0.0, variance_px - (every**2 - 1) / 12) / every**2
