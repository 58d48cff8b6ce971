"""A photo → where blocks are, by a small learnt network in plain numpy.

Four scales, 2 to 16 px of a photo reduced so that a block is some 56 px wide. Two maps come out: the chance
that a place is on a block, and that it lies in a block's core, well within its edges, which parts blocks
that touch. The weights are made by `tests/locate/fit_faces.py`.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from colscan.photo.light import to_linear
from colscan.photo.model import ImageRGB

Tensor = NDArray[np.float32]
"""(channels, h, w)."""
CORE_DEPTH = 0.35
"""The core lies this far from the edges, in halves of the block's width."""
_WEIGHTS = "faces.npz"
# The coarsest scale's cells: sides are filled up to a multiple of this.
_STRIDE = 16
_BAND_VALUES = 200_000
# Added to linear light before logarithms: darker tones than this are noise.
_DARKEST = 0.01


def face_chances(rgb: ImageRGB) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Log odds (h / 2, w / 2) of being on a block, and in a block's core.

    Parameters
    ----------
    rgb : ndarray, shape (h, w, 3), uint8
        The photo, reduced so that blocks are some 30 to 110 px wide.
    """
    height, width = rgb.shape[:2]
    filled_up = np.pad(rgb, ((0, -height % _STRIDE), (0, -width % _STRIDE), (0, 0)), mode="edge")
    face, core = _run(network_input(filled_up))
    rows, columns = (height + 1) // 2, (width + 1) // 2
    return face[:rows, :columns], core[:rows, :columns]


def network_input(rgb: ImageRGB) -> Tensor:
    """Log linear light (3, h, w) against the photo's median."""
    log_light = np.log(to_linear(rgb) + _DARKEST)
    return np.ascontiguousarray((log_light - np.median(log_light)).transpose(2, 0, 1), np.float32)


@lru_cache(maxsize=1)
def _weights() -> dict[str, NDArray[np.float32]]:
    with files("colscan.locate").joinpath(_WEIGHTS).open("rb") as file, np.load(file) as stored:
        return {name: stored[name].astype(np.float32) for name in stored.files}


def _run(x: Tensor) -> Tensor:
    a = _layer(_gathered(x), "stem")
    a = _layer(a, "a1") + a
    b = _layer(_halve(a), "b1")
    b = _layer(b, "b2") + b
    c = _layer(_halve(b), "c1")
    c = _layer(c, "c2") + c
    d = _layer(_halve(c), "d1")
    d = _layer(d, "d2") + d
    d = _layer(d, "d3") + d
    c = _layer(np.concatenate([c, _double(d)]), "c3")
    b = _layer(np.concatenate([b, _double(c)]), "b3")
    a = _layer(np.concatenate([a, _double(b)]), "a3")
    return _conv(a, "out")


def _gathered(x: Tensor) -> Tensor:
    """(3, h, w) → (12, h / 2, w / 2): the four values of each cell beside one another."""
    channels, h, w = x.shape
    cells = x.reshape(channels, h // 2, 2, w // 2, 2).transpose(0, 2, 4, 1, 3)
    return cells.reshape(channels * 4, h // 2, w // 2)


def _layer(x: Tensor, name: str) -> Tensor:
    return np.maximum(_conv(x, name), 0)


def _conv(x: Tensor, name: str) -> Tensor:
    """Correlation with the layer's kernels, 0 outside."""
    kernel, bias = _weights()[f"{name}.weight"], _weights()[f"{name}.bias"]
    _, h, w = x.shape
    reach = kernel.shape[-1] // 2
    padded = np.pad(x, ((0, 0), (reach, reach), (reach, reach)))
    flat = kernel.reshape(len(kernel), -1)
    out = np.empty((len(kernel), h, w), np.float32)
    # By bands of rows, whose gathered neighbours stay in the processor's cache.
    band = max(1, _BAND_VALUES // (flat.shape[1] * w))
    for first in range(0, h, band):
        rows = min(band, h - first)
        strip = padded[:, first : first + rows + 2 * reach]
        near = np.lib.stride_tricks.sliding_window_view(strip, (rows, w), axis=(1, 2))
        columns = near.reshape(flat.shape[1], rows * w)
        out[:, first : first + rows] = (flat @ columns + bias[:, None]).reshape(-1, rows, w)
    return out


def _halve(x: Tensor) -> Tensor:
    channels, h, w = x.shape
    return np.asarray(x.reshape(channels, h // 2, 2, w // 2, 2).mean((2, 4)))


def _double(x: Tensor) -> Tensor:
    return x.repeat(2, axis=1).repeat(2, axis=2)
