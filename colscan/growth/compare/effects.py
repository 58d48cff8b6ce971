"""How large a difference is, with an interval that inverts the permutation test.

A treatment that makes every bag sooner by a number of days leaves nothing to find once these days are added
back. The days after which the test finds nothing more are the interval, those that leave no difference at
all the estimate (Hodges and Lehmann 1963, doi:10.1214/aoms/1177704172; over several levels Sen 1968,
doi:10.1080/01621459.1968.10480934).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from colscan.growth.compare.exchange import Labellings, jonckheere, one_sided_ps
from colscan.growth.curve import Estimate

Floats = NDArray[np.float64]

INTERVAL = 0.90
"""As for scores and curves. Each end alone is a one-sided test at 5 %."""
_STEPS = 12
"""Halvings of the range: 20 days become 0.005."""


def invert(later_at: Callable[[float], Floats], labellings: Labellings, *, widest: float) -> Estimate | None:
    """Return the shift that leaves no difference, with its interval; None when every shift does.

    Parameters
    ----------
    later_at : callable
        How surely each bag is later than each other once a shift is undone; 0 between blocks. The more is
        undone, the later bags of higher labels are.
    labellings : Labellings
        The true labels and their exchanges.
    widest : float
        No shift is farther from zero than this; an end of the interval there is infinite.
    """
    own = labellings.own[None, :]

    def statistic(shift: float) -> float:
        return float(jonckheere(later_at(shift), own)[0])

    def tails(shift: float) -> tuple[float, float]:
        later = later_at(shift)
        return one_sided_ps(jonckheere(later, labellings.dealt), float(jonckheere(later, own)[0]))

    if statistic(-widest) >= 0 or statistic(widest) <= 0:
        return None
    alpha = (1.0 - INTERVAL) / 2.0 + 1e-12
    rises = _first_true(lambda shift: statistic(shift) > -1e-9, -widest, widest)
    passes = _first_true(lambda shift: statistic(shift) > 1e-9, -widest, widest)
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
