"""Trend of losses over levels: Cochran and Armitage, exact and by exchanging batches."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest
from scipy import stats

from colscan.growth.risk.trend import (
    SEED,
    Stratum,
    armitage_z,
    exact_p,
    judge_trend,
    p_of_batches,
    smallest_p,
)

MALFORMATIONS, BIRTHS = (48, 38, 5, 1, 1), (17114, 14502, 793, 127, 38)


def stratum(pcts, lost, bags) -> Stratum:
    """One heat run."""
    return Stratum(pcts=tuple(pcts), lost=tuple(lost), bags=tuple(bags))


@pytest.mark.parametrize(
    ("scores", "z", "p"),
    [
        ((0, 0.5, 1.5, 4, 8), 2.660599, 0.0078),
        ((1, 2, 3, 4, 5), 1.351967, 0.1764),
        ((0, 0.5, 1.5, 4, 7), 2.563227, 0.010370),
    ],
)
def test_z_of_malformations(scores, z, p) -> None:
    """The statistic and its two-sided normal p.

    Source: Graubard and Korn (1988) data, z as published by a maker of exact tests and in Agresti's book.
    """
    found = armitage_z([stratum(scores, MALFORMATIONS, BIRTHS)])
    assert found == pytest.approx(z, abs=1e-6)
    assert 2 * stats.norm.sf(found) == pytest.approx(p, abs=5e-5)


def test_exact_p_of_malformations() -> None:
    """Exact conditional p, one-sided 0.015769 (published 0.0158) and two-sided 0.01588 (0.0159)."""
    one, two = exact_p([stratum((0, 0.5, 1.5, 4, 8), MALFORMATIONS, BIRTHS)])
    assert one == pytest.approx(0.015769, abs=1e-6)
    assert two == pytest.approx(0.01588, abs=5e-6)


def test_a_trial_s_shape() -> None:
    """0, 0, 2, 5 of 10 at 0, 10, 20, 30 %: z 3.163646, exact one-sided 15660 of 18643560 ways."""
    run = [stratum((0, 10, 20, 30), (0, 0, 2, 5), (10,) * 4)]
    assert armitage_z(run) == pytest.approx(3.163646, abs=1e-6)
    assert exact_p(run)[0] == pytest.approx(15660 / 18643560, rel=1e-9)


@pytest.mark.parametrize("lost", [(0, 5), (1, 4), (3, 1)])
def test_two_levels_are_fisher_s_test(lost) -> None:
    """With two levels the exact test is that of scipy's fisher_exact."""
    one, _ = exact_p([stratum((0, 8), lost, (10, 12))])
    table = [[lost[1], 12 - lost[1]], [lost[0], 10 - lost[0]]]
    assert one == pytest.approx(stats.fisher_exact(table, alternative="greater").pvalue, rel=1e-9)


def test_exact_p_within_heat_runs() -> None:
    """Every choice of lost bags in two runs, tried one by one."""
    runs = [stratum((0, 4, 8), (0, 1, 1), (2, 2, 2)), stratum((0, 4), (0, 2), (2, 2))]
    first, second = np.repeat((0, 4, 8), 2), np.repeat((0, 4), 2)
    sums = np.array(
        [
            first[list(a)].sum() + second[list(b)].sum()
            for a, b in product(permutations(range(6), 2), permutations(range(4), 2))
        ]
    )
    seen = 0 + 4 + 8 + 2 * 4
    one, two = exact_p(runs)
    assert one == pytest.approx((sums >= seen).mean())
    assert two == pytest.approx((np.abs(sums - sums.mean()) >= abs(seen - sums.mean()) - 1e-9).mean())


def test_runs_that_differ_are_no_trend() -> None:
    """The run that holds the high level is bad for all its levels: pooled a trend, within runs none."""
    runs = [stratum((0, 4), (1, 1), (10, 10)), stratum((4, 8), (8, 8), (10, 10))]
    assert armitage_z(runs) == pytest.approx(0)
    pooled = armitage_z([stratum((0, 4, 8), (1, 9, 8), (10, 20, 10))])
    assert pooled > 3


def test_batches_exchanged_by_hand() -> None:
    """Four runs of two levels, all losses at the upper one: 2 of 16 ways are as far apart."""
    runs = [stratum((0, 8), (0, 3), (5, 5)) for _ in range(4)]
    assert smallest_p(runs) == 2 / 16
    assert p_of_batches(runs) == pytest.approx(2 / 16)
    # Too few ways: bags are exchanged one by one instead.
    assert judge_trend(runs, interim=False).exchanged == "bags"


def test_many_batches_are_drawn() -> None:
    """Six runs of three levels: 46 656 ways, 9,999 drawn; near the p of all ways, and the same each time."""
    runs = [stratum((0, 4, 8), (0, 1, 1 + i % 3), (5, 5, 5)) for i in range(6)]
    every = np.zeros(1)
    for run in runs:
        excess = np.array(run.lost) - sum(run.lost) / 3
        every = np.add.outer(every, [np.dot(o, excess) for o in permutations(run.pcts)]).ravel()
    seen = sum(np.dot(run.pcts, run.lost) - 4 * sum(run.lost) for run in runs)
    trend = judge_trend(runs, interim=False)
    assert trend.p == pytest.approx((np.abs(every) >= seen - 1e-9).mean(), abs=0.004)
    assert trend.p == judge_trend(runs, interim=False).p
    assert (trend.exchanged, trend.seed) == ("batches", SEED)


@pytest.mark.parametrize(
    ("runs", "why"),
    [
        ([stratum((4,), (1,), (5,))], "fewer than two levels"),
        ([stratum((0, 4), (0, 0), (5, 5))], "no bag was lost"),
        ([stratum((0, 4), (5, 5), (5, 5))], "every bag was lost"),
        ([stratum((0,), (1,), (5,)), stratum((4,), (3,), (5,))], "can't be told apart"),
        ([stratum((0, 4), (5, 5), (5, 5)), stratum((0, 4), (0, 0), (5, 5))], "lost some of its bags"),
        ([], "fewer than two levels"),
    ],
)
def test_no_p_value_and_why(runs, why) -> None:
    """Nothing to compare is said, and why."""
    trend = judge_trend(runs, interim=False)
    assert (trend.p, trend.z) == (None, None)
    assert why in trend.why_not


def test_interim_carries_no_p_value() -> None:
    """The statistic stays."""
    trend = judge_trend([stratum((0, 10, 20, 30), (0, 0, 2, 5), (10,) * 4)], interim=True)
    assert trend.p is None
    assert trend.z == pytest.approx(3.163646, abs=1e-6)
    assert "interim" in trend.why_not
