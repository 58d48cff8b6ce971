"""How large a difference is, with an interval that inverts a permutation test.

A treatment that makes every bag sooner by a number of days leaves nothing to find once these days are added
back. The days after which a test finds nothing more are the interval, those that leave no difference at all
the estimate (Hodges and Lehmann 1963, doi:10.1214/aoms/1177704172; over several doses Adichie 1967,
doi:10.1214/aoms/1177698883).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from colscan.growth.compare.exchange import Labellings, one_sided_ps
from colscan.growth.compare.model import SEED
from colscan.growth.curve import Estimate
from colscan.growth.model import FloatSeries

INTERVAL = 0.90
"""As for scores and curves. Each end alone is a one-sided test at 5 %."""
DRAWS = 24
"""Times drawn for each bag from its interval. With other seeds an end of the effect's interval moves by 1 to
3 % of its width (standard deviation; 16 bags, daily photos)."""
_STEPS = 12
"""Halvings of the range: 20 days become 0.005."""
_ROUNDING = 1e-9


def draw_times(after: FloatSeries, by: FloatSeries) -> FloatSeries:
    """Return times within the intervals, as often as `DRAWS`; of what had not come, when it was last seen.

    Inside its interval nothing says where a time lies. Bags of one interval would be ordered by the smallest
    shift and the effect seem exact, had they all its middle. The second half of the draws mirrors the first,
    so that what is tied stays so on average.

    Parameters
    ----------
    after, by : ndarray, shape (N,)
        Each time lies in (after, by], days; `by` infinite for what had not come.

    Returns
    -------
    ndarray, shape (DRAWS, N)
        Days, drawn with `SEED`.
    """
    half = np.random.default_rng(SEED).random((DRAWS // 2, len(after)))
    share = np.concatenate([half, 1.0 - half])
    came = np.isfinite(by)
    return after + np.where(came, share * (np.where(came, by, after) - after), 0.0)


def score(times: FloatSeries, came: NDArray[np.bool_], together: NDArray[np.bool_]) -> FloatSeries:
    """Return of how many bags of its block each is later, less of how many it is sooner.

    What had not come is later than what came before it was last seen, and not told apart from the rest
    (Gehan 1965, doi:10.1093/biomet/52.1-2.203).

    Parameters
    ----------
    times : ndarray, shape (D, N)
        Days; of what had not come, when it was last seen.
    came : ndarray of bool, shape (N,)
        Whether it had.
    together : ndarray of bool, shape (N, N)
        Whether two bags share a block.
    """
    order = np.sign(times[:, None, :] - times[:, :, None])
    passed = (times[:, None, :] >= times[:, :, None]) * 1.0
    other, own = came[:, None], came[None, :]
    order = np.where(
        other & own, order, np.where(other, passed, np.where(own, -passed.transpose(0, 2, 1), 0))
    )
    return np.asarray((order * together).sum(axis=1))


def invert(
    score_at: Callable[[float], FloatSeries], doses: FloatSeries, labellings: Labellings, *, widest: float
) -> Estimate | None:
    """Return the shift per dose that leaves no difference, with its interval; None when every shift does.

    The statistic is the sum of dose times score. Its mean over the draws is held against what exchanged
    labels give in all draws: the true times scatter as the drawn ones do, and their mean doesn't.

    Parameters
    ----------
    score_at : callable
        Scores, shape (D, N), once a shift is undone. The more is undone, the later bags of higher doses are.
    doses : ndarray, shape (N,)
        Each bag's, one for each label.
    labellings : Labellings
        The true labels and their exchanges.
    widest : float
        No shift is farther from zero than this; an end of the interval there is infinite.
    """
    dose_of = np.zeros(int(labellings.own.max()) + 1)
    dose_of[labellings.own] = doses
    dealt = dose_of[labellings.dealt]

    def statistic(shift: float) -> float:
        return float((score_at(shift) @ doses).mean())

    def tails(shift: float) -> tuple[float, float]:
        scores = score_at(shift)
        return one_sided_ps(dealt @ scores.T, float((scores @ doses).mean()))

    if statistic(-widest) >= 0 or statistic(widest) <= 0:
        return None
    alpha = (1.0 - INTERVAL) / 2.0 + _ROUNDING
    rises = _first_true(lambda shift: statistic(shift) > -_ROUNDING, -widest, widest)
    passes = _first_true(lambda shift: statistic(shift) > _ROUNDING, -widest, widest)
    value = (rises + passes) / 2.0
    low, high = -math.inf, math.inf
    if tails(-widest)[0] <= alpha:
        low = _first_true(lambda shift: tails(shift)[0] > alpha, -widest, value)
    if tails(widest)[1] <= alpha:
        high = _first_true(lambda shift: tails(shift)[1] <= alpha, value, widest)
    return Estimate(value=value, low=low, high=high)


def _first_true(holds: Callable[[float], bool], low: float, high: float) -> float:
    """Where a condition that holds at the high end begins to hold."""
    for _ in range(_STEPS):
        middle = (low + high) / 2.0
        low, high = (low, middle) if holds(middle) else (middle, high)
    return (low + high) / 2.0
