"""Parts of photos as pictures."""

from __future__ import annotations

import numpy as np

from colscan.present.crop import cut_out


def test_a_part_is_the_photo_itself() -> None:
    """Of its own size no pixel is changed, and the photo isn't either."""
    rgb = np.random.default_rng(1).integers(0, 256, (30, 40, 3)).astype(np.uint8)
    part = cut_out(rgb, (5, 3, 25, 13), size=(20, 10))
    assert np.array_equal(part, rgb[3:13, 5:25])
    part[:] = 0
    assert rgb[3:13, 5:25].any()


def test_a_large_part_is_made_smaller() -> None:
    """Halved, the middle of each half keeps its colour."""
    rgb = np.zeros((40, 80, 3), np.uint8)
    rgb[:, 40:] = 200
    part = cut_out(rgb, (0, 0, 80, 40), size=(40, 20))
    assert part.shape == (20, 40, 3)
    assert (part[10, 5] == 0).all()
    assert (part[10, 35] == 200).all()
