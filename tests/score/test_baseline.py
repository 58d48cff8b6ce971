"""First photos of a bag → its baseline."""

from __future__ import annotations

import numpy as np
import pytest
from score.compose import SUBSTRATE, Shot, compose

from colscan.score import make_baseline


def test_colour_is_the_substrates():
    """Relative to the paper, within a tenth."""
    made = make_baseline([compose()], photos=["aa"], late=False)
    assert made is not None
    np.testing.assert_allclose(made.colour, SUBSTRATE, rtol=0.1)
    assert made.photos == ("aa",)
    assert not made.late


def test_median_of_three_drops_a_reflection():
    """What one photo burns out, the other two show."""
    glare = Shot(glare_mm=(60, 100, 160, 180))
    made = make_baseline([compose(shot=glare), compose(), compose()], photos=["a", "b", "c"], late=False)
    plain = make_baseline([compose()], photos=["b"], late=False)
    assert made is not None
    assert plain is not None
    assert np.isnan(made.face[..., 0]).mean() == pytest.approx(np.isnan(plain.face[..., 0]).mean(), abs=0.02)
    assert np.nanmax(made.face[60:120, 40:110]) < 0.5
    assert made.photos == ("a", "b", "c")


def test_at_most_three_views():
    """The first three usable ones."""
    made = make_baseline([compose() for _ in range(5)], photos=list("abcde"), late=True)
    assert made is not None
    assert made.photos == ("a", "b", "c")
    assert made.late


def test_poor_views_are_left_out():
    """No paper, nearly all hidden, or far too coarse: the rest serves, or there is none."""
    poor = [
        compose(shot=Shot(readable=False)),
        compose(shot=Shot(hidden_mm=(0, 0, 220, 200))),
        compose(shot=Shot(mm_per_px=5.0)),
    ]
    assert make_baseline(poor, photos=list("abc"), late=False) is None
    mixed = make_baseline([*poor, compose()], photos=list("abcd"), late=False)
    assert mixed is not None
    assert mixed.photos == ("d",)
    assert make_baseline([], photos=[], late=False) is None


def test_spread_is_a_covariance():
    """Symmetric, positive, and of the size of the grain painted (a few hundredths)."""
    made = make_baseline([compose()], photos=["a"], late=False)
    assert made is not None
    np.testing.assert_allclose(made.spread, made.spread.T)
    assert np.linalg.eigvalsh(made.spread).min() > -1e-9
    assert 0.001 < np.trace(made.spread) / 3 < 0.2
