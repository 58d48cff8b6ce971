"""Painted blotches → found, of the right kind, at the right place; none on a clean face."""

from __future__ import annotations

import numpy as np
import pytest
from score.compose import PATCHES, Shot, compose, disc, grow

from colscan.score import make_baseline, measure_views
from colscan.score.model import PatchSeen

TUNGSTEN = (1.25, 1.0, 0.7)
GREEN_TUBE = (0.93, 1.08, 0.9)


def patches(coverage: float, shot: Shot | None = None, **painted: np.ndarray) -> tuple[PatchSeen, ...]:
    """Patches of one bag."""
    made = make_baseline([compose()], photos=["00" * 32], late=False)
    assert made is not None
    return measure_views([compose(grow(coverage), shot, patches=painted)], {1: made})[0].patches


@pytest.mark.parametrize("coverage", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("kind", sorted(PATCHES))
def test_blotch_is_found_with_its_kind(kind, coverage):
    """On a bare bag, at the border between white and bare, and on a white bag; area within a third."""
    (found,) = patches(coverage, **{kind: disc(130, 140, 900)})
    assert found.kind == kind
    assert found.area_mm2 == pytest.approx(900, rel=0.33)
    assert found.strength > 0.4


def test_place_is_given_in_the_photo_and_on_the_face():
    """The crop begins at (100, 50) with 6 px around a face whose middle is at 109.5 mm."""
    (found,) = patches(1.0, green=disc(130, 140, 900))
    assert found.centre_px == pytest.approx((236, 196), abs=2.5)
    assert found.centre_mm == pytest.approx((20.5, 30.5), abs=2.5)
    assert found.outline_px.mean(0) == pytest.approx((236, 196), abs=4)


def test_smallest_promised_patch_is_found():
    """150 mm2 of green on a half grown bag."""
    (found,) = patches(0.5, green=disc(90, 150, 150))
    assert found.kind == "green"


def test_two_patches_on_one_bag():
    """Both are found, the larger first."""
    found = patches(1.0, green=disc(70, 150, 400), dark=disc(150, 120, 900))
    assert [p.kind for p in found] == ["dark", "green"]


@pytest.mark.parametrize("coverage", [0.0, 0.3, 0.7, 1.0])
@pytest.mark.parametrize("shot", [Shot(), Shot(cast=TUNGSTEN), Shot(cast=GREEN_TUBE), Shot(veil=0.015)])
def test_clean_face_raises_no_alarm(coverage, shot):
    """Nor under a cast or a veil."""
    assert patches(coverage, shot) == ()
