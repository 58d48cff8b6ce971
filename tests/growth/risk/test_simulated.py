"""The rule on simulated trials with a known truth; tests/bench/simulate_risk.py has all figures."""

from __future__ import annotations

import numpy as np
import pytest
from hornbeam import make_bag
from simulate_risk import Truth, draw, name_level, score_rule, sizes_of, trend_found

from colscan.growth.risk.followed import Fate, FollowedBag
from colscan.growth.risk.limits import (
    Rule,
    cells_of,
    correlation_to_use,
    estimate_correlation,
    highest_acceptable,
    judge_level,
)
from colscan.growth.risk.model import Level

FIVE_PERCENT = 0.05


@pytest.mark.parametrize("correlation", [0.0, 0.1, 0.2])
def test_an_unacceptable_level_is_seldom_named(correlation: float) -> None:
    """30 bags a level in 4 heat runs, the third at a true 20 %: named in at most 5 % of 500 trials."""
    truth = Truth(risks=(0.02, 0.05, 0.2, 0.5), correlation=correlation)
    found = score_rule(truth, accepted=0.2, trials=500)
    assert found.wrong <= FIVE_PERCENT
    assert found.any > 0.4


def test_independent_bags_limit_would_not_do() -> None:
    """With correlation 0.2 the limit of independent bags names it in more than 10 %."""
    truth = Truth(risks=(0.02, 0.05, 0.2, 0.5), correlation=0.2)
    assert score_rule(truth, accepted=0.2, trials=500, shared=False).wrong > 2 * FIVE_PERCENT


@pytest.mark.parametrize("luck", ["run", "batch"])
def test_the_trend_test_keeps_its_level(luck: str) -> None:
    """No trend, correlation 0.1: found in at most 6.5 % of 400 trials and their chance (1.2 points)."""
    truth = Truth(risks=(0.2, 0.2, 0.2), correlation=0.1, luck=luck)
    assert trend_found(truth, trials=400) <= 0.065 + 0.012


def test_the_simulation_names_what_the_report_does() -> None:
    """Bags one by one through the report's own steps give the same level as the counts."""
    truth = Truth(risks=(0.02, 0.05, 0.2, 0.5), correlation=0.2)
    sizes = sizes_of(truth)
    bag = make_bag("B1")
    for lost in draw(truth, 15, np.random.default_rng(7)):
        bags = [
            FollowedBag(
                bag=bag, trial="hornbeam", level=Level(supplement="bran", pct=4.0 * level), cluster=f"R{run}",
                fate=fate, at_worst=fate, looked_round=True,
            )
            for level, run in np.ndindex(*sizes.shape)
            for number in range(sizes[level, run])
            for fate in [Fate.LOST if number < lost[level, run] else Fate.CLEAN]
        ]  # fmt: skip
        rule = Rule(
            accepted=0.2,
            correlation=correlation_to_use(estimate_correlation(cells_of(bags))),
            clusters="heat run",
        )
        kinds = dict.fromkeys(own.level for own in bags)
        levels = [judge_level(kind, [own for own in bags if own.level == kind], rule) for kind in kinds]
        named = name_level(lost, sizes, accepted=0.2, shared=True)
        assert highest_acceptable(levels) == (None if named < 0 else levels[named].level)
