"""Faces as pictures: to scale, upright, in one light."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from colscan.photo.model import ImageRGB
from colscan.present.faces import MARGIN_MM, FacePlace, draw_face

SQUARE = np.array([(40.0, 30.0), (139.0, 30.0), (139.0, 109.0), (40.0, 109.0)])
# Linear light of a substrate and of mycelium, relative to white paper.
SUBSTRATE, WHITE = (0.06, 0.05, 0.03), (0.25, 0.25, 0.24)


def _photo(light: tuple[float, float, float], paper: np.ndarray) -> ImageRGB:
    """A photo of one even light, sRGB (IEC 61966-2-1)."""
    linear = np.array(light) * paper
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.full((150, 200, 3), np.round(255 * code), np.uint8)


def _middle(picture: ImageRGB) -> np.ndarray:
    height, width = picture.shape[:2]
    return picture[height // 2, width // 2].astype(int)


def _drawn(light: tuple[float, float, float], paper: tuple[float, float, float]) -> ImageRGB:
    lit = np.array(paper)
    place = FacePlace(outline_px=SQUARE, mm_per_px=2.0, paper=lit)
    return draw_face(_photo(light, lit), place, shown_mm_per_px=4.0)


def test_one_scale() -> None:
    """As many pixels as its millimetres, margin included, ask for."""
    height, width = _drawn(SUBSTRATE, (0.8, 0.8, 0.8)).shape[:2]
    assert abs(width - (200 + 2 * MARGIN_MM) / 4) <= 1
    assert abs(height - (160 + 2 * MARGIN_MM) / 4) <= 1


def test_one_light() -> None:
    """A face looks the same under a dim yellow lamp as in daylight."""
    for light in (SUBSTRATE, WHITE):
        day, lamp = _drawn(light, (0.85, 0.85, 0.85)), _drawn(light, (0.45, 0.3, 0.2))
        assert np.abs(_middle(day) - _middle(lamp)).max() <= 6


def test_order_of_lightness_is_kept_and_nothing_burns_out() -> None:
    """What is lighter in relation to its paper is lighter in its picture, up to paper itself."""
    greys = [_middle(_drawn((g, g, g), (0.9, 0.9, 0.9)))[1] for g in (0.03, 0.06, 0.12, 0.25, 0.5, 1.0)]
    assert all(a < b for a, b in pairwise(greys))
    assert greys[-1] < 255


def test_outside_the_face_is_faded() -> None:
    """The same light is much paler beside the face than on it."""
    picture = _drawn(SUBSTRATE, (0.8, 0.8, 0.8))
    assert picture[0].mean() > _middle(picture).mean() + 60


def test_a_face_at_the_photos_edge() -> None:
    """What lies beyond the photo is left out."""
    rgb = np.full((50, 60, 3), 90, np.uint8)
    outline = np.array([(0.0, 0.0), (59.0, 0.0), (59.0, 49.0), (0.0, 49.0)])
    place = FacePlace(outline_px=outline, mm_per_px=1.0, paper=np.full(3, 0.8))
    assert draw_face(rgb, place, shown_mm_per_px=1.0).shape == (50, 60, 3)
    assert (rgb == 90).all()
