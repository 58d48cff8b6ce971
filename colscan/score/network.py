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

import numpy as np
from numpy.typing import NDArray

from colscan.score.cues import Cues

Tensor = NDArray[np.float32]
"""(channels, h, w)."""
_WEIGHTS = "network.npz"
# Scales are halved three times, so sides are filled up to a multiple of this.
_STRIDE = 8


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
    plain, doubt = _run(cues.maps, cues.numbers, cues.clear)
    mirrored, doubt2 = _run(cues.maps[:, :, ::-1], cues.numbers, cues.clear[:, ::-1])
    chance, opacity = (plain + mirrored[:, :, ::-1]) / 2
    return Judgement(
        chance=_squash(chance), opacity=_squash(opacity), doubt=float(np.exp((doubt + doubt2) / 2))
    )


def _squash(x: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(1 / (1 + np.exp(-x)), np.float32)


@lru_cache(maxsize=1)
def _weights() -> dict[str, NDArray[np.float32]]:
    with files("colscan.score").joinpath(_WEIGHTS).open("rb") as file, np.load(file) as stored:
        return {name: stored[name].astype(np.float32) for name in stored.files}


def _run(maps: Tensor, numbers: NDArray[np.float32], clear: NDArray[np.bool_]) -> tuple[Tensor, float]:
    """Log odds, (2, h, w), and log of the doubt."""
    h, w = clear.shape
    more = ((0, -h % _STRIDE), (0, -w % _STRIDE))
    weight = _halve(np.pad(clear, more)[None].astype(np.float32))
    fine = np.maximum(_conv_halving(np.pad(maps, ((0, 0), *more)), "stem"), 0)
    fine = _layer(fine, "a1") + fine
    middle = _layer(_halve(fine), "b1")
    middle = _layer(middle, "b2") + middle
    coarse = _layer(_halve(middle), "c1")
    coarse = _layer(coarse, "c2") + coarse
    hidden = _whole_face(middle, coarse, _halve(weight), numbers)
    of_fine, of_middle, of_coarse = _for_scales(hidden, len(fine), len(middle))
    coarse = _modulate(coarse, of_coarse)
    coarse = _layer(coarse, "c3") + coarse
    middle = _modulate(middle, of_middle)
    middle = _layer(np.concatenate([middle, _double(coarse)]), "b3")
    fine = _modulate(fine, of_fine)
    fine = _layer(np.concatenate([fine, _double(middle)]), "a3")
    return _spread_out(_conv(fine, "out"))[:, :h, :w], _bounded(float(_dense(hidden, "doubt")[0]))


def _whole_face(
    middle: Tensor, coarse: Tensor, weight: Tensor, numbers: NDArray[np.float32]
) -> NDArray[np.float32]:
    """The face as a whole: what all its scales and whole-face numbers are together."""
    weight2 = _halve(weight)
    share, share2 = weight / (weight.sum() + 1e-3), weight2 / (weight2.sum() + 1e-3)
    mean = (coarse * share2).sum((1, 2))
    spread = np.sqrt(((coarse - mean[:, None, None]) ** 2 * share2).sum((1, 2)) + 1e-4)
    seen = np.concatenate([mean, spread, (middle * share).sum((1, 2)), numbers])
    return np.maximum(_dense(seen, "f1"), 0)


def _for_scales(hidden: NDArray[np.float32], fine: int, middle: int) -> list[NDArray[np.float32]]:
    """A factor and a term for each channel of each scale, from the face as a whole."""
    return np.split(_dense(hidden, "f2"), np.cumsum([2 * fine, 2 * middle]))


def _dense(x: NDArray[np.float32], name: str) -> NDArray[np.float32]:
    return np.asarray(_weights()[f"{name}.weight"] @ x + _weights()[f"{name}.bias"])


def _bounded(doubt: float) -> float:
    """Logarithm of an error between a third of a point and 60 points."""
    return float(-3 + 2.5 * np.tanh(doubt))


def _modulate(x: Tensor, by: NDArray[np.float32]) -> Tensor:
    factor, term = np.split(by, 2)
    return np.asarray(x * (1 + factor)[:, None, None] + term[:, None, None])


def _layer(x: Tensor, name: str) -> Tensor:
    return np.maximum(_conv(x, name), 0)


def _conv(x: Tensor, name: str) -> Tensor:
    """Correlation with the layer's kernels, 0 outside."""
    kernel, bias = _weights()[f"{name}.weight"], _weights()[f"{name}.bias"]
    channels, h, w = x.shape
    reach = kernel.shape[-1] // 2
    padded = np.pad(x, ((0, 0), (reach, reach), (reach, reach)))
    near = np.lib.stride_tricks.sliding_window_view(padded, (h, w), axis=(1, 2))
    columns = near.reshape(channels * kernel.shape[-1] ** 2, h * w)
    out = kernel.reshape(len(kernel), -1) @ columns + bias[:, None]
    return np.asarray(out.reshape(-1, h, w))


def _conv_halving(x: Tensor, name: str) -> Tensor:
    """The same with kernels of 2 x 2 that don't overlap."""
    kernel, bias = _weights()[f"{name}.weight"], _weights()[f"{name}.bias"]
    channels, h, w = x.shape
    blocks = x.reshape(channels, h // 2, 2, w // 2, 2).transpose(0, 2, 4, 1, 3)
    out = kernel.reshape(len(kernel), -1) @ blocks.reshape(channels * 4, -1) + bias[:, None]
    return np.asarray(out.reshape(-1, h // 2, w // 2))


def _halve(x: Tensor) -> Tensor:
    channels, h, w = x.shape
    return np.asarray(x.reshape(channels, h // 2, 2, w // 2, 2).mean((2, 4)))


def _double(x: Tensor) -> Tensor:
    return x.repeat(2, axis=1).repeat(2, axis=2)


def _spread_out(x: Tensor) -> Tensor:
    """(8, h, w) → (2, 2 h, 2 w): four values of each coarse cell are its four fine ones."""
    channels, h, w = x.shape
    return x.reshape(channels // 4, 2, 2, h, w).transpose(0, 3, 1, 4, 2).reshape(channels // 4, 2 * h, 2 * w)
