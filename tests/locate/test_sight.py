"""Cards and a map together: who counts, and what is said."""

import numpy as np
import pytest
from demo_trial import photo

from colscan.flags import Flag
from colscan.locate import find_shown, locate_bags, map_shelf
from colscan.photo import load_rgb

UNCARDED = 1000
"""Keys of bags without a card."""


@pytest.fixture(scope="module")
def shelf():
    """The demo's shelf as if mapped without cards: in each bag's place a bag that has none."""
    rgb = load_rgb(photo(0), max_megapixels=100)
    shown = find_shown(rgb)
    assert [tag for tag, _ in shown.carded] == list(range(1, 9))
    assert shown.uncarded == ()
    return map_shelf(rgb, [(UNCARDED + tag, face) for tag, face in shown.carded], [])


def test_a_card_counts_more_than_its_place(shelf):
    """A bag with a card stands in another's place: it is scored by its card, and the view says so."""
    rgb = load_rgb(photo(3), max_megapixels=100)
    sighting = locate_bags(rgb, [shelf])
    assert sorted(view.key for view in sighting.views) == list(range(1, 9))
    assert all(Flag.CARD_AND_PLACE_DISAGREE in view.flags for view in sighting.views)
    assert sighting.standing.shelf_known
    plain = locate_bags(rgb)
    assert all(Flag.CARD_AND_PLACE_DISAGREE not in view.flags for view in plain.views)


def test_a_picture_of_something_else_is_no_mapped_shelf(shelf):
    """Noise: no bag, no shelf."""
    noise = np.random.default_rng(0).integers(0, 255, (900, 1200, 3), dtype=np.uint8)
    sighting = locate_bags(noise, [shelf])
    assert sighting.views == ()
    assert not sighting.standing.shelf_known
