"""A moved bag → laid onto its first face again."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from score.compose import MARGIN_PX, compose, grow

from colscan.locate.model import BagView
from colscan.score.face import Face, own_frame, resample
from colscan.score.register import lay_onto


def movement(view: BagView, *, degrees: float, scale: float, shift: tuple[float, float]) -> np.ndarray:
    """The affine change (2, 3), px to px, of a bag that was put back a little otherwise."""
    h, w = view.face.shape
    matrix = cv2.getRotationMatrix2D((w / 2, h / 2), degrees, scale)
    matrix[:, 2] += shift
    return matrix


def moved(view: BagView, matrix: np.ndarray) -> BagView:
    """The view after the change."""
    h, w = view.face.shape
    rgb, face, hidden = (
        cv2.warpAffine(x, matrix, (w, h), flags=flag)
        for x, flag in (
            (view.rgb, cv2.INTER_LINEAR),
            (view.face.astype(np.uint8), cv2.INTER_NEAREST),
            (view.hidden.astype(np.uint8), cv2.INTER_NEAREST),
        )
    )
    return replace(view, rgb=rgb, face=face > 0, hidden=hidden > 0)


@pytest.mark.parametrize(
    ("degrees", "scale", "shift"), [(0, 1, (0, 0)), (2, 0.97, (3, -2)), (-3, 0.95, (-4, 4))]
)
def test_moved_face_is_found_again(degrees, scale, shift):
    """Where each cell lies is known to 1 mm (1 px), though a third is grown over."""
    first_view = compose()
    frame, shape = own_frame(first_view)
    first = resample(first_view, frame, shape)
    matrix = movement(first_view, degrees=degrees, scale=scale, shift=shift)
    face, likeness = lay_onto(moved(compose(grow(0.33)), matrix), first)
    assert likeness > 0.15
    assert off_px(face, frame, matrix) < 1.0


@pytest.mark.parametrize(("shift_px", "scale"), [(15, 1), (22, 0.94)])
def test_a_face_far_off_its_outline_is_found(shift_px, scale):
    """The outline stays where it was: the bag slid in front of it, or is seen narrower."""
    first_view = compose()
    frame, shape = own_frame(first_view)
    first = resample(first_view, frame, shape)
    matrix = np.array([[scale, 0, (1 - scale) * first_view.face.shape[1] / 2 + shift_px], [0, 1, 0]], float)
    view = replace(moved(compose(grow(0.33)), matrix), face=first_view.face)
    face, likeness = lay_onto(view, first)
    assert likeness > 0.15
    assert off_px(face, frame, matrix) < 1.0


def test_streaks_of_light_dont_pull_a_face_aside():
    """Uneven light, as under a side lamp, is coarser than grain, but stronger."""
    first_view = compose()
    frame, shape = own_frame(first_view)
    first = resample(first_view, frame, shape)
    side = first_view.face.shape[0] - 2 * MARGIN_PX
    streaks = cv2.GaussianBlur(np.random.default_rng(5).normal(size=(side, side)), (0, 0), 2, sigmaY=30)
    matrix = movement(first_view, degrees=2, scale=0.97, shift=(3, -2))
    view = compose(grow(0.6, opacity=0.3), lit=np.exp(7 * streaks)[..., None])
    face, likeness = lay_onto(moved(view, matrix), first)
    assert likeness > 0.15
    assert off_px(face, frame, matrix) < 0.7


def off_px(face: Face, frame: np.ndarray, matrix: np.ndarray) -> float:
    """How far from where they are some cells were laid."""
    cells = np.array([[x, y, 1] for x in (30, 70, 110) for y in (60, 90, 120)], float)
    expected = np.column_stack([cells @ frame.T, np.ones(len(cells))]) @ matrix.T
    return float(np.abs(cells @ face.to_px.T - expected).max())


def test_another_bag_is_not_alike():
    """Two bags' substrates have little in common: the outlines' placement stands."""
    first_view = compose(bag=1)
    first = resample(first_view, *own_frame(first_view))
    _, likeness = lay_onto(compose(bag=2), first)
    assert likeness < 0.2
