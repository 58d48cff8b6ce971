"""Marks on a grid: what is a blotch, what a stroke."""

from __future__ import annotations

import numpy as np
import pytest

from colscan.score.face import GRID_MM, depth_mm
from colscan.score.shapes import blobs, contrast, cores, gaps, outline_mm, roundness

SIDE = 80
Y, X = np.mgrid[:SIDE, :SIDE]
ALL = np.ones((SIDE, SIDE), bool)


def disc(radius_mm: float, x: int = 40, y: int = 40) -> np.ndarray:
    """A disc around a cell."""
    return np.hypot(X - x, Y - y) * GRID_MM <= radius_mm


def test_roundness_of_disc_ellipse_and_stroke():
    """About 1, about a half, and width over length times pi / 4."""
    ellipse = np.hypot((X - 40) / 2, Y - 40) * GRID_MM <= 12
    stroke = (np.abs(X - 40) <= 2) & (np.abs(Y - 40) <= 25)
    assert roundness(disc(15)) == pytest.approx(1.0, abs=0.15)
    assert roundness(ellipse) == pytest.approx(0.5, abs=0.1)
    assert roundness(stroke) == pytest.approx(np.pi / 4 * 5 / 51, abs=0.04)


def test_core_is_cut_off_a_stroke():
    """A disc with a tail keeps its area and loses the tail."""
    tail = (np.abs(Y - 40) <= 1) & (X > 40)
    (core,) = cores(disc(15) | tail, 80.0)
    assert core.sum() == pytest.approx(disc(15).sum(), rel=0.1)
    assert not core[:, 60:].any()


def test_mark_goes_on_behind_a_narrow_reflection():
    """One mark, not two, and its area is that of the whole disc."""
    clear = np.abs(X - 40) > 1
    (mark,) = blobs(disc(15).astype(np.float32) * 2, clear, ALL, least_mm2=80.0)
    assert mark.sum() == pytest.approx(disc(15).sum(), rel=0.12)


def test_mark_smaller_than_asked_is_left_out():
    """A disc of 5 mm radius is 79 mm2."""
    assert not list(blobs(disc(5).astype(np.float32) * 2, ALL, ALL, least_mm2=120.0))


def test_gaps_of_a_ring_and_a_disc():
    """A letter o is a third open, a blotch not at all."""
    annulus = disc(15) & ~disc(9)
    for mark, share in ((annulus, 0.36), (disc(15), 0.0)):
        level = np.where(mark, -1.0, 0.0).astype(np.float32)
        assert gaps(level, mark, ALL) == pytest.approx(share, abs=0.08)


def test_shadow_runs_along_the_outline():
    """Half a face of 120 mm: 240 mm of outline; a disc in its middle none."""
    depth = depth_mm(ALL)
    assert outline_mm(X >= 40, depth) == pytest.approx(240, rel=0.15)
    assert outline_mm(disc(15), depth) == 0


def test_contrast_of_too_few_cells_is_none():
    """Three cells are no surround."""
    few = np.zeros_like(ALL)
    few[0, :3] = True
    assert contrast(X.astype(np.float32), disc(15), few) == 0.0
    assert contrast(X.astype(np.float32), X > 60, X < 20) == pytest.approx(60.5)
