"""Medians and quantiles by sorting, which numpy does five times as quickly for float32 as its own of both."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray


def picked(values: NDArray[Any], mask: NDArray[np.bool_]) -> NDArray[Any]:
    """The values of a map where a mask of the same shape says so, in order of rows."""
    return np.compress(mask.ravel(), values.ravel())


def median(values: NDArray[np.floating]) -> NDArray[np.float32]:
    """The median along the last axis.

    Parameters
    ----------
    values : ndarray, shape (..., n)
        n is 1 or more.
    """
    in_order, count = np.sort(values, -1), values.shape[-1]
    return np.asarray((in_order[..., (count - 1) // 2] + in_order[..., count // 2]) / 2, np.float32)


def quantiles(values: NDArray[np.floating], shares: Sequence[float]) -> NDArray[np.float64]:
    """Quantiles of some values, interpolated between neighbours as numpy does.

    Parameters
    ----------
    values : ndarray, shape (n,)
        n is 1 or more.
    shares : sequence of float
        0-1.
    """
    in_order = np.sort(values).astype(np.float64)
    places = np.asarray(shares) * (len(in_order) - 1)
    return np.asarray(np.interp(places, np.arange(len(in_order)), in_order), np.float64)
