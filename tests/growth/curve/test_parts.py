"""What scores' errors are made of."""

from __future__ import annotations

import numpy as np
import pytest

from colscan.growth.curve.parts import LEAST_BAG, USUAL_PHOTO, divide_errors
from colscan.growth.curve.smooth import USUAL_BEND, Scores, Spread

BAGS, PHOTOS = 24, 25
DAYS = np.arange(float(PHOTOS))
KEYS = [[f"p{j}" for j in range(PHOTOS)]] * BAGS


def _scores(photo: float, own: float, seed: int = 3) -> Scores:
    """Bags on one course, errors with these shares of a variance of 0.1 squared."""
    rng = np.random.default_rng(seed)
    course = 0.75 + 0.6 * np.tanh((DAYS - 12) / 6)
    shared = np.sqrt(photo) * rng.normal(size=PHOTOS)
    angle = course + 0.1 * (shared + np.sqrt(own) * rng.normal(size=(BAGS, PHOTOS)))
    return Scores(
        days=np.tile(DAYS, (BAGS, 1)), angle=angle, sd=np.full(angle.shape, 0.1),
        used=np.ones(angle.shape, dtype=bool),
    )  # fmt: skip


@pytest.mark.parametrize(("photo", "own"), [(0.0, 0.6), (0.15, 0.45), (0.4, 0.2)])
def test_the_photo_s_part_is_found(photo: float, own: float) -> None:
    """In the mean of ten trials, to a tenth of all."""
    spread = Spread(bend=USUAL_BEND, visible=photo + own)
    parts = [divide_errors(_scores(photo, own, seed), spread, KEYS) for seed in range(10)]
    assert np.mean([part.photo for part in parts]) == pytest.approx(photo, abs=0.1)
    assert all(part.own + part.photo == pytest.approx(photo + own) for part in parts)
    assert all(part.bag == pytest.approx(0.4) for part in parts)


def test_too_few_shared_photos() -> None:
    """Bags that share no photo tell nothing of it: the usual part stands."""
    alone = [[f"p{i}-{j}" for j in range(PHOTOS)] for i in range(BAGS)]
    parts = divide_errors(_scores(0.3, 0.3), Spread(bend=USUAL_BEND, visible=0.6), alone)
    assert parts.photo == pytest.approx(0.6 * USUAL_PHOTO)


def test_scores_that_scatter_by_more_than_they_claim() -> None:
    """Something is left for the bag, whatever is claimed."""
    parts = divide_errors(_scores(0.3, 1.2), Spread(bend=USUAL_BEND, visible=1.5), KEYS)
    assert parts.bag == pytest.approx(LEAST_BAG * 1.5)
