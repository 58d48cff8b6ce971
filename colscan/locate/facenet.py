"""An image → log odds of what its places are, by a small learnt network in plain numpy.

Four scales, 2 to 16 px of the image. With one set of weights it says where blocks are in a photo, and
where their cores, well within their edges, which parts blocks that touch (`tests/locate/fit_faces.py`); with
another, where a pen has written on a bag's film (`tests/locate/fit_writing.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from colscan.photo.model import LinearRGB

Tensor = NDArray[np.float32]
"""(channels, h, w)."""
# The coarsest scale's cells: sides are filled up to a multiple of this.
_STRIDE = 16
_BAND_VALUES = 200_000
# Added to linear light before logarithms: darker tones than this are noise.
_DARKEST = 0.01


def log_odds(light: LinearRGB, weights: str) -> Tensor:
    """Log odds (k, h / 2, w / 2) of the kinds of place that a set of weights tells.

    Parameters
    ----------
    light : ndarray, shape (h, w, 3)
        Linear light, white at about 1.
    weights : str
        Name of the weights' file.
    """
    height, width = light.shape[:2]
    filled_up = np.pad(light, ((0, -height % _STRIDE), (0, -width % _STRIDE), (0, 0)), mode="edge")
    net = _Net(weights=_stored(weights))
    return net.run(network_input(filled_up))[:, : (height + 1) // 2, : (width + 1) // 2]


def network_input(light: LinearRGB) -> Tensor:
    """Log light (3, h, w) against the image's median."""
    log_light = np.log(light + _DARKEST)
    return np.ascontiguousarray((log_light - np.median(log_light)).transpose(2, 0, 1), np.float32)


@lru_cache(maxsize=2)
def _stored(name: str) -> dict[str, NDArray[np.float32]]:
    with files("colscan.locate").joinpath(name).open("rb") as file, np.load(file) as stored:
        return {key: stored[key].astype(np.float32) for key in stored.files}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Net:
    """The layers with one set of weights."""

    weights: dict[str, NDArray[np.float32]]

    def run(self, x: Tensor) -> Tensor:
        """Log odds of an input whose sides are multiples of the stride."""
        a = self._layer(_gathered(x), "stem")
        a = self._layer(a, "a1") + a
        b = self._layer(_halve(a), "b1")
        b = self._layer(b, "b2") + b
        c = self._layer(_halve(b), "c1")
        c = self._layer(c, "c2") + c
        d = self._layer(_halve(c), "d1")
        d = self._layer(d, "d2") + d
        d = self._layer(d, "d3") + d
        c = self._layer(np.concatenate([c, _double(d)]), "c3")
        b = self._layer(np.concatenate([b, _double(c)]), "b3")
        a = self._layer(np.concatenate([a, _double(b)]), "a3")
        return self._conv(a, "out")

    def _layer(self, x: Tensor, name: str) -> Tensor:
        return np.maximum(self._conv(x, name), 0)

    def _conv(self, x: Tensor, name: str) -> Tensor:
        """Correlation with the layer's kernels, 0 outside."""
        return _correlated(x, self.weights[f"{name}.weight"], self.weights[f"{name}.bias"])


def _gathered(x: Tensor) -> Tensor:
    """(3, h, w) → (12, h / 2, w / 2): the four values of each cell beside one another."""
    channels, h, w = x.shape
    cells = x.reshape(channels, h // 2, 2, w // 2, 2).transpose(0, 2, 4, 1, 3)
    return cells.reshape(channels * 4, h // 2, w // 2)


def _correlated(x: Tensor, kernel: NDArray[np.float32], bias: NDArray[np.float32]) -> Tensor:
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
