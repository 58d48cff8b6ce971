"""Intervals of few weights, some of them zero."""

from __future__ import annotations

import numpy as np
import pytest

from colscan.growth.crop.intervals import difference_with_zeros, mean_of, mean_with_zeros


def test_plain_mean_has_students_interval() -> None:
    """300, 400, 500: 400 +- 2.919986 * 100 / sqrt(3) g (t table, 2 degrees, 95th percentile)."""
    mean = mean_of([300.0, 400.0, 500.0])
    assert (mean.low, mean.high) == (pytest.approx(231.4146, abs=1e-3), pytest.approx(568.5854, abs=1e-3))
    assert mean_of([1.0, 1.0, 90.0]).low == 0.0
    assert mean_of([5.0]).low is None
    assert mean_of([5.0, 5.0]).low is None
    assert mean_of([]) is None


def test_lost_bags_are_in_the_mean_and_widen_the_interval() -> None:
    """Two of eight at zero; the same weights without loss are surer, and more."""
    whole = mean_with_zeros([380.0, 400.0, 420.0, 390.0, 410.0, 400.0])
    lossy = mean_with_zeros([380.0, 400.0, 420.0, 390.0, 410.0, 400.0, 0.0, 0.0])
    assert (whole.value, lossy.value) == (pytest.approx(400.0), pytest.approx(300.0))
    assert lossy.high - lossy.low > whole.high - whole.low
    assert lossy.low < lossy.value < lossy.high
    assert whole.low < whole.value <= whole.high


def test_what_carries_no_interval() -> None:
    """No bag, one that gave, all alike, all zero."""
    assert mean_with_zeros([]) is None
    for grams in ([400.0], [400.0, 0.0], [400.0, 400.0], [0.0, 0.0]):
        mean = mean_with_zeros(grams)
        assert (mean.value, mean.low, mean.high) == (sum(grams) / len(grams), None, None)
    assert difference_with_zeros([400.0, 410.0], []) is None
    assert difference_with_zeros([400.0, 410.0], [0.0, 0.0]).low is None


def test_difference_of_sides_without_loss_or_spread() -> None:
    """With 2000 bags that hardly differ it is the difference of the means, within half a gram."""
    grams = list(np.linspace(499, 501, 2000))
    more = difference_with_zeros(grams, [value - 100 for value in grams])
    assert (more.value, more.bags) == (pytest.approx(100.0), 4000)
    assert 99.5 < more.low < 100 < more.high < 100.5


def test_the_same_bags_give_the_same_interval() -> None:
    """The seed is fixed."""
    assert mean_with_zeros([300.0, 400.0, 0.0]) == mean_with_zeros([300.0, 400.0, 0.0])


@pytest.mark.parametrize(("bags", "loss"), [(6, 0.1), (8, 0.25), (12, 0.05)])
def test_intervals_hold_what_they_say(bags: int, loss: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 400 simulated levels 86 to 99 % hold the truth (90 % meant; the t interval holds 84 to 88 %)."""
    monkeypatch.setattr("colscan.growth.crop.intervals.DRAWS", 1000)
    random = np.random.default_rng(7)
    held = drawn = 0
    for _ in range(400):
        gave = np.where(random.random(bags) < loss, 0.0, random.normal(400, 80, bags))
        mean = mean_with_zeros(list(gave))
        if mean.low is not None:
            drawn += 1
            held += mean.low <= 400 * (1 - loss) <= mean.high
    assert drawn > 390
    assert 0.86 <= held / drawn <= 0.99
