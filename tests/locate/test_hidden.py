"""Patches and rods are found on a window of millimetres."""

from __future__ import annotations

import numpy as np

from colscan.locate.hidden import hidden_places
from colscan.locate.window import BOTTOM_MM, LEFT_MM, RIGHT_MM, TOP_MM, Window

SHAPE = (BOTTOM_MM - TOP_MM, RIGHT_MM - LEFT_MM)
FACE = np.zeros(SHAPE, bool)
FACE[60:270, 70:260] = True


def window(*bright: tuple[slice, slice]) -> Window:
    """A dark block before a grey wall, with bright bars or squares over both."""
    light = np.full((*SHAPE, 3), 0.4, np.float32)
    light[FACE] = 0.1
    for place in bright:
        light[place] = 0.95
    return Window(light=light, middle_px=np.array([200.0, 200.0]), mm_per_px=1.0, card=np.zeros(SHAPE, bool))


def test_nothing_in_front_hides_nothing() -> None:
    """A bare block has no hidden places: its own lower edge is no rod."""
    assert not hidden_places(window(), FACE).any()


def test_patch_is_hidden_where_it_overlaps() -> None:
    """Of a 50 mm square the 10 mm over the face are hidden, within 3 mm."""
    hidden = hidden_places(window((slice(20, 70), slice(150, 200))), FACE)
    assert hidden[60:70, 150:200].all()
    assert not hidden[74:].any()


def test_white_square_on_the_face_is_no_patch() -> None:
    """A square that lies wholly on the face may be mycelium: it stays."""
    assert not hidden_places(window((slice(100, 150), slice(150, 200))), FACE).any()


def test_rod_in_front_hides_what_is_below() -> None:
    """A bar across block and wall hides the face from its upper edge down."""
    hidden = hidden_places(window((slice(240, 248), slice(0, SHAPE[1]))), FACE)
    assert hidden[242:270, 75:255].all()
    assert not hidden[:237].any()


def test_rod_behind_hides_nothing() -> None:
    """A bar that ends at the block on both sides is behind it."""
    behind = window((slice(240, 248), slice(0, 70)), (slice(240, 248), slice(260, SHAPE[1])))
    assert not hidden_places(behind, FACE).any()


def test_block_that_reaches_the_window_s_end_is_no_fault() -> None:
    """An outline gone wrong leaves no wall beside the block to compare with: nothing is raised."""
    face = np.zeros(SHAPE, bool)
    face[60:270, 4:] = True
    assert hidden_places(window(), face).shape == SHAPE
