"""The light on faces: by their cards, and by what stands in for them."""

from __future__ import annotations

import numpy as np
import pytest
from locate.scene import MM_PER_PX, draw_scene, encode
from numpy.testing import assert_allclose

from colscan.locate.lights import HeldAgainst, Lights, read_lights
from colscan.photo.model import ImageRGB

PAPER = 0.8
"""Of the drawn card under a light of 1."""
FACE = np.array([(200.0, 150.0), (410.0, 150.0), (410.0, 390.0), (200.0, 390.0)])


def _read(rgb: ImageRGB, *tags: int | None) -> Lights:
    shift = np.array([620.0, 0.0])
    outlines = [FACE + shift * index for index in range(len(tags))]
    return read_lights(rgb, outlines, tags=tags, mm_per_px=MM_PER_PX)


def test_each_bag_is_held_against_its_own_card() -> None:
    """Two bags of one photo that stand in different light."""
    rgb = np.hstack([draw_scene(tag=7).rgb, draw_scene(tag=9, light=0.4).rgb])
    lights = _read(rgb, 7, 9)
    assert [face.by for face in lights.faces] == [HeldAgainst.OWN_CARD] * 2
    assert_allclose(lights.faces[0].paper, PAPER, rtol=0.05)
    assert_allclose(lights.faces[1].paper, 0.4 * PAPER, rtol=0.05)


def test_a_burnt_out_card_tells_the_least_light() -> None:
    """Twice the light that a photo can show: what it shows at most."""
    rgb = np.hstack([draw_scene(tag=7).rgb, draw_scene(tag=9, light=2.0).rgb])
    lights = _read(rgb, 7, 9)
    assert [face.by for face in lights.faces] == [HeldAgainst.OWN_CARD, HeldAgainst.BURNT_OUT]
    assert_allclose(lights.faces[1].paper, 1.0, rtol=0.02)


def test_other_cards_tell_where_a_bag_has_none() -> None:
    """The median of the cards that are not burnt out."""
    rgb = np.hstack([draw_scene(tag=7).rgb, draw_scene(tag=9, light=2.0).rgb])
    for tags in ((7, None), (7, 30)):
        lights = _read(rgb, *tags)
        assert [face.by for face in lights.faces] == [HeldAgainst.OWN_CARD, HeldAgainst.OTHER_CARDS]
        assert_allclose(lights.faces[1].paper, PAPER, rtol=0.05)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_photo_on_its_head_is_turned(turns: int) -> None:
    """As most of its cards say; the outlines turn with it."""
    upright = draw_scene(tag=7).rgb
    turned = np.rot90(upright, -turns)
    points = {1: FACE[:, ::-1] * (-1, 1) + (459, 0), 2: (619.0, 459.0) - FACE,
              3: FACE[:, ::-1] * (1, -1) + (0, 619)}[turns]  # fmt: skip
    lights = read_lights(turned, [points], tags=[7], mm_per_px=MM_PER_PX)
    np.testing.assert_array_equal(lights.rgb, upright)
    assert_allclose(lights.outlines_px[0], FACE)


def test_filter_patches_stand_in_for_cards() -> None:
    """The white square above a block, where no card is in the photo."""
    light = np.full((460, 620, 3), 0.2)
    light[150:390, 200:410] = 0.06
    light[60:110, 280:330] = (0.6, 0.5, 0.4)
    lights = _read(encode(light), None)
    assert lights.faces[0].by is HeldAgainst.PATCHES
    assert_allclose(lights.faces[0].paper, (0.6, 0.5, 0.4), rtol=0.03)


def test_the_brightest_places_are_the_last_resort() -> None:
    """Where nothing is known to be white; a black photo doesn't multiply noise."""
    light = np.full((460, 620, 3), 0.06)
    light[400:, :] = (0.5, 0.4, 0.3)
    lights = _read(encode(light), 7)
    assert lights.faces[0].by is HeldAgainst.BRIGHTEST
    assert_allclose(lights.faces[0].paper, (0.5, 0.4, 0.3), rtol=0.03)
    assert _read(np.zeros((460, 620, 3), np.uint8), 7).faces[0].paper.min() > 0
