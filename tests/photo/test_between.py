"""Values between pixels: held against scipy's, which mixes the same four with exact weights."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from colscan.photo.between import affine_places, sample, warp_affine


def test_places_between_pixels_are_mixed_exactly() -> None:
    """Inside, at the border and beyond it, as scipy has it with a constant outside."""
    rng = np.random.default_rng(0)
    image = rng.random((20, 30)).astype(np.float32)
    x, y = rng.uniform(-3, 33, 500), rng.uniform(-3, 23, 500)
    expected = map_coordinates(np.pad(image, 9, constant_values=0.5), [y + 9, x + 9], order=1)
    assert sample(image, x, y, outside=0.5) == pytest.approx(expected, abs=1e-5)


def test_each_channel_is_its_own() -> None:
    """A colour image is its channels side by side, in 8 bits too."""
    image = np.random.default_rng(1).integers(0, 256, (9, 12, 3), np.uint8)
    change = np.array([[0.7, 0.2, 1.3], [-0.1, 0.9, 2.2]])
    warped = warp_affine(image, change, (8, 11))
    assert warped.shape == (8, 11, 3)
    for channel in range(3):
        assert np.array_equal(warped[..., channel], warp_affine(image[..., channel], change, (8, 11)))


@pytest.mark.parametrize("channels", [(), (3,)])
def test_stretching_is_sampling(channels: tuple[int, ...]) -> None:
    """Without a turn rows and columns are gone through one by one: to the bit what each place gives."""
    image = np.random.default_rng(3).random((21, 34, *channels)).astype(np.float32)
    change = np.array([[1.7, 0.0, -4.3], [0.0, 0.6, 15.2]])
    x, y = affine_places(change, (18, 26))
    stretched = warp_affine(image, change, (18, 26), outside=-1.0)
    assert np.array_equal(stretched, sample(image, x, y, outside=-1.0))


def test_no_change_changes_nothing() -> None:
    """The grid itself, to the bit."""
    image = np.random.default_rng(2).random((7, 5)).astype(np.float32)
    assert np.array_equal(warp_affine(image, np.eye(2, 3), image.shape), image)
