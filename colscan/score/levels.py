"""A map of one face → the levels at which its own colonies part from what is bare.

A colony has an edge and fog has none; and what is covered differs from what is bare by more than either
differs within itself. Both are read off the face alone, so they hold where a light or film was never met.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.photo.model import Mask
from colscan.photo.ranks import picked
from colscan.score.face import Grid, Means

# Levels are told apart on the map as it is over so many mm.
_OVER_MM = 2.25
# Slopes reach two cells beyond what is seen.
_BORDER = np.ones((5, 5), np.uint8)
# How steep a map is at each of so many levels, each counted with what lies within a fifteenth of their reach.
_LEVELS = 41
_WITHIN = (_LEVELS - 1) / 15
_BELL = np.exp(-0.5 * (np.arange(-8, 9) / _WITHIN) ** 2)
# A hundredth at either end is left out of the reach; levels that hardly a cell has count as flat.
_TAIL, _HARDLY = 0.005, 0.02
_LEAST_CELLS = 200
# So many of a map's values, evenly by rank, part as all of them do.
_RANKS = 1000
# Levels of this share of the best one's merit and more count; one of nine tenths a quarter of the best.
_NEAR_BEST = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Where a map parts in two.

    Parameters
    ----------
    edge, edge_share : float
        The level at which the map is steepest, and the share of the face above it.
    steepness : float
        How steep it is there, over its mean; 1 or more.
    reach : float
        What the map's levels span.
    split, split_share : float
        The level that parts its cells into two groups that differ most, and the share above it.
    low, gap : float
        The lower group's mean, and by how much the upper one's is higher.
    """

    edge: float = 0.0
    edge_share: float = 0.0
    steepness: float = 1.0
    reach: float = 1.0
    split: float = 0.0
    split_share: float = 0.0
    low: float = 0.0
    gap: float = 0.0


def find_levels(values: Grid, known: Mask, means: Means) -> Levels:
    """The levels at which a map parts in two: by its edges, and by its spread.

    The second is Otsu's (doi:10.1109/TSMC.1979.4310076).

    Parameters
    ----------
    values : ndarray, shape (h, w), float32
    known : ndarray of bool, shape (h, w)
        The cells that count.
    means : Means
        Of those cells.
    """
    smooth = means.at(values, _OVER_MM)
    inner = cv2.erode(known.view(np.uint8), _BORDER, borderValue=0).view(bool)
    if int(inner.sum()) < _LEAST_CELLS:
        return Levels()
    edge, edge_share, steepness, reach = _by_edges(picked(smooth, inner), picked(_slopes(smooth), inner))
    split, split_share, low, gap = _by_spread(picked(smooth, known))
    return Levels(
        edge=edge,
        edge_share=edge_share,
        steepness=steepness,
        reach=reach,
        split=split,
        split_share=split_share,
        low=low,
        gap=gap,
    )


def _slopes(smooth: Grid) -> Grid:
    """How much the map changes from cell to cell."""
    across, down = (cv2.Sobel(smooth, cv2.CV_32F, *order, scale=1 / 8) for order in ((1, 0), (0, 1)))
    return np.asarray(cv2.magnitude(across, down), np.float32)


def _by_edges(at: NDArray[np.float32], slopes: NDArray[np.float32]) -> tuple[float, float, float, float]:
    """Level of the steepest places, share above it, how steep they are over the mean, reach of the levels."""
    in_order = np.sort(at)
    first, last = (float(in_order[int(share * (len(at) - 1))]) for share in (_TAIL, 1 - _TAIL))
    reach, half = max(last - first, 1e-3), len(_BELL) // 2
    bins = _LEVELS + 2 * half
    step = np.clip(np.rint((at - first) / reach * (_LEVELS - 1)).astype(np.intp) + half, 0, bins - 1)
    counts, sums = (
        np.convolve(np.bincount(step, weights, minlength=bins), _BELL, "valid") for weights in (None, slopes)
    )
    steep = sums / (counts + _HARDLY * len(at) / _LEVELS) / max(float(slopes.mean()), 1e-9)
    levels = first + reach * np.arange(_LEVELS) / (_LEVELS - 1)
    shares = 1 - np.searchsorted(in_order, levels, "right") / len(at)
    weights = _weights(steep)
    return float(weights @ levels), float(weights @ shares), max(float(weights @ steep), 1.0), reach


def _by_spread(at: NDArray[np.float32]) -> tuple[float, float, float, float]:
    """Level between the two groups that differ most, share above it, lower mean, by how much both differ."""
    in_order = np.sort(at)[:: max(len(at) // _RANKS, 1)].astype(np.float64)
    count = len(in_order)
    sums, below = np.cumsum(in_order), np.arange(1, count)
    above = count - below
    lows, highs = sums[:-1] / below, (sums[-1] - sums[:-1]) / above
    weights = _weights(below * above * (highs - lows) ** 2)
    level, share, low, gap = (float(weights @ x) for x in (in_order[:-1], above / count, lows, highs - lows))
    return level, share, low, gap


def _weights(merit: NDArray[np.float64]) -> NDArray[np.float64]:
    """How much each level counts: those near the best, so that a tie of two is no jump."""
    weights = np.maximum(merit / max(float(merit.max()), 1e-12) - _NEAR_BEST, 0) ** 2
    return np.asarray(weights / max(float(weights.sum()), 1e-12), np.float64)
