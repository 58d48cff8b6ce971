"""Limits of the share lost: what bags of a heat run are worth, pooled shares, the highest level."""

from __future__ import annotations

import numpy as np
import pytest
from hornbeam import make_bag

from colscan.growth.risk.followed import Fate, FollowedBag
from colscan.growth.risk.limits import (
    Rule,
    cells_of,
    correlation_to_use,
    estimate_correlation,
    highest_acceptable,
    judge_level,
    pool_levels,
)
from colscan.growth.risk.model import Level, LevelRisk
from colscan.trial.power import CORRELATION, upper_limit

INDEPENDENT = 0.0


def level_at(pct: float) -> Level:
    """Bran at a level; 0 is the control."""
    return Level(supplement="bran" if pct else "none", pct=pct)


def make_bags(
    lost: int,
    clean: int,
    *,
    pct: float = 4.0,
    runs: int = 1,
    fates: tuple[Fate, ...] = (),
    strain: str = "PO-3",
) -> list[FollowedBag]:
    """Bags of a level dealt over heat runs, the lost ones first."""
    bag = make_bag("B1", level=pct, strain=strain)
    every = [Fate.LOST] * lost + [Fate.CLEAN] * clean + [*fates]
    return [
        FollowedBag(
            bag=bag, trial="hornbeam", level=level_at(pct), cluster=f"R{i % runs}", fate=fate, at_worst=fate,
            looked_round=True,
        )
        for i, fate in enumerate(every)
    ]  # fmt: skip


def judge(
    lost: int, clean: int, *, accepted: float = 0.2, correlation: float = INDEPENDENT, **how
) -> LevelRisk:
    """What so many bags of a level show."""
    bags = make_bags(lost, clean, **how)
    return judge_level(
        bags[0].level, bags, Rule(accepted=accepted, correlation=correlation, clusters="heat run")
    )


def test_both_limits_stand_side_by_side() -> None:
    """29 clean bags: 9.8 % if they shared nothing, 16 % as 8, 7, 7 and 7 of four runs that count as 17.8.

    Source: 1 - 0.05^(1/29) = 0.09813 and 1 - 0.05^(1/17.8) by hand.
    """
    own = judge(0, 29, runs=4, correlation=0.1)
    assert own.limit_if_independent == pytest.approx(1 - 0.05 ** (1 / 29), abs=1e-12)
    assert own.effective == pytest.approx(29 / (1 + ((64 + 3 * 49) / 29 - 1) * 0.1), abs=1e-12)
    assert own.limit == pytest.approx(1 - 0.05 ** (1 / own.effective), abs=1e-12)
    assert own.high == own.limit
    assert (own.runs, own.followed, own.low) == (4, 29, 0.0)
    assert own.acceptable
    assert own.more is None


def test_bags_on_their_way_enter_no_limit() -> None:
    """Clean so far is not clean, and who left for another reason says nothing either."""
    own = judge(1, 9, fates=(Fate.RUNNING, Fate.RUNNING, Fate.GONE))
    assert (own.spawned, own.lost, own.clean, own.running, own.gone) == (13, 1, 9, 2, 1)
    assert own.limit == pytest.approx(0.3942, abs=5e-5)
    assert own.share == pytest.approx(0.1)


def test_suspects_are_the_upper_scenario() -> None:
    """A clean and a running bag with suspects that nobody called: at worst 2 of 10 are lost."""
    bags = make_bags(0, 8)
    worst = make_bags(2, 0)
    doubtful = [
        FollowedBag(
            bag=own.bag, trial=own.trial, level=own.level, cluster=own.cluster, fate=fate, at_worst=Fate.LOST,
            looked_round=False,
        )
        for own, fate in zip(worst, (Fate.CLEAN, Fate.RUNNING), strict=True)
    ]  # fmt: skip
    own = judge_level(
        level_at(4), [*bags, *doubtful], Rule(accepted=0.2, correlation=INDEPENDENT, clusters="heat run")
    )
    assert (own.lost, own.clean, own.running, own.suspects, own.not_looked_round) == (0, 9, 1, 2, 1)
    assert own.limit == pytest.approx(upper_limit(0, 9))
    assert own.limit_at_worst == pytest.approx(upper_limit(2, 10))


def test_without_a_followed_bag_nothing_is_said() -> None:
    """No limit, no share; how many would be enough is said all the same: 14 independent ones for 20 %."""
    own = judge(0, 0, fates=(Fate.RUNNING,))
    assert (own.limit, own.limit_if_independent, own.share, own.low) == (None, None, None, None)
    assert own.more == 14
    assert not own.acceptable


@pytest.mark.parametrize(("accepted", "bags"), [(0.05, 59), (0.1, 29), (0.2, 14), (0.3, 9)])
def test_how_many_more(accepted: float, bags: int) -> None:
    """Six clean bags want for the rest of those needed (source: 1 - 0.05^(1/n) <= limit, by hand)."""
    assert judge(0, 6, accepted=accepted).more == bags - 6


def test_more_bags_stand_in_runs_of_the_same_size() -> None:
    """In runs of eight bags count 1.7 times less: 0.8^(23 / 1.7) = 0.049, with 22 of them 0.056."""
    own = judge(0, 16, runs=2, correlation=0.1)
    assert (own.more, own.more_runs) == (23 - 16, 1)


def test_more_bags_don_t_help_a_level_that_is_over() -> None:
    """Three of ten lost is over 20 % as it stands."""
    assert judge(3, 7).more is None


def test_more_bags_help_a_level_that_is_at_the_limit() -> None:
    """One of five lost is 20 %; of 22 one would do: 0.8^22 + 22 x 0.2 x 0.8^21 = 0.048, of 21 it's 0.058."""
    assert judge(1, 4).more == 22 - 5


def test_highest_level_still_acceptable() -> None:
    """Ten bags a level, 0, 0, 1, 5 lost, limit 30 %: the second; the third fails though 1 of 10 looks fine.

    Source: one-sided 95 % Clopper-Pearson limits of 10 bags: 0.2589, 0.3942.
    """
    levels = [judge(k, 10 - k, pct=4.0 * i, accepted=0.3) for i, k in enumerate((0, 0, 1, 5))]
    assert [own.limit for own in levels[:3]] == pytest.approx([0.2589, 0.2589, 0.3942], abs=5e-5)
    assert highest_acceptable(levels) == level_at(4)


def test_no_level_is_skipped() -> None:
    """A level that passes above one that fails doesn't count."""
    levels = [judge(k, 10 - k, pct=4.0 * i, accepted=0.3) for i, k in enumerate((0, 1, 0))]
    assert highest_acceptable(levels) == level_at(0)


def test_six_bags_a_level_name_none() -> None:
    """With none of six lost nothing can pass 30 % (0.3930): three more a level, never a number."""
    levels = [judge(0, 6, pct=4.0 * i, accepted=0.3) for i in range(3)]
    assert highest_acceptable(levels) is None
    assert levels[0].limit == pytest.approx(0.3930, abs=5e-5)
    assert levels[0].more == 3


@pytest.mark.parametrize(
    ("lost", "bags", "pooled"),
    [
        ([0, 2, 1, 5], [10, 10, 10, 10], [0, 0.15, 0.15, 0.5]),
        ([3, 0, 0], [10, 10, 10], [0.1, 0.1, 0.1]),
        ([1, 0, 2], [10, 0, 10], [0.1, 0.1, 0.2]),
        ([0, 5], [0, 10], [0.5, 0.5]),
        ([0], [0], [None]),
    ],
)
def test_pooled_shares(lost, bags, pooled) -> None:
    """Neighbours out of order are pooled by their bags (source: PAVA on 0, 0.2, 0.1, 0.5, and by hand)."""
    assert pool_levels(lost, bags) == pytest.approx(pooled)


def test_pooled_shares_agree_with_reference() -> None:
    """The isotonic regression of scipy, on random counts."""
    from scipy.optimize import isotonic_regression

    rng = np.random.default_rng(2)
    for _ in range(50):
        bags = rng.integers(1, 30, 6)
        lost = rng.binomial(bags, 0.3)
        expected = isotonic_regression(lost / bags, weights=bags).x
        assert pool_levels(lost.tolist(), bags.tolist()) == pytest.approx(expected.tolist())


def _cells(*pairs: tuple[list[int], list[int]]):
    return [(np.array(lost, dtype=float), np.array(bags, dtype=float)) for lost, bags in pairs]


def test_correlation_by_hand() -> None:
    """One run lost whole and one kept whole: 1. Runs more alike than chance: -1. Nothing lost: unknown."""
    assert estimate_correlation(_cells(([0, 2], [2, 2]))) == pytest.approx(1)
    assert estimate_correlation(_cells(([1, 1], [2, 2]))) == pytest.approx(-1)
    assert estimate_correlation(_cells(([0, 0], [5, 5]), ([5, 5], [5, 5]))) is None
    assert estimate_correlation(_cells(([1], [5]))) is None


@pytest.mark.parametrize("correlation", [0.05, 0.2, 0.4])
def test_correlation_is_found_again(correlation: float) -> None:
    """400 runs of 8 bags with a beta-distributed risk each: within 0.05 of the true one."""
    rng = np.random.default_rng(4)
    spread = 1 / correlation - 1
    lost = rng.binomial(8, rng.beta(0.3 * spread, 0.7 * spread, 400))
    found = estimate_correlation([(lost.astype(float), np.full(400, 8.0))])
    assert found == pytest.approx(correlation, abs=0.05)


def test_correlation_to_use() -> None:
    """The estimate, at least the assumed 0.1, at most 1; 0.1 when the bags can't tell."""
    assert [correlation_to_use(r) for r in (None, -0.2, 0.05, 0.3, 1.2)] == [CORRELATION] * 3 + [0.3, 1.0]


def test_cells_are_of_one_strain_and_level() -> None:
    """Losses and bags by heat run; bags on their way are left out."""
    bags = [*make_bags(1, 3, runs=2, fates=(Fate.RUNNING,)), *make_bags(0, 2, runs=2, strain="PE-1")]
    cells = [(lost.tolist(), size.tolist()) for lost, size in cells_of(bags)]
    assert cells == [([1, 0], [2, 2]), ([0, 0], [1, 1])]
