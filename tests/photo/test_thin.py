"""Thinned pictures: each pixel the mean of those it stands for, and where it then lies."""

from __future__ import annotations

import numpy as np
import pytest

from colscan.photo.thin import left_variance_px, thinned


@pytest.mark.parametrize(
    ("shape", "every", "left"), [((6, 9), 3, (2, 3)), ((7, 5, 3), 2, (3, 2, 3)), ((1, 4), 2, (1, 2))]
)
def test_each_pixel_is_the_mean_of_its_square(
    shape: tuple[int, ...], every: int, left: tuple[int, ...]
) -> None:
    """What is left over at the right and below is cut off; a picture of one row stays one."""
    picture = np.random.default_rng(1).random(shape, np.float32)
    made = thinned(picture, every)
    assert made.shape == left
    first = picture[: min(every, shape[0]), :every].mean((0, 1))
    np.testing.assert_allclose(made[0, 0], first, rtol=1e-6)


def test_a_slope_stays_where_it_was() -> None:
    """Pixel x lies at every * x + (every - 1) / 2 of the picture."""
    slope = np.tile(np.arange(12, dtype=np.float32), (4, 1))
    np.testing.assert_allclose(thinned(slope, 4)[0], [1.5, 5.5, 9.5])


def test_what_thinning_leaves_of_a_blur() -> None:
    """Means over squares have the variance (n^2 - 1) / 12; no less than none is left."""
    assert left_variance_px(2.0, 1) == 2.0
    assert left_variance_px(2.25, 2) == pytest.approx((2.25 - 0.25) / 4)
    assert left_variance_px(0.1, 3) == 0.0
