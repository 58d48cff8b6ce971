"""Cards are found, small ones too, where and as large as they are."""

from __future__ import annotations

import re
from pathlib import Path

import cv2
import numpy as np
from locate.scene import MM_PER_PX, draw_scene, encode, put_card
from numpy.testing import assert_allclose

from colscan.locate import find_cards
from colscan.locate.cards import card_middle_px, card_outline_px


def test_small_tags_in_a_full_size_photo() -> None:
    """Tags of 24 px and more are found in a photo of 4000 x 3000, where OpenCV's default loses them."""
    light = np.full((3000, 4000, 3), 0.3, np.float32)
    sides = {3: 24, 4: 28, 5: 32, 6: 40, 7: 60}
    for k, (tag, side) in enumerate(sides.items()):
        patch = np.full((160, 240, 3), 0.3)
        put_card(patch, tag, middle_px=np.array([120.3, 80.6]), mm_per_px=36 / side, turned_deg=4.0 * k)
        light[1000:1160, 500 + 600 * k : 740 + 600 * k] = patch
    rng = np.random.default_rng(1)
    small = light[900:1300, 400:3200]
    small[:] = cv2.GaussianBlur(small, (0, 0), 0.8) + rng.normal(0, 0.004, small.shape)
    cards = find_cards(encode(light))
    assert [card.tag for card in cards] == list(sides)
    assert_allclose([36 / card.mm_per_px for card in cards], list(sides.values()), rtol=0.04)


def test_large_tags_in_a_full_size_photo_are_as_exact() -> None:
    """Tags found in the photo at half its size stand where they were drawn, to a tenth of a pixel."""
    light = np.full((2000, 3000, 3), 0.3, np.float32)
    patch = np.full((500, 700, 3), 0.3)
    put_card(patch, 5, middle_px=np.array([350.3, 250.6]), mm_per_px=0.4, turned_deg=3.0)
    near, far = np.s_[100:600, 200:900], np.s_[1301:1801, 1801:2501]
    light[near] = light[far] = cv2.GaussianBlur(patch, (0, 0), 0.8)
    one, other = find_cards(encode(light))
    assert_allclose(other.corners_px - one.corners_px, [[1601, 1201]] * 4, atol=0.1)
    assert_allclose(one.mm_per_px, 0.4, rtol=0.003)
    assert_allclose([one.blur_px, other.blur_px], 0.8, rtol=0.15)


def test_card_stands_where_it_was_drawn() -> None:
    """Scale, middle and corners of a card agree with how it was drawn."""
    scene = draw_scene()
    (card,) = find_cards(scene.rgb)
    assert card.tag == 7
    assert_allclose(card.mm_per_px, MM_PER_PX, rtol=0.02)
    assert_allclose(card_middle_px(card), scene.card_px.mean(0), atol=1.0)
    assert_allclose(card_outline_px(card), scene.card_px, atol=2.5)


def test_no_cards() -> None:
    """A photo without cards gives none, at any size."""
    rng = np.random.default_rng(2)
    assert find_cards(np.full((40, 60, 3), 128, np.uint8)) == ()
    assert find_cards(rng.integers(0, 256, (80, 120, 3), dtype=np.uint8)) == ()
    assert find_cards(np.zeros((1, 1, 3), np.uint8)) == ()


def test_tag_that_stands_twice_is_given_twice() -> None:
    """Two cards with one tag are two cards, while one card is never two."""
    one, two = draw_scene(tag=9).rgb, draw_scene(tag=9).rgb
    assert [card.tag for card in find_cards(np.hstack([one, two]))] == [9, 9]


def test_real_photos_of_tags(real_photos: Path) -> None:
    """At least 42 of the 47 tags listed for three real photos are found, and no tag but theirs (id 0)."""
    found = 0
    for path in sorted((real_photos / "tags").rglob("*.jpg")):
        cards = find_cards(cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB))
        assert {card.tag for card in cards} == {0}
        middles = [card.corners_px.mean(0) for card in cards]
        for line in path.with_suffix(".txt").read_text().splitlines():
            listed = np.array(re.findall(r"\d+\.\d+", line), float).reshape(4, 2)
            found += any(np.hypot(*(middle - listed.mean(0))) < 5 for middle in middles)
    assert found >= 42
