"""Values between pixels, to the last bit the same with every version of OpenCV.

OpenCV 4 rounds places to 1/32 px before it mixes the four pixels around them, OpenCV 5 doesn't: the same
photo was scored up to two points apart.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]
"""(h, w) or (h, w, c)."""


class Between:
    """An image that can be read between its pixels, linear from one to the next.

    Parameters
    ----------
    image : ndarray, shape (h, w) or (h, w, c)
        Any numbers.
    outside : float
        What the image continues with beyond its border.
    """

    def __init__(self, image: NDArray[Any], *, outside: float = 0.0) -> None:
        self._h, self._w = image.shape[:2]
        self._flat = _padded(image, outside).reshape(-1, *image.shape[2:])

    def at(self, x: NDArray[Any], y: NDArray[Any]) -> Image:
        """Values (float32), of the places' shape with the image's channels.

        Parameters
        ----------
        x, y : ndarrays of one shape
            Column and row of each place; 0, 0 is the middle of the first pixel.
        """
        across, left = _split(x, self._w)
        down, top = _split(y, self._h)
        row = self._w + 3
        at = top * row + left
        if self._flat.ndim == 2:
            across, down = across[..., None], down[..., None]
        # `take` is twice as quick as indexing.
        corners = (self._flat.take(at + step, axis=0) for step in (0, 1, row, row + 1))
        left_top, right_top, left_low, right_low = corners
        return _mixed(_mixed(left_top, right_top, across), _mixed(left_low, right_low, across), down)


def _padded(image: NDArray[Any], outside: float) -> Image:
    """An image with a row and a column more before it and two after it."""
    padded = np.empty((image.shape[0] + 3, image.shape[1] + 3, *image.shape[2:]), np.float32)
    padded[0] = padded[-2:] = padded[:, 0] = padded[:, -2:] = outside
    padded[1:-2, 1:-2] = image
    return padded


def _mixed(first: Image, second: Image, share: Image) -> Image:
    """The first values, turned into the second ones by a share, in the second ones' place."""
    second -= first
    second *= share
    second += first
    return second


def sample(image: NDArray[Any], x: NDArray[Any], y: NDArray[Any], *, outside: float = 0.0) -> Image:
    """Values of an image at places between its pixels: `Between` is quicker when asked again."""
    return Between(image, outside=outside).at(x, y)


def _split(places: NDArray[Any], length: int) -> tuple[Image, NDArray[np.intp]]:
    """How far each place is past a pixel, and that pixel's number in the padded image."""
    inside = np.clip(places + 1, 0, length + 1)
    whole = inside.astype(np.intp)
    return (inside - whole).astype(np.float32), whole


def warp_affine(
    image: NDArray[Any], to_image: NDArray[Any], shape: tuple[int, ...], *, outside: float = 0.0
) -> Image:
    """An image on another grid.

    Parameters
    ----------
    image : ndarray, shape (h, w) or (h, w, c)
        Any numbers.
    to_image : ndarray, shape (2, 3)
        From column, row of the grid to those of the image.
    shape : tuple of int
        Rows and columns of the grid.
    outside : float
        What the image continues with beyond its border.
    """
    if to_image[0][1] == 0 and to_image[1][0] == 0:
        x, _ = affine_places(to_image, (1, shape[1]))
        _, y = affine_places(to_image, (shape[0], 1))
        return _stretched(image, x[0], y[:, 0], outside)
    x, y = affine_places(to_image, shape)
    return sample(image, x, y, outside=outside)


def _stretched(image: NDArray[Any], x: NDArray[Any], y: NDArray[Any], outside: float) -> Image:
    """What `sample` gives at all crossings of some columns and rows, in a fourth of the time."""
    padded = _padded(image, outside)
    channels = math.prod(image.shape[2:])
    across, left = _split(x, image.shape[1])
    down, top = _split(y, image.shape[0])
    # Channels as columns: numpy takes single numbers the quickest.
    flat = padded.reshape(len(padded), -1)
    at = (left[:, None] * channels + np.arange(channels)).ravel()
    share = np.repeat(across, channels)

    def level(rows: NDArray[np.intp]) -> Image:
        strip = flat.take(rows, axis=0)
        return _mixed(strip.take(at, axis=1), strip.take(at + channels, axis=1), share)

    mixed = _mixed(level(top), level(top + 1), down[:, None])
    return mixed.reshape(len(y), len(x), *image.shape[2:])


def affine_places(to_image: NDArray[Any], shape: tuple[int, ...]) -> tuple[Any, Any]:
    """Column and row in an image of each cell of a grid."""
    rows, columns = np.arange(shape[0], dtype=np.float64)[:, None], np.arange(shape[1], dtype=np.float64)
    (a, b, c), (d, e, f) = np.asarray(to_image, np.float64).tolist()
    return a * columns + b * rows + c, d * columns + e * rows + f
