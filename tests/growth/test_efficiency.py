"""Biological efficiency reproduces published tables."""

import dataclasses
import math

import pytest
from hornbeam import make_bag, make_trial

from colscan.errors import AnalysisError
from colscan.growth.efficiency import (
    biological_efficiency_pct,
    find_dry_substrate,
    find_dry_with_spawn,
)
from colscan.trial.model import RecipePlan

# Hericium erinaceus, straw-for-wood formulas, Horticulturae 2025 11(10):1220 (mdpi.com/2311-7524/11/10/1220),
# mean fresh weight in g and BE in %; 275 g dry substrate fits all ten and is inferred, not printed there.
STRAW = [
    (250.00, 90.91), (253.85, 92.31), (240.79, 87.56), (193.79, 70.47), (252.01, 91.64),
    (244.45, 88.89), (219.42, 79.79), (249.95, 90.89), (241.15, 87.69), (210.27, 76.46),
]  # fmt: skip


@pytest.mark.parametrize(("fresh_g", "published_pct"), STRAW)
def test_published_table(fresh_g, published_pct) -> None:
    """All ten formulas of the straw paper within 0.005 points."""
    assert biological_efficiency_pct(fresh_g, 275) == pytest.approx(published_pct, abs=0.005)


def test_published_single_values() -> None:
    """H. erinaceus 89.14 % (PMC11671258, 500 g dry inferred); Auricularia 58.85 % (400 g dry inferred).

    The second: Wu, Liang & Liang 2020, Agronomy, 235.4 g a bag.
    """
    assert biological_efficiency_pct(445.69, 500) == pytest.approx(89.14, abs=0.005)
    assert biological_efficiency_pct(235.4, 400) == pytest.approx(58.85, abs=0.005)


def test_moisture_that_a_paper_implies() -> None:
    """115.8 g from a kg of wet substrate at BE 37.3 % imply a moisture of 0.68954.

    Source: H. erinaceus on oak sawdust, abstract of "Lignocellulosic and proximate based compositional
    changes..." (discovery.researcher.life); the moisture computed by hand.
    """
    assert biological_efficiency_pct(115.8, 1000 * (1 - 0.68954)) == pytest.approx(37.3, abs=0.001)


@pytest.mark.parametrize(
    ("efficiency_pct", "yield_pct", "moisture"),
    [(261.1, 60.0, 0.7702), (240.6, 55.3, 0.7702), (213.3, 49.0, 0.7703), (170.9, 39.3, 0.7700)],
)
def test_over_100_pct_is_legal_and_agrees_with_the_yield(efficiency_pct, yield_pct, moisture) -> None:
    """BE = yield of wet substrate / (1 - moisture), the moisture within 0.0005 for four strains.

    Source: P. ostreatus on rice straw, Cayetano-Catarino et al. (ijastnet.com index/922).
    """
    dry_g = 1000 * yield_pct / efficiency_pct
    assert 1 - dry_g / 1000 == pytest.approx(moisture, abs=0.0005)
    assert biological_efficiency_pct(10 * yield_pct, dry_g) == pytest.approx(efficiency_pct, rel=1e-9)


def test_spawn_is_left_out() -> None:
    """450 g from 1000 g dry are 45.0 %; with 41.25 g dry spawn counted in it would be 43.2173 %.

    Source: hand arithmetic.
    """
    assert biological_efficiency_pct(450, 1000) == pytest.approx(45.0, rel=1e-9)
    assert biological_efficiency_pct(450, 1000 + 41.25) == pytest.approx(43.2173, abs=5e-5)


@pytest.mark.parametrize(
    ("fresh_g", "dry_g"), [(-1, 1000), (100, 0), (100, -5), (math.nan, 10), (10, math.nan)]
)
def test_weights_that_cannot_be(fresh_g, dry_g) -> None:
    """Refused, never a number."""
    with pytest.raises(AnalysisError, match="no efficiency"):
        biological_efficiency_pct(fresh_g, dry_g)


def test_dry_substrate_by_the_recipe() -> None:
    """Weighed first; else the recipe's moisture of what was filled; else the recipe's bag; else not known.

    By hand: 1000 g at 8 % and 4 % of it, 40 g of bran at 12 %, are 920 + 35.2 = 955.2 g dry; at 60 % wet
    2000 g filled are 800 g dry.
    """
    recipe = RecipePlan(
        main=("pellets, 1 kg, moisture 8%",), supplement=("bran, moisture 12%",), moisture_pct=60.0
    )
    trial = make_trial(recipe=recipe)
    weighed = find_dry_substrate(trial, make_bag("A1", dry_g=900.0, fill_wet_g=2000.0))
    assert (weighed.dry_g, weighed.source) == (900.0, "")
    filled = find_dry_substrate(trial, make_bag("A2", fill_wet_g=2000.0))
    assert filled.dry_g == pytest.approx(800.0)
    assert filled.source == "as filled, at the recipe's moisture"
    planned = find_dry_substrate(trial, make_bag("A3"))
    assert planned.dry_g == pytest.approx(955.2)
    assert planned.source == "by the recipe, not weighed"
    assert find_dry_substrate(make_trial(), make_bag("A4")) is None


def test_dry_matter_with_the_spawns() -> None:
    """75 g of spawn at 45 % moisture are 41.25 g dry: as weighed, else by the recipe; else not known."""
    recipe = RecipePlan(
        main=("pellets, 1 kg, moisture 8%",), moisture_pct=60.0, spawn="60 g", spawn_moisture_pct=45.0
    )
    trial = make_trial(recipe=recipe)
    bag = {"level": 0.0, "dry_g": 1000.0}
    weighed = find_dry_with_spawn(trial, make_bag("A1", spawn_g=75.0, **bag))
    assert (weighed.dry_g, weighed.source) == (pytest.approx(1041.25), "")
    planned = find_dry_with_spawn(trial, make_bag("A2", **bag))
    assert (planned.dry_g, planned.source) == (pytest.approx(1033.0), "spawn by the recipe, not weighed")
    assert find_dry_with_spawn(make_trial(), make_bag("A3", spawn_g=75.0, **bag)) is None
    bare = dataclasses.replace(recipe, spawn_moisture_pct=None)
    assert find_dry_with_spawn(make_trial(recipe=bare), make_bag("A4", spawn_g=75.0, **bag)) is None
    none = dataclasses.replace(bare, spawn=None)
    assert find_dry_with_spawn(make_trial(recipe=none), make_bag("A5", **bag)) is None
