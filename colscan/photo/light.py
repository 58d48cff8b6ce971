"""From the numbers in a file to light."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.photo.model import ImageRGB, LinearRGB


def to_linear(rgb: ImageRGB) -> LinearRGB:
    """Linear light of sRGB pixels.

    Parameters
    ----------
    rgb : ndarray of uint8, any shape
        sRGB values, 0-255.

    Returns
    -------
    ndarray of float32, same shape
        Linear light, 0-1.

    Notes
    -----
    A phone's tone curve is not sRGB's: what comes out is proportional to light only as far as
    the phone keeps to the standard.

    References
    ----------
    IEC 61966-2-1:1999, Colour management - Default RGB colour space - sRGB.

    Examples
    --------
    >>> float(to_linear(np.array([128], np.uint8))[0].round(4))
    0.2159
    """
    if not rgb.size:
        return rgb.astype(np.float32)
    # OpenCV's table is seven times as quick as numpy's indexing.
    rows = np.ascontiguousarray(rgb).reshape(len(rgb), -1)
    return np.asarray(cv2.LUT(rows, _decoding_table()), np.float32).reshape(rgb.shape)


@cache
def _decoding_table() -> NDArray[np.float32]:
    value = np.arange(256) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4).astype(np.float32)
