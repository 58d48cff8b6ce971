"""Medians and quantiles by sorting are numpy's."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from colscan.photo.ranks import median, picked, quantiles


@pytest.mark.parametrize("count", [1, 2, 7, 1000])
def test_ranks_are_numpys(count: int) -> None:
    """For one value, even and odd numbers of them, and along the last axis of several."""
    values = np.random.default_rng(count).normal(size=(3, count)).astype(np.float32)
    assert_allclose(median(values), np.median(values, axis=-1), rtol=1e-6)
    shares = [0.0, 0.1, 0.5, 0.99, 1.0]
    assert_allclose(quantiles(values[0], shares), np.quantile(values[0], shares), rtol=1e-5, atol=1e-6)


def test_picked_is_a_mask() -> None:
    """Of a part of a map too, whose rows don't lie one behind the other."""
    values = np.arange(24.0).reshape(4, 6)[:, ::2]
    mask = values % 3 == 0
    assert_array_equal(picked(values, mask), values[mask])
