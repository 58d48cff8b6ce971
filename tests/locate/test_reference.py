"""Paper, ink and blur are read from a card, or said not to be readable."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from locate.scene import draw_scene, encode, put_card
from numpy.testing import assert_allclose

from colscan.flags import Flag
from colscan.locate import find_cards
from colscan.locate.reference import read_reference


def card_alone(sigma_px: float, *, light: float = 1.0, turned_deg: float = 7.0) -> np.ndarray:
    """Linear light of a card before grey, blurred with a Gaussian of known sigma."""
    scene = np.full((160, 240, 3), 0.3)
    put_card(scene, 12, middle_px=np.array([120.2, 80.4]), mm_per_px=0.5, turned_deg=turned_deg)
    return cv2.GaussianBlur(scene * light, (0, 0), sigma_px)


@pytest.mark.parametrize("sigma_px", [0.8, 1.2, 1.8, 2.2])
def test_blur_is_recovered(sigma_px: float) -> None:
    """The blur laid over a drawn card comes back within 15 %."""
    rgb = encode(card_alone(sigma_px) + np.random.default_rng(0).normal(0, 0.003, (160, 240, 3)))
    (card,) = find_cards(rgb)
    assert_allclose(read_reference(rgb, card).blur_px, sigma_px, rtol=0.15)


def test_paper_and_ink_in_coloured_light() -> None:
    """Paper 0.8 and ink 0.03 under a warm lamp come back channel by channel."""
    lamp = np.array([0.9, 0.7, 0.4])
    rgb = encode(card_alone(0.6) * lamp)
    (card,) = find_cards(rgb)
    reference = read_reference(rgb, card)
    assert_allclose(reference.paper, 0.8 * lamp, rtol=0.03)
    assert_allclose(reference.ink, 0.03 * lamp, atol=0.012)
    assert reference.flags == ()


def test_reflection_over_a_part_does_no_harm() -> None:
    """A bright streak over a third of the paper's margin leaves the paper as it is."""
    scene = card_alone(0.6, turned_deg=0.0) * 0.6
    rgb = encode(scene)
    (card,) = find_cards(rgb)
    left = int(card.corners_px[:, 0].min())
    scene[:, left + 20 : left + 45] += 0.35
    glared = read_reference(encode(scene), card)
    assert_allclose(glared.paper, read_reference(rgb, card).paper, rtol=0.03)


def test_burnt_out_paper_is_flagged() -> None:
    """Paper at the top of the scale gives `reference-clipped`; its value is still given."""
    rgb = encode(card_alone(0.6, light=1.4))
    (card,) = find_cards(rgb)
    reference = read_reference(rgb, card)
    assert reference.flags == (Flag.REFERENCE_CLIPPED,)
    assert reference.paper.min() > 0.95


def test_paper_no_brighter_than_ink_is_no_reference() -> None:
    """A card in fog so thick that paper is less than twice the ink gives NaN and `no-reference`."""
    scene = card_alone(0.6)
    (card,) = find_cards(encode(scene))
    reference = read_reference(encode(0.1 * scene + 0.4), card)
    assert reference.flags == (Flag.NO_REFERENCE,)
    assert np.isnan(reference.paper).all()
    assert np.isnan(reference.ink).all()


def test_a_card_on_a_bag_reads_like_one_alone() -> None:
    """Neither block nor wall colours the paper."""
    rgb = draw_scene(block=(0.02, 0.1, 0.02)).rgb
    (card,) = find_cards(rgb)
    assert_allclose(read_reference(rgb, card).paper, 0.8, rtol=0.04)
