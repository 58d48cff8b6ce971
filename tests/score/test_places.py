"""Places of a face: order from the photo, level from elsewhere, hidden ones from before and around."""

from __future__ import annotations

import numpy as np
import pytest

from colscan.score.places import carry, chance_covered, known_share, opacity_between, recall_hidden, shift_to

SIDE = 50
WHOLE = np.ones((SIDE, SIDE), bool)
LEFT = np.arange(SIDE)[None] < SIDE // 2
HALF = np.where(np.repeat(LEFT, SIDE, axis=0), 0.5, 0.01).astype(np.float32)


@pytest.mark.parametrize("mean", [0.02, 0.3, 0.5, 0.9])
def test_shift_keeps_the_order_and_gives_the_mean(mean: float):
    """Within a point of the mean; no two places change places; zeros stay."""
    chance = np.linspace(0, 1, SIDE**2, dtype=np.float32).reshape(SIDE, SIDE)
    shifted = shift_to(chance, mean, within=WHOLE)
    assert shifted.mean() == pytest.approx(mean, abs=0.01)
    assert (np.diff(shifted.ravel()) >= 0).all()
    assert shifted[0, 0] == 0


def test_hidden_places_are_taken_from_around():
    """A hidden block within the white half is covered, one within the bare half is not."""
    opacity = HALF.copy()
    opacity[20:30, 5:15] = opacity[20:30, 35:45] = np.nan
    chance = chance_covered(opacity, 0.5, face=WHOLE)
    assert chance[20:30, 5:15].min() > 0.9
    assert chance[20:30, 35:45].max() < 0.1
    assert chance.mean() == pytest.approx(0.5, abs=0.01)


def test_patches_and_what_is_no_face_are_not_covered():
    """Exactly 0, at whatever level."""
    opacity = HALF.copy()
    opacity[:10, :10] = 0.0
    face = WHOLE.copy()
    face[40:] = False
    chance = chance_covered(opacity, 0.9, face=face)
    assert chance[:10, :10].max() == 0
    assert chance[40:].max() == 0
    assert carry(chance, np.where(face, 1.0, 0.0), coverage=0.5, face=face)[:10, :10].max() == 0


def test_hidden_places_are_recalled():
    """Covered before is covered, and counts as known; bare before and amid bare stays bare."""
    opacity = HALF.copy()
    opacity[:, :40] = np.nan
    before = np.where(np.repeat(LEFT, SIDE, axis=0), 1.0, 0.0).astype(np.float32)
    chance = chance_covered(opacity, 0.01, face=WHOLE)
    recalled = recall_hidden(chance, opacity, before, face=WHOLE)
    assert recalled[:, :25].min() > 0.99
    assert recalled[:, 25:].max() < 0.1
    assert known_share(opacity, before, face=WHOLE) == pytest.approx(0.5)


def test_of_hidden_bare_places_as_much_is_covered_as_around():
    """All that was bare and is seen has become covered: what is hidden among it has, too."""
    opacity = np.full((SIDE, SIDE), 0.5, np.float32)
    opacity[20:30, 20:30] = np.nan
    bare = np.zeros((SIDE, SIDE), np.float32)
    chance = chance_covered(opacity, 0.99, face=WHOLE)
    assert recall_hidden(chance, opacity, bare, face=WHOLE)[20:30, 20:30].min() > 0.85


def test_density_follows_what_is_believed():
    """Nothing where photo and belief agree; more where more is believed covered, by its thickness."""
    chance = chance_covered(HALF, 0.5, face=WHOLE)
    assert opacity_between(HALF, chance, chance, face=WHOLE) == 0
    more = shift_to(chance, 0.6, within=WHOLE)
    assert 0 < opacity_between(HALF, chance, more, face=WHOLE) < 0.1
