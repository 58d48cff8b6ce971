"""The ratio of rates between levels."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hornbeam import make_bag
from scipy import stats

from colscan.growth.curve import BagFit, Estimate, Measure, ratio_of_rates


def _fits(*rates: float | None) -> list[BagFit]:
    return [
        BagFit(
            bag=make_bag(f"B{i}"), measure=Measure.COVERAGE, segment=0, began_days=0.0, points=9,
            rate_per_day=None if rate is None else Estimate(value=rate, low=rate, high=rate),
        )
        for i, rate in enumerate(rates)
    ]  # fmt: skip


def test_against_welch_of_scipy() -> None:
    """Mean log rates and their 90 % interval, as `scipy.stats.ttest_ind(equal_var=False)` has it."""
    level, control = [0.12, 0.15, 0.11, 0.14, 0.13], [0.10, 0.09, 0.12, 0.08]
    got = ratio_of_rates(_fits(*level), _fits(*control, None))
    ends = stats.ttest_ind(np.log(level), np.log(control), equal_var=False).confidence_interval(0.9)
    assert got is not None
    assert (got.low, got.high) == (pytest.approx(math.exp(ends.low)), pytest.approx(math.exp(ends.high)))
    assert got.value == pytest.approx(stats.gmean(level) / stats.gmean(control))


def test_too_few_bags() -> None:
    """One bag with a rate shows no spread."""
    assert ratio_of_rates(_fits(0.1, None), _fits(0.1, 0.2)) is None


def test_bags_that_are_all_alike() -> None:
    """No spread, no width, and no division by it."""
    assert ratio_of_rates(_fits(0.2, 0.2), _fits(0.1, 0.1)) == Estimate(
        value=pytest.approx(2.0), low=pytest.approx(2.0), high=pytest.approx(2.0)
    )
