"""The affine change between two maps is found again."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from colscan.photo.between import warp_affine
from colscan.score.ecc import align_affine


@pytest.fixture
def detail() -> np.ndarray:
    """A map with detail of some cells' size."""
    noise = np.random.default_rng(3).normal(size=(90, 110)).astype(np.float32)
    return cv2.GaussianBlur(noise, (0, 0), 2.5)[..., None]


def test_a_known_change_is_found(detail: np.ndarray) -> None:
    """To a fifth of a cell in the corners, from 2 cells off, with a part that doesn't count."""
    true = np.array([[1.01, 0.012, 1.4], [-0.008, 0.99, -1.7]])
    today = warp_affine(detail, np.asarray(cv2.invertAffineTransform(true)), detail.shape[:2])
    seen = np.ones(detail.shape[:2], bool)
    seen[:30, :30] = False
    today[~seen] = 0
    found = align_affine(detail, today, np.eye(2, 3), seen)
    assert found is not None
    likeness, change = found
    assert likeness > 0.99
    corners = np.array([[5, 5, 1], [100, 5, 1], [5, 80, 1], [100, 80, 1]], float)
    assert np.abs(corners @ (change - true).T).max() < 0.2


def test_out_of_the_picture_is_no_change(detail: np.ndarray) -> None:
    """A start that shows nothing of the other map."""
    far = np.array([[1.0, 0.0, 500.0], [0.0, 1.0, 0.0]])
    assert align_affine(detail, detail, far, np.ones(detail.shape[:2], bool)) is None
