"""Chances of success, against reference libraries and simulations made another way."""

from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from colscan.trial.power import (
    MOST_BAGS,
    bags_needed,
    chance_of_difference,
    chance_of_few_losses,
    effective_bags,
    losses_allowed,
    lower_limit,
    smallest_p,
    spread_evenly,
    upper_limit,
)

TWO_POINTS = 0.02
ALONE = MOST_BAGS
"""Heat runs enough for each bag to have its own: bags that share nothing."""


def test_clean_bags_for_a_limit() -> None:
    """29 clean bags that share nothing show at most 10 %, and succeed 56 % of the time at a true 2 %.

    Source: hand arithmetic, 0.9^29 = 0.0471 <= 0.05 < 0.9^28 = 0.0523 and 0.98^29 = 0.5566.
    """
    assert bags_needed(0, 0.10, runs=ALONE) == 29
    assert chance_of_few_losses([29], 0, risk=0.02, correlation=0) == pytest.approx(0.98**29, abs=1e-12)


@pytest.mark.parametrize("losses", [0, 1, 2, 5])
@pytest.mark.parametrize("limit", [0.05, 0.1, 0.2, 0.3])
def test_bags_needed_is_the_least(losses, limit) -> None:
    """The exact upper limit is within the accepted risk with so many bags and not with one fewer.

    Source: scipy's binomtest, the upper end of the two-sided 90 % Clopper-Pearson interval.
    """

    def upper(bags: int) -> float:
        return stats.binomtest(losses, bags).proportion_ci(0.90, method="exact").high

    bags = bags_needed(losses, limit, runs=ALONE)
    assert upper(bags) <= limit < upper(bags - 1)
    assert upper_limit(losses, bags) == pytest.approx(upper(bags), abs=1e-9)
    assert losses_allowed([1] * bags, limit) == losses
    assert losses_allowed([1] * (bags - 1), limit) == (losses - 1 if losses else None)


def test_bags_of_a_level_for_30_pct() -> None:
    """Of ten one loss is one too many (upper limit 0.3942), of six none is few enough (0.3930).

    Source: Clopper-Pearson limits 0/10 0.2589, 1/10 0.3942, 0/6 0.3930, computed with scipy.
    """
    assert losses_allowed([1] * 10, 0.30) == 0
    assert losses_allowed([1] * 6, 0.30) is None


@pytest.mark.parametrize(
    ("bags", "limits"),
    [
        (10, (0.2589, 0.3942, 0.5069, 0.6066)),
        (20, (0.1391, 0.2161, 0.2826, 0.3437)),
        (30, (0.0950, 0.1486, 0.1953, 0.2386)),
    ],
)
def test_upper_limits(bags, limits) -> None:
    """One-sided 95 % limits for 0 to 3 lost (source: Clopper-Pearson, computed with scipy)."""
    assert [upper_limit(k, bags) for k in range(4)] == pytest.approx(limits, abs=5e-5)


@pytest.mark.parametrize(
    ("bags", "limit"),
    [(6, 0.39304), (8, 0.31234), (12, 0.22092), (59, 0.04951), (60, 0.04870), (100, 0.02951)],
)
def test_limit_without_a_loss(bags, limit) -> None:
    """Source: 1 - 0.05^(1/n), by hand; the rule of three, 3/n, lies above."""
    assert upper_limit(0, bags) == pytest.approx(limit, abs=5e-6)
    assert upper_limit(0, bags) < 3 / bags


@pytest.mark.parametrize(("limit", "bags"), [(0.05, 59), (0.10, 29), (0.20, 14), (0.30, 9)])
def test_clean_bags_needed(limit, bags) -> None:
    """Source: the fewest n with 1 - 0.05^(1/n) within the limit, by hand."""
    assert bags_needed(0, limit, runs=ALONE) == bags


def test_limits_at_the_ends() -> None:
    """All lost: up to 1 and from 0.05^(1/n); none lost: from 0; no bag: nothing is known."""
    assert upper_limit(8, 8) == 1
    assert lower_limit(8, 8) == pytest.approx(0.05 ** (1 / 8))
    assert lower_limit(0, 8) == 0
    assert (lower_limit(0, 0), upper_limit(0, 0)) == (0, 1)


@pytest.mark.parametrize("lost", [1, 3, 9])
def test_lower_limit_agrees_with_reference(lost) -> None:
    """The lower end of scipy's 90 % Clopper-Pearson interval."""
    low = stats.binomtest(lost, 10).proportion_ci(0.90, method="exact").low
    assert lower_limit(lost, 10) == pytest.approx(low, abs=1e-9)


def test_bags_of_a_run_are_worth_less() -> None:
    """29 clean bags in runs of 8 with correlation 0.1 are worth about 17 (source: 29 / 1.7, by hand)."""
    assert effective_bags([8] * 4, 0.1) == pytest.approx(32 / 1.7)
    assert pytest.approx(17.06, abs=0.01) == 29 / (1 + 7 * 0.1)
    assert effective_bags([8, 7, 7, 7], 0.1) == pytest.approx(29 / (1 + 6.276 * 0.1), abs=0.001)
    assert effective_bags([29], 0) == 29
    assert effective_bags([5, 5], 1) == pytest.approx(2)
    assert effective_bags([], 0.1) == 0


def test_bags_needed_in_heat_runs() -> None:
    """The least that passes, more in fewer runs; and no number in two runs for 10 %.

    Source: bags of two runs are never worth 2 / 0.1 = 20, and 10 % needs 29; in four runs 0.8^14.1 = 0.043.
    """
    needed = [bags_needed(0, 0.2, runs=runs) for runs in (2, 4, 8)]
    assert needed == [37, 19, 15]
    for runs, bags in zip((2, 4, 8), needed, strict=True):
        assert losses_allowed(spread_evenly(bags, runs), 0.2) == 0
        assert losses_allowed(spread_evenly(bags - 1, runs), 0.2) is None
    assert bags_needed(0, 0.1, runs=2) is None


def test_spread_evenly() -> None:
    """No run is larger than another by more than a bag; no run stays empty."""
    assert spread_evenly(30, 4) == [8, 8, 7, 7]
    assert spread_evenly(2, 4) == [1, 1]


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
    for _ in range(16):
        times = rng.standard_normal((1000, strains, 2 * bags)) + 10 * np.arange(strains)[:, None]
        times[..., :bags] += difference_sd
        differences = 2 * times[..., splits].sum(axis=-1) - times.sum(axis=-1, keepdims=True)
        sums = np.zeros((1000, 1))
        for strain in range(strains):
            sums = (sums[:, :, None] + differences[:, strain, None, :]).reshape(1000, -1)
        as_far = (np.abs(sums) >= np.abs(sums[:, :1]) - 1e-9).mean(axis=1)
        found += int((as_far <= 0.05).sum())
    chance = chance_of_difference(bags, difference_sd, strains=strains)
    assert chance == pytest.approx(found / 16_000, abs=TWO_POINTS)
