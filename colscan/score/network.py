"""Cues of one face → chance of covered and opacity of each cell, by a small learnt network in plain numpy.

Three scales (3, 6 and 12 mm), and between them the face as a whole: means and spreads over all that is
seen, with the whole-face numbers, say how each scale is to be read. So a place is judged by itself, by
what is around it, and by what light and film do to this face. The weights are made by
`tests/bench/train_network.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from colscan.score.cues import Cues

Tensor = NDArray[np.float32]
"""(channels, h, w)."""
_WEIGHTS = "network.npz"
# Scales are halved three times, so sides are filled up to a multiple of this.
_STRIDE = 8
# Layers are worked out by bands of so many places, which stay in the processor's cache.
_BAND = 1000
# Log odds beyond this say no more; a face unlike all that was learnt from can have some that exp can't take.
_SURE = 30.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judgement:
    """What the network says of a face.

    Parameters
    ----------
    chance, opacity : ndarray, shape (h, w)
        Chance that each cell is covered, and its expected opacity, 0-1.
    doubt : float
        By how much the face's coverage usually errs where a face looks like this (fraction).
    """

    chance: NDArray[np.float32]
    opacity: NDArray[np.float32]
    doubt: float


def judge(cues: Cues) -> Judgement:
    """Each cell's chance of being covered and opacity, and how far to trust them.

    Mean (of logarithms) of the face as it is and mirrored, so that mirroring changes nothing.
    """
    (plain, mirrored), doubts = _run(cues)
    chance, opacity = (plain + mirrored[:, :, ::-1]) / 2
    return Judgement(
        chance=_squash(chance), opacity=_squash(opacity), doubt=float(np.exp(np.mean(_bounded(doubts))))
    )


def _squash(x: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(1 / (1 + np.exp(-np.clip(x, -_SURE, _SURE))), np.float32)


@lru_cache(maxsize=1)
def _weights() -> dict[str, NDArray[np.float32]]:
    """The layers' weights; kernels as (rows, channels out, columns x channels in)."""
    with files("colscan.score").joinpath(_WEIGHTS).open("rb") as file, np.load(file) as stored:
        weights = {name: stored[name].astype(np.float32) for name in stored.files}
    return {
        name: w.transpose(2, 0, 3, 1).reshape(w.shape[2], len(w), -1) if w.ndim == 4 else w
        for name, w in weights.items()
    }


def _run(cues: Cues) -> tuple[Tensor, NDArray[np.float32]]:
    """Log odds of the face and of its mirror image, (2, 2, h, w), and the doubt of each before its bounds."""
    h, w = cues.clear.shape
    cells = _quarters(cues.maps)
    seen = _quarters(cues.clear[None])
    weight = (((seen[0] + seen[1]) + (seen[2] + seen[3])) * np.float32(0.25))[None]
    fine = _stem(cells)
    fine = _layer(fine, "a1").plus(fine)
    middle = _layer(fine.halved(), "b1")
    middle = _layer(middle, "b2").plus(middle)
    coarse = _layer(middle.halved(), "c1")
    coarse = _layer(coarse, "c2").plus(coarse)
    hidden = _whole_face(middle.inner, coarse.inner, _halved(weight), cues.numbers)
    of_fine, of_middle, of_coarse = _for_scales(hidden, len(fine.padded), len(middle.padded))
    coarse = coarse.modulated(of_coarse)
    coarse = _layer(coarse, "c3").plus(coarse)
    middle = middle.modulated(of_middle)
    middle = _layer(middle.beside(coarse), "b3")
    fine = fine.modulated(of_fine)
    fine = _layer(fine.beside(middle), "a3")
    out = (
        np.tensordot(_weights()["out.weight"][0], fine.inner, 1) + _weights()["out.bias"][:, None, None, None]
    )
    return _spread_out(out)[:, :, :h, :w], _dense(hidden, "doubt")[0]


@dataclass(frozen=True, slots=True, eq=False)
class _Faces:
    """Maps of two faces with zeros around each.

    So a layer is a sum of products of matrices, one for each row of its kernel: what lies beside a place is
    its neighbour in memory, and only those to its sides are gathered. A row begins with a zero, which ends
    the one before.

    Parameters
    ----------
    padded : ndarray, shape (channels, 2 (h + 1) + 2, w + 1)
        Row by row: a row of zeros, the first face, a row of zeros, the second, two rows of zeros.
    """

    padded: Tensor

    @classmethod
    def empty(cls, channels: int, h: int, w: int) -> _Faces:
        """Room for maps, the zeros in place."""
        padded = np.empty((channels, 2 * (h + 1) + 2, w + 1), np.float32)
        faces = cls(padded)
        faces.clear_border()
        return faces

    def clear_border(self) -> None:
        """Put zeros around the faces."""
        self.padded[:, -2:] = 0
        blocks = self._blocks
        blocks[:, :, 0] = 0
        blocks[:, :, :, 0] = 0

    @property
    def _blocks(self) -> Tensor:
        channels, rows, columns = self.padded.shape
        return self.padded[:, :-2].reshape(channels, 2, rows // 2 - 1, columns)

    @property
    def inner(self) -> Tensor:
        """The faces, (channels, 2, h, w); writing to it writes the maps."""
        return self._blocks[:, :, 1:, 1:]

    def plus(self, other: _Faces) -> _Faces:
        """These maps with others of the same shape added to them."""
        np.add(self.padded, other.padded, out=self.padded)
        return self

    def modulated(self, by: NDArray[np.float32]) -> _Faces:
        """These maps with a factor and a term for each channel of each face, (2 channels, 2)."""
        factor, term = np.split(by[..., None, None], 2)
        inner = self.inner
        inner *= 1 + factor
        inner += term
        return self

    def halved(self) -> _Faces:
        """Means over 2 x 2 cells."""
        channels, _, h, w = self.inner.shape
        made = _Faces.empty(channels, h // 2, w // 2)
        made.inner[:] = _halved(self.inner)
        return made

    def beside(self, coarser: _Faces) -> _Faces:
        """These maps, and those of half the resolution doubled."""
        channels, _, h, w = self.inner.shape
        made = _Faces.empty(channels + len(coarser.padded), h, w)
        made.padded[:channels] = self.padded
        double = made.inner[channels:]
        for row, column in product((0, 1), repeat=2):
            double[:, :, row::2, column::2] = coarser.inner
        return made


def _quarters(maps: NDArray[Any]) -> Tensor:
    """The four of each 2 x 2 cells of maps and of their mirror image, (4 channels, 2, h / 2, w / 2).

    Filled up with zeros so that they can be halved on.
    """
    channels, h, w = maps.shape
    half = -(-h // _STRIDE) * _STRIDE // 2, -(-w // _STRIDE) * _STRIDE // 2
    quarters = np.empty((4, channels, 2, *half), np.float32)
    quarters[..., h // 2 :, :] = 0
    quarters[..., w // 2 :] = 0
    for quarter, (row, column) in zip(quarters, product((0, 1), repeat=2), strict=True):
        for side, face in enumerate((maps, maps[:, :, ::-1])):
            part = face[:, row::2, column::2]
            quarter[:, side, : part.shape[1], : part.shape[2]] = part
    return quarters.reshape(4 * channels, *quarters.shape[2:])


def _stem(cells: Tensor) -> _Faces:
    """The first layer: kernels of 2 x 2 that don't overlap, at half the resolution."""
    kernels, bias = _weights()["stem.weight"], _weights()["stem.bias"]
    made = _Faces.empty(len(bias), *cells.shape[2:])
    out = np.concatenate(list(kernels), 1) @ cells.reshape(len(cells), -1)
    out += bias[:, None]
    np.maximum(out.reshape(made.inner.shape), 0, out=made.inner)
    return made


def _layer(x: _Faces, name: str) -> _Faces:
    """Correlation with the layer's kernels of 3 x 3, 0 outside; what is negative becomes 0."""
    kernels, bias = _weights()[f"{name}.weight"], _weights()[f"{name}.bias"]
    channels, rows, columns = x.padded.shape
    flat = x.padded.reshape(channels, rows * columns)
    made = _Faces(np.empty((len(bias), rows, columns), np.float32))
    out = made.padded.reshape(len(bias), rows * columns)
    first, last = columns + 1, (rows - 2) * columns
    # Each place with those to its sides, from the row above a band to the row below it.
    sides = np.empty((3, channels, _BAND + 2 * columns), np.float32)
    for begin in range(first, last, _BAND):
        end = min(begin + _BAND, last)
        band, wide = out[:, begin:end], end - begin + 2 * columns
        for k in range(3):
            side = begin - columns + k - 1
            sides[k, :, :wide] = flat[:, side : side + wide]
        near = sides.reshape(3 * channels, -1)
        for row, kernel in enumerate(kernels):
            product = kernel @ near[:, row * columns : row * columns + end - begin]
            np.add(band if row else bias[:, None], product, out=band)
        np.maximum(band, 0, out=band)
    made.clear_border()
    return made


def _whole_face(
    middle: Tensor, coarse: Tensor, weight: Tensor, numbers: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Each face as a whole, (64, 2): what all its scales and whole-face numbers are together."""
    share, share2 = (x / (x.sum((2, 3), keepdims=True) + 1e-3) for x in (weight, _halved(weight)))
    mean = (coarse * share2).sum((2, 3))
    spread = np.sqrt(((coarse - mean[..., None, None]) ** 2 * share2).sum((2, 3)) + 1e-4)
    seen = np.concatenate([mean, spread, (middle * share).sum((2, 3)), np.stack([numbers, numbers], 1)])
    return np.maximum(_dense(seen, "f1"), 0)


def _for_scales(hidden: NDArray[np.float32], fine: int, middle: int) -> list[NDArray[np.float32]]:
    """A factor and a term for each channel of each scale, from the face as a whole."""
    return np.split(_dense(hidden, "f2"), np.cumsum([2 * fine, 2 * middle]))


def _dense(x: NDArray[np.float32], name: str) -> NDArray[np.float32]:
    return np.asarray(_weights()[f"{name}.weight"] @ x + _weights()[f"{name}.bias"][:, None])


def _bounded(doubt: NDArray[np.float32]) -> NDArray[np.float32]:
    """Logarithm of an error between a third of a point and 60 points."""
    return np.asarray(-3 + 2.5 * np.tanh(doubt))


def _halved(x: Tensor) -> Tensor:
    sides = x[..., ::2, :] + x[..., 1::2, :]
    return np.asarray((sides[..., ::2] + sides[..., 1::2]) * np.float32(0.25))


def _spread_out(x: Tensor) -> Tensor:
    """(8, 2, h, w) → (2, 2, 2 h, 2 w), by face: four values of each coarse cell are its four fine ones."""
    channels, faces, h, w = x.shape
    cells = x.reshape(channels // 4, 2, 2, faces, h, w).transpose(3, 0, 4, 1, 5, 2)
    return cells.reshape(faces, channels // 4, 2 * h, 2 * w)
