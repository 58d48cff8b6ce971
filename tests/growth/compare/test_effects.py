"""Effects with intervals: the shift that leaves no difference, by inverting the permutation test."""

from __future__ import annotations

import math

import numpy as np
import pytest

from colscan.growth.compare.effects import DRAWS, draw_times, invert, score
from colscan.growth.compare.exchange import Labellings, deal_labels
from colscan.growth.curve import Estimate


def _labels(*counts: int) -> Labellings:
    labels = [label for label, count in enumerate(counts) for _ in range(count)]
    return deal_labels(labels, ["all"] * len(labels))


def _shift_spans(
    after: np.ndarray, by: np.ndarray, labellings: Labellings, doses: np.ndarray
) -> Estimate | None:
    times, came, together = draw_times(after, by), np.isfinite(by), np.ones((len(by), len(by)), dtype=bool)
    return invert(lambda shift: score(times + shift * doses, came, together), doses, labellings, widest=50.0)


def _shift(values: list[float], labellings: Labellings, doses: list[float]) -> Estimate | None:
    """Of times that are known."""
    return _shift_spans(np.array(values), np.array(values), labellings, np.array(doses))


def test_two_groups_give_hodges_and_lehmann() -> None:
    """The median of all pairwise differences; the interval ends where Wilcoxon's tables say.

    With 5 against 5 the lower 5 % point of U is 4, so the 90 % interval runs from the 5th smallest to the
    5th largest of the 25 differences (Hollander and Wolfe 1999, section 4.3).
    """
    rng = np.random.default_rng(2)
    x, y = rng.normal(10, 1, 5), rng.normal(8, 1, 5)
    effect = _shift([*x, *y], _labels(5, 5), [0.0] * 5 + [1.0] * 5)
    differences = np.sort(np.subtract.outer(x, y).ravel())
    assert effect is not None
    assert effect.value == pytest.approx(np.median(differences), abs=0.03)
    assert (effect.low, effect.high) == pytest.approx((differences[4], differences[20]), abs=0.05)


def test_a_slope_is_adichie_s() -> None:
    """The median of all pairwise slopes, weighted by the distance of their doses; sooner is positive."""
    doses = [0.0, 0.0, 0.0, 4.0, 4.0, 4.0, 12.0, 12.0, 12.0]
    times = [10.0, 10.7, 11.5, 9.1, 9.9, 10.3, 7.2, 8.4, 9.3]
    pairs = [(i, j) for i in range(9) for j in range(9) if doses[i] < doses[j]]
    slopes = sorted(((times[i] - times[j]) / (doses[j] - doses[i]), doses[j] - doses[i]) for i, j in pairs)
    weights = np.cumsum([weight for _, weight in slopes])
    median = slopes[int(np.searchsorted(weights, weights[-1] / 2))][0]
    effect = _shift(times, _labels(3, 3, 3), doses)
    assert effect is not None
    assert effect.value == pytest.approx(median, abs=0.03)
    assert 0 < effect.low < effect.value < effect.high


def test_too_few_bags_leave_the_interval_open() -> None:
    """2 against 2: no end can be rejected at 5 %."""
    effect = _shift([10.0, 11.0, 8.0, 9.0], _labels(2, 2), [0.0, 0.0, 1.0, 1.0])
    assert effect is not None
    assert effect.value == pytest.approx(2.0, abs=0.05)
    assert (effect.low, effect.high) == (-math.inf, math.inf)


def test_nothing_to_order_gives_no_effect() -> None:
    """Bags that are all open have no order, whatever the shift."""
    doses = np.array([0.0, 0.0, 1.0, 1.0])
    assert _shift_spans(np.full(4, 5.0), np.full(4, math.inf), _labels(2, 2), doses) is None


def test_bags_of_one_interval_bound_the_effect_by_its_length() -> None:
    """All eight came between day 6 and 9: nothing tells them apart, and up to days may hide there."""
    doses = np.repeat([0.0, 1.0], 4)
    effect = _shift_spans(np.full(8, 6.0), np.full(8, 9.0), _labels(4, 4), doses)
    assert effect is not None
    assert effect.value == pytest.approx(0.0, abs=0.5)
    assert effect.low < -0.7
    assert effect.high > 0.7


def test_scores_of_open_times() -> None:
    """A bag open since day 5 is later than one of day 4, and not told apart from one of day 6 or open too."""
    times, came = np.array([[4.0, 6.0, 5.0, 5.0]]), np.array([True, True, False, False])
    together = np.ones((4, 4), dtype=bool)
    assert score(times, came, together).tolist() == [[-3.0, 1.0, 1.0, 1.0]]
    apart = together & ~(np.arange(4)[:, None] // 3 != np.arange(4)[None, :] // 3)
    assert score(times, came, apart).tolist() == [[-2.0, 1.0, 1.0, 0.0]]


def test_drawn_times_lie_within() -> None:
    """Between the photos; what had not come stays where it was last seen; the same twice."""
    after, by = np.array([1.0, 3.0]), np.array([2.5, math.inf])
    times = draw_times(after, by)
    assert times.shape == (DRAWS, 2)
    assert ((times[:, 0] >= 1.0) & (times[:, 0] <= 2.5)).all()
    assert (times[:, 1] == 3.0).all()
    assert (times == draw_times(after, by)).all()


@pytest.mark.parametrize("shift", [0.0, 1.3, -2.6])
def test_daily_photos_don_t_coarsen_the_shift(shift: float) -> None:
    """Times known to a day only: shift and interval are those of the exact times to a quarter of a day."""
    rng = np.random.default_rng(7)
    times = np.concatenate([rng.normal(12, 1.2, 30), rng.normal(12 - shift, 1.2, 30)])
    after, doses = np.floor(times), np.repeat([0.0, 1.0], 30)
    found = _shift_spans(after, after + 1.0, _labels(30, 30), doses)
    exact = _shift(list(times), _labels(30, 30), list(doses))
    assert found is not None
    assert exact is not None
    assert (found.value, found.low, found.high) == pytest.approx(
        (exact.value, exact.low, exact.high), abs=0.25
    )
