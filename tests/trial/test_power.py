"""Chances of success, against reference libraries and simulations made another way."""

from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from colscan.trial.power import (
    bags_needed,
    chance_of_difference,
    chance_of_few_losses,
    losses_allowed,
    smallest_p,
)

TWO_POINTS = 0.02


def test_clean_bags_for_a_limit() -> None:
    """29 clean bags show at most 10 %, and succeed 56 % of the time at a true 2 %.

    Source: hand arithmetic, 0.9^29 = 0.0471 <= 0.05 < 0.9^28 = 0.0523 and 0.98^29 = 0.5566.
    """
    assert bags_needed(0, 0.10) == 29
    assert chance_of_few_losses([29], 0, risk=0.02, correlation=0) == pytest.approx(0.98**29, abs=1e-12)


@pytest.mark.parametrize("losses", [0, 1, 2, 5])
@pytest.mark.parametrize("limit", [0.05, 0.1, 0.2, 0.3])
def test_bags_needed_is_the_least(losses, limit) -> None:
    """The exact upper limit is within the accepted risk with so many bags and not with one fewer.

    Source: scipy's binomtest, the upper end of the two-sided 90 % Clopper-Pearson interval.
    """

    def upper(bags: int) -> float:
        return stats.binomtest(losses, bags).proportion_ci(0.90, method="exact").high

    bags = bags_needed(losses, limit)
    assert upper(bags) <= limit < upper(bags - 1)
    assert losses_allowed(bags, limit) == losses
    assert losses_allowed(bags - 1, limit) == (losses - 1 if losses else None)


def test_bags_of_a_level_for_30_pct() -> None:
    """Of ten one loss is one too many (upper limit 0.3942), of six none is few enough (0.3930).

    Source: Clopper-Pearson limits 0/10 0.2589, 1/10 0.3942, 0/6 0.3930, computed with scipy.
    """
    assert losses_allowed(10, 0.30) == 0
    assert losses_allowed(6, 0.30) is None


@pytest.mark.parametrize("risk", [0.02, 0.05, 0.1, 0.2])
@pytest.mark.parametrize("correlation", [0.0, 0.1, 0.4])
@pytest.mark.parametrize("losses", [0, 1, 2])
def test_chance_of_few_losses_agrees_with_simulation(risk, correlation, losses) -> None:
    """Runs with a risk of their own drawn for each (beta), bags lost one by one: within 2 points."""
    runs, trials = (10, 10, 9), 20_000
    rng = np.random.default_rng(5)
    lost = np.zeros(trials, dtype=int)
    for bags in runs:
        own = np.full(trials, risk)
        if correlation:
            own = rng.beta(risk * (1 / correlation - 1), (1 - risk) * (1 / correlation - 1), trials)
        lost += (rng.random((bags, trials)) < own).sum(axis=0)
    simulated = (lost <= losses).mean()
    chance = chance_of_few_losses(runs, losses, risk=risk, correlation=correlation)
    assert chance == pytest.approx(simulated, abs=TWO_POINTS)


def test_correlation_passes_a_bad_trial_more_often() -> None:
    """At the accepted risk the chance to pass is at most 5 % without correlation, and more with it."""
    alone = chance_of_few_losses((7, 7), 0, risk=0.2, correlation=0)
    together = chance_of_few_losses((7, 7), 0, risk=0.2, correlation=0.1)
    assert alone <= 0.05 < together


@pytest.mark.parametrize(
    ("bags", "strains", "p"), [(3, 1, 2 / 20), (4, 1, 2 / 70), (2, 2, 2 / 36), (3, 2, 2 / 400)]
)
def test_smallest_p(bags, strains, p) -> None:
    """Two of all ways to exchange the labels are as far apart as can be (source: C(2n, n), by hand)."""
    assert smallest_p(bags, strains) == pytest.approx(p, rel=1e-12)


def test_three_bags_of_each_find_nothing() -> None:
    """Where the smallest p is over 0.05 no difference is found, however large."""
    assert chance_of_difference(3, 50) == 0


def test_a_large_difference_is_found_for_sure() -> None:
    """Whatever the number of bags: a number, and it grows with the difference up to 1."""
    for strains in (1, 5):
        chances = [chance_of_difference(9, d, strains=strains) for d in (0, 0.2, 0.5, 1, 2, 3, 5, 20)]
        assert chances == sorted(chances)
        assert chances[-1] == pytest.approx(1, abs=1e-9)
        assert chances[0] == pytest.approx(0.05, abs=1e-9)


@pytest.mark.parametrize("bags", [4, 5, 6, 7])
@pytest.mark.parametrize("difference_sd", [1.0, 2.0])
def test_chance_of_difference_agrees_with_reference(bags, difference_sd) -> None:
    """The exact permutation test of scipy on 4000 simulated trials: within 2 points."""
    rng = np.random.default_rng(11)
    x = rng.standard_normal((4000, bags)) + difference_sd
    y = rng.standard_normal((4000, bags))
    result = stats.permutation_test(
        (x, y),
        lambda a, b, axis: a.mean(axis=axis) - b.mean(axis=axis),
        axis=1,
        vectorized=True,
        batch=200,
        n_resamples=10_000,
    )
    found = (result.pvalue <= 0.05).mean()
    assert chance_of_difference(bags, difference_sd) == pytest.approx(found, abs=TWO_POINTS)


@pytest.mark.parametrize(("bags", "strains"), [(2, 3), (3, 2), (4, 2)])
@pytest.mark.parametrize("difference_sd", [0.5, 1.0, 1.5])
def test_chance_over_strains_agrees_with_simulation(bags, strains, difference_sd) -> None:
    """Sums of each strain's differences under all its exchanges, 16 000 trials: within 2 points."""
    rng = np.random.default_rng(3)
    splits = np.array(list(combinations(range(2 * bags), bags)))
    found = 0
    for _ in range(16_000):
        sums = np.zeros(1)
        for strain in range(strains):
            times = rng.normal(10 * strain, 1, 2 * bags)
            times[:bags] += difference_sd
            sums = np.add.outer(sums, 2 * times[splits].sum(axis=1) - times.sum()).ravel()
        found += (np.abs(sums) >= abs(sums[0]) - 1e-9).mean() <= 0.05
    chance = chance_of_difference(bags, difference_sd, strains=strains)
    assert chance == pytest.approx(found / 16_000, abs=TWO_POINTS)
