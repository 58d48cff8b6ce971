"""Labels exchanged within blocks: counts, enumeration, Jonckheere's statistic, p-values, Holm."""

from __future__ import annotations

from math import comb, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from colscan.growth.compare.exchange import (
    count_labellings,
    deal_labels,
    holm,
    jonckheere,
    one_sided_ps,
    smallest_two_sided_p,
    two_sided_p,
)

# Groups; classical J, its expectation and its variance without ties. Sources: the ICU example of the MRC-CBU
# statistics wiki (its counts and its P of 0.005), a second one worked by hand, and the data of statext.com.
JONCKHEERE = (
    ([[7, 1, 2, 6, 11, 8], [4, 7, 16, 11, 21], [20, 25, 13, 9, 14, 11]], 77.0, 48.0, 129.0),
    ([[40, 35, 38, 43, 44, 41], [38, 40, 47, 44, 40, 42], [48, 40, 45, 43, 46, 44]], 79.0, 54.0, 153.0),
    ([[16, 8, 6], [27, 16, 15], [31, 29, 18, 42]], 30.5, 16.5, 27.25),
)


def _later(values: np.ndarray) -> np.ndarray:
    """Of values that are known: 1 where bag j's is the larger, -1 where the smaller."""
    return np.sign(values[None, :] - values[:, None])


def _data(groups: list[list[float]]) -> tuple[np.ndarray, list[int]]:
    labels = [label for label, group in enumerate(groups) for _ in group]
    return _later(np.concatenate(groups).astype(np.float64)), labels


@pytest.mark.parametrize(("groups", "j", "expected", "variance"), JONCKHEERE)
def test_jonckheere(groups: list[list[float]], j: float, expected: float, variance: float) -> None:
    """The classical J is half the sum of the statistic and the number of pairs, which is twice E."""
    later, labels = _data(groups)
    pairs = sum(len(a) * len(b) for i, a in enumerate(groups) for b in groups[i + 1 :])
    assert pairs == 2 * expected
    statistic = jonckheere(later, np.array([labels]))[0]
    assert (statistic + pairs) / 2 == j
    dealt = jonckheere(later, deal_labels(labels, ["all"] * len(labels)).dealt)
    assert dealt.mean() == pytest.approx(0.0, abs=0.5)
    assert dealt.var() / 4 == pytest.approx(variance, rel=0.03)


def test_jonckheere_s_variance_with_ties_is_exact() -> None:
    """Over all 4200 ways to deal 3, 3 and 4 labels; one tie (Hollander and Wolfe 1999, section 6.2)."""
    later, labels = _data(JONCKHEERE[2][0])
    labellings = deal_labels(labels, ["all"] * 10)
    assert (labellings.exact, len(labellings.dealt)) == (True, 4200)
    statistics = jonckheere(later, labellings.dealt)
    n, sizes, ties = 10, (3, 3, 4), (2,)
    first = n * (n - 1) * (2 * n + 5) - sum(k * (k - 1) * (2 * k + 5) for k in (*sizes, *ties))
    second = sum(k * (k - 1) * (k - 2) for k in sizes) * sum(t * (t - 1) * (t - 2) for t in ties)
    third = sum(k * (k - 1) for k in sizes) * sum(t * (t - 1) for t in ties)
    variance = first / 72 + second / (36 * n * (n - 1) * (n - 2)) + third / (8 * n * (n - 1))
    assert statistics.mean() == pytest.approx(0.0, abs=1e-12)
    assert statistics.var() / 4 == pytest.approx(variance)


@pytest.mark.parametrize(("data", "p"), [(JONCKHEERE[0], 0.0104112), (JONCKHEERE[1], 0.0414208)])
def test_jonckheere_s_p_is_near_the_normal_one(data: tuple, p: float) -> None:
    """scikit-posthocs' test_jonckheere gives these two-sided p (normal, corrected for ties)."""
    later, labels = _data(data[0])
    labellings = deal_labels(labels, ["all"] * len(labels))
    own = jonckheere(later, labellings.own[None, :])[0]
    assert two_sided_p(jonckheere(later, labellings.dealt), own) == pytest.approx(p, abs=0.004)


def test_two_labels_are_wilcoxon_mann_whitney() -> None:
    """4 against 4 without overlap: 2 of 70 ways, as scipy's exact Mann-Whitney test says."""
    from scipy.stats import mannwhitneyu

    rng = np.random.default_rng(1)
    for _ in range(5):
        x, y = rng.normal(size=4), rng.normal(0.7, 1.0, size=5)
        later, labels = _data([list(x), list(y)])
        labellings = deal_labels(labels, ["all"] * 9)
        own = jonckheere(later, labellings.own[None, :])[0]
        expected = mannwhitneyu(x, y, method="exact").pvalue
        assert two_sided_p(jonckheere(later, labellings.dealt), own) == pytest.approx(expected)


def test_tea_tasting() -> None:
    """Fisher's lady: all eight cups right has a one-sided p of 1/70; with one of each wrong 17/70."""
    labellings = deal_labels([0, 0, 0, 0, 1, 1, 1, 1], ["tea"] * 8)
    cups = _later(np.array([0.0, 0, 0, 0, 1, 1, 1, 1]))
    right = jonckheere(cups, labellings.own[None, :])
    assert one_sided_ps(jonckheere(cups, labellings.dealt), right)[1] == pytest.approx(1 / 70)
    one_wrong = _later(np.array([0.0, 0, 0, 1, 0, 1, 1, 1]))
    own = jonckheere(one_wrong, labellings.own[None, :])
    assert one_sided_ps(jonckheere(one_wrong, labellings.dealt), own)[1] == pytest.approx(17 / 70)


def test_labels_stay_in_their_blocks() -> None:
    """Each block keeps its labels in every way, enumerated or drawn; drawn ones begin with the true one."""
    labels, blocks = [0, 0, 1, 1, 1, 0, 1, 2], ["a", "b", "a", "b", "a", "a", "b", "b"]
    for most in (10_000, 20):
        labellings = deal_labels(labels, blocks, most=most)
        for block in "ab":
            own = [at for at, name in enumerate(blocks) if name == block]
            there = sorted(labels[at] for at in own)
            assert (np.sort(labellings.dealt[:, own], axis=1) == there).all()
    assert not labellings.exact
    assert (labellings.dealt[0] == labels).all()
    assert len(labellings.dealt) == 20


@given(st.lists(st.tuples(st.integers(0, 2), st.sampled_from("ab")), min_size=1, max_size=8))
def test_every_way_comes_once(bags: list[tuple[int, str]]) -> None:
    """As many different ways as counted, the true one among them; twice the same."""
    labels, blocks = [label for label, _ in bags], [block for _, block in bags]
    labellings = deal_labels(labels, blocks)
    different = len(np.unique(labellings.dealt, axis=0))
    assert different == len(labellings.dealt) == count_labellings(labels, blocks)
    assert (labellings.dealt == labels).all(axis=1).any()


def test_drawn_ways_are_the_same_twice() -> None:
    """The seed is fixed."""
    labels = [0] * 10 + [1] * 10
    first, second = (deal_labels(labels, ["all"] * 20).dealt for _ in range(2))
    assert (first == second).all()


@pytest.mark.parametrize("bags", [3, 4, 5])
def test_p_is_uniform_over_all_ways(bags: int) -> None:
    """Exactness: over every true labelling, p <= a comes in at most a share a, with equality where it can."""
    rng = np.random.default_rng(bags)
    later = _later(rng.normal(size=2 * bags))
    labellings = deal_labels([0] * bags + [1] * bags, ["all"] * (2 * bags))
    statistics = jonckheere(later, labellings.dealt)
    ps = np.array([two_sided_p(statistics, float(own)) for own in statistics])
    for p in np.unique(ps):
        assert (ps <= p + 1e-12).mean() == pytest.approx(p)
    assert smallest_two_sided_p(labellings) == pytest.approx(2 / comb(2 * bags, bags)) == ps.min()


def test_a_drawn_p_is_near_the_exact_one() -> None:
    """12,870 ways to deal 8 and 8: as many drawn ones as are tried give p to 3 standard errors."""
    rng = np.random.default_rng(3)
    later = _later(np.concatenate([rng.normal(size=8), rng.normal(0.9, 1.0, size=8)]))
    labels = [0] * 8 + [1] * 8
    exact, drawn = (deal_labels(labels, ["all"] * 16, most=most) for most in (20_000, 10_000))
    own = float(jonckheere(later, exact.own[None, :])[0])
    p, guessed = (two_sided_p(jonckheere(later, way.dealt), own) for way in (exact, drawn))
    assert (exact.exact, drawn.exact) == (True, False)
    assert guessed == pytest.approx(p, abs=3 * sqrt(p * (1 - p) / 10_000))


def test_holm() -> None:
    """Holm 1979 on .01, .04, .03, .005; never over 1; none for none."""
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx((0.03, 0.06, 0.06, 0.02))
    assert holm([0.6, 0.7]) == (1.0, 1.0)
    assert holm([]) == ()
