"""The outline follows the edges' support, closes, and has few corners."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from colscan.locate.edges import LEAST_LOG, RANGE_MM, STEP_MM, Plane, Side
from colscan.locate.outline import find_outlines, simplified
from colscan.locate.window import BOTTOM_MM, LEFT_MM, RIGHT_MM, TOP_MM

SHAPE = ((BOTTOM_MM - TOP_MM) // STEP_MM, (RIGHT_MM - LEFT_MM) // STEP_MM)


def support(left: float, right: float, top: float, bottom: float) -> dict[Side, Plane]:
    """Sure straight edges at these places in mm."""
    maps: dict[Side, Plane] = {side: np.full(SHAPE, LEAST_LOG, np.float32) for side in RANGE_MM}
    maps["left"][:, int((left - LEFT_MM) / STEP_MM)] = -0.5
    maps["right"][:, int((right - LEFT_MM) / STEP_MM)] = -0.5
    maps["top"][int((top - TOP_MM) / STEP_MM)] = -0.5
    maps["bottom"][int((bottom - TOP_MM) / STEP_MM)] = -0.5
    return maps


def test_outline_runs_along_sure_edges() -> None:
    """Four sure sides give an outline that touches all four, within a step."""
    (outline,) = find_outlines([support(-71, 101, -41, 161)])
    assert outline.sure
    assert_allclose(outline.points_mm.min(0), (-71, -41), atol=STEP_MM)
    assert_allclose(outline.points_mm.max(0), (101, 161), atol=STEP_MM)


def test_outline_does_not_jump() -> None:
    """Neighbouring points of the closed outline are never far apart, the last and the first included."""
    (outline,) = find_outlines([support(-71, 101, -41, 161)])
    points = outline.points_mm
    gaps = np.hypot(*(points - np.roll(points, 1, axis=0)).T)
    assert gaps.max() < 12


def test_blocks_are_found_together_as_alone() -> None:
    """Blocks of other sizes, whose outlines have more or fewer points, change nothing."""
    all_maps = [support(-71, 101, -41, 161), support(-91, 61, -61, 121), support(-111, 111, -51, 201)]
    for maps, outline in zip(all_maps, find_outlines(all_maps), strict=True):
        (alone,) = find_outlines([maps])
        assert np.array_equal(outline.points_mm, alone.points_mm)


def test_edges_that_say_nothing_give_a_rectangle() -> None:
    """Without support anywhere the outline is the usual rectangle, and not sure."""
    maps: dict[Side, Plane] = {side: np.full(SHAPE, -4.0, np.float32) for side in RANGE_MM}
    (outline,) = find_outlines([maps])
    assert not outline.sure
    assert_allclose(np.ptp(outline.points_mm, axis=0), (190, 205))


def test_simplified_polygon_keeps_the_area() -> None:
    """A circle of 400 points becomes at most 32 corners of nearly its area."""
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    circle = 100 * np.stack([np.cos(angle), np.sin(angle)], 1)
    few = simplified(circle)
    assert 8 < len(few) <= 32
    x, y = few.T
    area = 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))
    assert_allclose(area, np.pi * 100**2, rtol=0.03)
