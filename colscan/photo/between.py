"""Values between pixels, to the last bit the same with every version of OpenCV.

OpenCV 4 rounds places to 1/32 px before it mixes the four pixels around them, OpenCV 5 doesn't: the same
photo was scored up to two points apart.
"""

from __future__ import annotations

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
        padded = np.full((self._h + 3, self._w + 3, *image.shape[2:]), outside, np.float32)
        padded[1:-2, 1:-2] = image
        self._flat = padded.reshape(-1, *image.shape[2:])

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
        upper, lower = (self._mixed(first, across) for first in (at, at + row))
        lower -= upper
        lower *= down
        upper += lower
        return upper

    def _mixed(self, first: NDArray[np.intp], across: Image) -> Image:
        """Between these pixels of the padded image and their right neighbours."""
        # `take` is twice as quick as indexing.
        left, mixed = self._flat.take(first, axis=0), self._flat.take(first + 1, axis=0)
        mixed -= left
        mixed *= across
        mixed += left
        return mixed


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
    x, y = affine_places(to_image, shape)
    return sample(image, x, y, outside=outside)


def affine_places(to_image: NDArray[Any], shape: tuple[int, ...]) -> tuple[Any, Any]:
    """Column and row in an image of each cell of a grid."""
    rows, columns = np.arange(shape[0], dtype=np.float64)[:, None], np.arange(shape[1], dtype=np.float64)
    (a, b, c), (d, e, f) = np.asarray(to_image, np.float64).tolist()
    return a * columns + b * rows + c, d * columns + e * rows + f
