"""Cells drawn from the model → its parameters again."""

from __future__ import annotations

import numpy as np
import pytest

from colscan.score.light import GAINS, believe_lights, refine_lights
from colscan.score.mixing import COVERED, LEVELS, MYCELIUM, Cells, chance_of_levels

N = 500
WHITE_REDNESS = (MYCELIUM[0] - MYCELIUM[2]) / MYCELIUM.mean()


def draw(opacity: np.ndarray, *, gain: float, veil: float, white: float, seed: int = 0) -> Cells:
    """Cells of the model's own formula with 4 % noise."""
    rng = np.random.default_rng(seed)
    y0, d0 = rng.normal(0.08, 0.006, N), rng.normal(0.03, 0.002, N)
    y = (gain * y0 + veil) * (1 - opacity) + white * opacity
    d = gain * d0 * (1 - opacity) + white * WHITE_REDNESS * opacity
    shade = 1 + rng.normal(0, 0.04, N)
    variance = np.array([(0.04 * y) ** 2 + 0.002**2, (0.04 * d) ** 2 + 0.0014**2])
    precision = np.stack([1 / variance[0], np.zeros(N), 1 / variance[1]])
    arrays = (y * shade, d * shade + rng.normal(0, 0.001, N), y0, d0)
    names = ("brightness", "redness", "brightness0", "redness0")
    return Cells(
        **{k: v.astype(np.float32) for k, v in zip(names, arrays, strict=True)},
        precision=precision.astype(np.float32),
    )


@pytest.mark.parametrize(("gain", "veil"), [(1.0, 0.0), (1.0, 0.01), (1.4, 0.0), (0.8, 0.005)])
def test_light_and_shares_come_back(gain, veil):
    """Half bare, half at 0.6: the gain within a tenth, the veil within 0.01, the share within 4 points."""
    opacity = np.repeat([0.0, 0.6], N // 2)
    cells = draw(opacity, gain=gain, veil=veil, white=0.24 * gain)
    (belief,) = refine_lights([cells], believe_lights([cells]))
    best = belief.best
    assert best.gain[0] == pytest.approx(gain, rel=0.1)
    assert best.veil[0] == pytest.approx(veil, abs=0.01)
    assert best.shares[0][COVERED].sum() == pytest.approx(0.5, abs=0.04)
    chance = chance_of_levels(cells, best)[:, 0]
    assert chance.sum(0) == pytest.approx(np.ones(N), abs=1e-4)
    assert np.corrcoef(LEVELS @ chance, opacity)[0, 1] > 0.98


def test_bags_of_a_photo_teach_each_other_the_light():
    """A face all white says nothing of the gain; its photo's bare one does."""
    bare = draw(np.zeros(N), gain=1.6, veil=0.0, white=0.4)
    white = draw(np.full(N, 0.9), gain=1.6, veil=0.0, white=0.4, seed=1)
    (alone,) = believe_lights([white])
    together = believe_lights([bare, white])[1]

    def doubt(weight: np.ndarray, gain: np.ndarray) -> float:
        return float(weight @ np.abs(np.log(gain / 1.6)))

    assert doubt(together.weight, together.fits.gain) < doubt(alone.weight, alone.fits.gain)


def test_weights_are_a_distribution():
    """They sum to one over all gains and both beginnings."""
    cells = draw(np.zeros(N), gain=1.0, veil=0.0, white=0.24)
    (belief,) = believe_lights([cells])
    assert belief.weight.sum() == pytest.approx(1.0)
    assert len(belief.weight) == 2 * len(GAINS)
