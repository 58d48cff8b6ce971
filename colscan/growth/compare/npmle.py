"""The distribution of times that are known only to lie between two photos, without a model.

Intervals are half-open, (after, by]: what is seen on day 4 and not on day 3 did not happen at the same time
as what is seen on day 5 and not on day 4. Closed intervals would let both happen on day 4.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from colscan.errors import AnalysisError
from colscan.growth.model import FloatSeries
from colscan.growth.outcomes import Span

NEVER_AFTER_DAYS = float(np.finfo(np.float64).max)
"""Start of the span of what never comes: later than all that is still open at the end."""
_GAP = 1e-6
"""The likelihood's derivative exceeds 1 by at most this: no mass moved elsewhere gains more, a bag."""
_MOST_STEPS = 20_000
_CHECK_EVERY = 20


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Npmle:
    """Masses on the shortest spans that the data can tell apart; inside a span nothing says where it lies.

    Parameters
    ----------
    after, by : ndarray, shape (K,)
        Ends of the spans, days, in order of time.
    mass : ndarray, shape (K,)
        Share of bags, fraction; they add up to 1.
    held : ndarray, shape (N, K)
        Each bag's own masses: what the estimate says of it within its interval; rows add up to 1.
    log_likelihood : float
        At these masses.
    """

    after: FloatSeries
    by: FloatSeries
    mass: FloatSeries
    held: FloatSeries
    log_likelihood: float

    def quantile(self, share: float) -> Span:
        """Return when this share of bags (fraction) has come; open where it hasn't."""
        k = int(np.searchsorted(np.cumsum(self.mass), share - 1e-9))
        if k >= len(self.mass) or math.isinf(self.by[k]):
            came = np.isfinite(self.by)
            return Span(after_days=float(self.by[came].max(initial=0.0)), by_days=math.inf)
        return Span(after_days=float(self.after[k]), by_days=float(self.by[k]))


def npmle(after: FloatSeries, by: FloatSeries) -> Npmle:
    """Return the non-parametric maximum-likelihood estimate of interval-censored times.

    Self-consistent masses by expectation-maximization (Turnbull 1976, doi:10.1111/j.2517-6161.1976.tb01597.x)
    on the innermost spans, until the derivative of the likelihood shows that no other masses are better
    (Gentleman and Geyer 1994, doi:10.1093/biomet/81.3.618).

    Parameters
    ----------
    after, by : ndarray, shape (N,)
        Each time lies in (after, by], days; `by` infinite for what had not come, `after` at
        `NEVER_AFTER_DAYS` for what never will.

    Raises
    ------
    AnalysisError
        When there is no interval, or one is empty.
    """
    if not len(after) or not (after < by).all():
        msg = "Times can't be estimated: no interval, or one that ends before it begins."
        raise AnalysisError(msg, "Compare bags that have photos.")
    starts, ends = _innermost(after, by)
    inside = (after[:, None] <= starts) & (ends <= by[:, None])
    mass = np.full(len(starts), 1.0 / len(starts))
    for step in range(_MOST_STEPS):
        gain = (inside / (inside @ mass)[:, None]).mean(axis=0)
        if step % _CHECK_EVERY == 0 and gain.max() <= 1.0 + _GAP:
            break
        mass = mass * gain
    mass /= mass.sum()
    chance = inside @ mass
    return Npmle(
        after=starts,
        by=ends,
        mass=mass,
        held=inside * mass / chance[:, None],
        log_likelihood=float(np.log(chance).sum()),
    )


def _innermost(after: FloatSeries, by: FloatSeries) -> tuple[FloatSeries, FloatSeries]:
    """Return the spans between a start and the end that follows it with no other start or end between."""
    days = np.concatenate([after, by])
    is_start = np.repeat([True, False], [len(after), len(by)])
    # At one and the same day ends come first: (3, 4] and (4, 5] have nothing in common.
    order = np.lexsort((is_start, days))
    days, is_start = days[order], is_start[order]
    first = np.flatnonzero(is_start[:-1] & ~is_start[1:])
    return days[first], days[first + 1]
