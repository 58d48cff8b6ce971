"""Photos that were taken upside down or sideways are turned by their cards."""

import numpy as np
import pytest

from colscan.locate.model import Card
from colscan.locate.turn import turned_cards, turned_points, turns_to_upright

UPRIGHT = np.array([(10.0, 5.0), (14.0, 5.0), (14.0, 9.0), (10.0, 9.0)])
SHAPE = (30, 40)


def card(corners_px: np.ndarray) -> Card:
    """A card by its corners."""
    return Card(tag=1, corners_px=corners_px, mm_per_px=9.0, blur_px=1.0)


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_points_follow_the_pixels(turns: int) -> None:
    """A point lands where numpy.rot90 puts its pixel, and goes back."""
    image = np.zeros(SHAPE, np.uint8)
    image[7, 23] = 1
    moved = turned_points(np.array([[23.0, 7.0]]), turns, SHAPE)
    ((row, column),) = np.argwhere(np.rot90(image, turns)).tolist()
    assert moved.tolist() == [[column, row]]
    assert turned_points(moved, -turns, np.rot90(image, turns).shape).tolist() == [[23.0, 7.0]]


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_cards_tell_how_the_photo_was_held(turns: int) -> None:
    """However a photo was turned, the cards say how to turn it upright."""
    turned = turned_cards([card(UPRIGHT)], turns, SHAPE)
    assert (turns + turns_to_upright(turned)) % 4 == 0


def test_one_card_askew_turns_nothing() -> None:
    """Most cards decide; without cards, and at a tie, the photo stays."""
    sideways = turned_cards([card(UPRIGHT)], 1, SHAPE)[0]
    assert turns_to_upright([card(UPRIGHT), card(UPRIGHT), sideways]) == 0
    assert turns_to_upright([sideways, card(UPRIGHT)]) == 0
    assert turns_to_upright([]) == 0
