"""How much faster one level grows than another, with its interval."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from colscan.growth.curve.model import BagFit, Estimate
from colscan.growth.model import FloatSeries

LEAST_BAGS = 2
"""Of each level: one bag shows no spread."""
LEVEL = 0.90


def ratio_of_rates(level: Sequence[BagFit], control: Sequence[BagFit]) -> Estimate | None:
    """Return the ratio of the mean greatest rates with its 90 % interval; None with too few bags.

    Of the logarithms, with variances that may differ (Welch 1947, doi:10.1093/biomet/34.1-2.28): bags of a
    level differ by more than their rates are unsure, and the spread between bags holds both. What a wrong
    model adds to all rates of a trial falls out of the ratio, and so does what the bags of a photo share.

    Parameters
    ----------
    level, control : sequence of BagFit
        One fit a bag; those without a rate are passed over.
    """
    from scipy.special import stdtrit

    one, other = _log_rates(level), _log_rates(control)
    if min(len(one), len(other)) < LEAST_BAGS:
        return None
    errors = np.array([rates.var(ddof=1) / len(rates) for rates in (one, other)])
    spare = np.array([len(one), len(other)]) - 1
    difference = one.mean() - other.mean()
    if errors.sum() == 0.0:
        half = 0.0
    else:
        freedom = errors.sum() ** 2 / (errors**2 / spare).sum()
        half = stdtrit(freedom, (1.0 + LEVEL) / 2) * np.sqrt(errors.sum())
    value, low, high = np.exp(np.array([difference, difference - half, difference + half])).tolist()
    return Estimate(value=value, low=low, high=high)


def _log_rates(fits: Sequence[BagFit]) -> FloatSeries:
    return np.log([fit.rate_per_day.value for fit in fits if fit.rate_per_day is not None])
