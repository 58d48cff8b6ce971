"""Means around each cell: wide ones are taken at less resolution, and are the same means."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from colscan.score.face import GRID_MM, blurred, smooth


@pytest.mark.parametrize("shape", [(142, 137), (141, 136, 3), (150, 160, 16)])
@pytest.mark.parametrize("sigma_mm", [1.0, 4.0, 6.0, 12.0, 20.0])
def test_wide_means_are_gaussian(shape: tuple[int, ...], sigma_mm: float) -> None:
    """Of a single bright cell they spread as a Gaussian does, within a hundredth of its top."""
    bright = np.zeros(shape, np.float32)
    bright[shape[0] // 2, shape[1] // 2] = 1
    exact = cv2.GaussianBlur(bright, (0, 0), sigma_mm / GRID_MM)
    found = blurred(bright, sigma_mm)
    assert found.shape == shape
    assert abs(found - exact).max() < 0.01 * exact.max()
    np.testing.assert_allclose(found.sum((0, 1)), 1, atol=2e-3)


@pytest.mark.parametrize("sigma_mm", [1.0, 6.0, 12.0])
def test_means_of_seen_cells_alone(sigma_mm: float) -> None:
    """An even map stays even to the edge of what is seen, whatever stands in cells that are not."""
    rng = np.random.default_rng(3)
    seen = rng.random((80, 75)) > 0.4
    values = np.where(seen, np.float32(0.25), rng.random(seen.shape, np.float32))
    assert smooth(values, seen, sigma_mm)[seen] == pytest.approx(0.25, abs=1e-5)
