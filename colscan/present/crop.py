"""A part of a photo as a picture of its own."""

from __future__ import annotations

import numpy as np

from colscan.photo.model import ImageRGB


def cut_out(rgb: ImageRGB, box: tuple[int, int, int, int], *, size: tuple[int, int]) -> ImageRGB:
    """Return a part of a photo, its pixels as they are unless another size is wanted.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright; left as it is.
    box : tuple of int
        x0, y0, x1, y1 of the part, px; the last ones lie outside it.
    size : tuple of int
        Width and height of the picture, px.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
    """
    from PIL import Image

    x0, y0, x1, y1 = box
    crop = rgb[y0:y1, x0:x1]
    if size == (x1 - x0, y1 - y0):
        return crop.copy()
    return np.asarray(Image.fromarray(crop).resize(size, Image.Resampling.LANCZOS))
