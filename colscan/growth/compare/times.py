"""When the bags of a treatment came to a milestone, and what had become of all of them by each day."""

from __future__ import annotations

import math
from collections.abc import Sequence
from math import comb

import numpy as np

from colscan.growth.compare.model import DayCount, Step, TimesAtLevel
from colscan.growth.compare.npmle import NEVER_AFTER_DAYS, npmle
from colscan.growth.model import FloatSeries
from colscan.growth.outcomes import Milestone, Outcome, Span

NOT_SEEN_DAYS = 3.0
"""A bag whose last photo is older is no longer followed; people miss a day, and a bag hides in a photo."""
_TAIL = 0.05
"""Chance left out at each end of the interval of a median."""
_SMALLEST_MASS = 1e-6


def times_at(
    outcomes: Sequence[Outcome],
    scope: str,
    milestone: Milestone,
    *,
    warmth: Sequence[Span | None] | None = None,
) -> TimesAtLevel:
    """Return when the bags of one treatment came to a milestone, all bags spawned counted.

    A bag that was lost before never comes, so that the share at the end is that of all bags spawned: the
    sub-distribution of a competing risk. The interval of the median are order statistics of the ends
    (binomial; Conover 1999, ISBN 978-0-471-16068-7, section 3.2), whatever becomes of bags still open.

    Parameters
    ----------
    outcomes : sequence of Outcome
        The treatment's bags.
    scope : str
        As said in the result.
    milestone : Milestone
        Which.
    warmth : sequence of Span or None, optional
        The same times in degree-days, None where no log tells.
    """
    spans = [outcome.reached(milestone) for outcome in outcomes]
    came = [span.came for span in spans]
    lost = [not there and outcome.lost is not None for there, outcome in zip(came, outcomes, strict=True)]
    left = [outcome.left is not None and not there for there, outcome in zip(came, outcomes, strict=True)]
    after, by = _ends(spans, lost)
    estimate = npmle(after, by)
    earliest, latest = _median_interval(after, by)
    rises = [k for k in range(len(estimate.mass)) if estimate.mass[k] > _SMALLEST_MASS]
    shares = np.cumsum(estimate.mass)
    steps = tuple(
        Step(after_days=float(estimate.after[k]), by_days=float(estimate.by[k]), share=float(shares[k]))
        for k in rises
        if math.isfinite(estimate.by[k])
    )
    bag = outcomes[0].bag
    return TimesAtLevel(
        scope=scope,
        treatment=bag.treatment,
        supplement_pct=bag.supplement_pct,
        milestone=milestone,
        bags=len(outcomes),
        heat_runs=count_heat_runs(outcomes),
        came=sum(came),
        lost=sum(lost),
        running=len(outcomes) - sum(came) - sum(lost) - sum(left),
        left=sum(left),
        median=estimate.quantile(0.5),
        earliest_days=earliest,
        latest_days=latest,
        steps=steps,
        median_degree_days=_median_warmth(warmth, lost),
    )


def count_heat_runs(outcomes: Sequence[Outcome]) -> int:
    """Return how many heat runs are named for these bags."""
    return len({outcome.bag.heat_run for outcome in outcomes} - {None})


def _ends(spans: Sequence[Span], lost: Sequence[bool]) -> tuple[FloatSeries, FloatSeries]:
    after = [NEVER_AFTER_DAYS if gone else span.after_days for span, gone in zip(spans, lost, strict=True)]
    return np.array(after), np.array([span.by_days for span in spans])


def _median_interval(after: FloatSeries, by: FloatSeries) -> tuple[float, float]:
    bags = len(after)
    # Half of all times are before the median: how many of these bags' are is binomial. The k-th bag comes
    # after the median with at most the tail's chance; with so few bags that none does, nothing is bounded.
    chances = np.cumsum([comb(bags, before) for before in range(bags)]) / 2.0**bags
    k = int((chances <= _TAIL).sum())
    if k == 0:
        return 0.0, math.inf
    earliest = float(np.sort(after)[k - 1])
    return math.inf if earliest >= NEVER_AFTER_DAYS else earliest, float(np.sort(by)[bags - k])


def _median_warmth(warmth: Sequence[Span | None] | None, lost: Sequence[bool]) -> Span | None:
    if warmth is None:
        return None
    known = [span for span in warmth if span is not None]
    return npmle(*_ends(known, lost)).quantile(0.5) if len(known) == len(warmth) else None


def days_of(outcomes: Sequence[Outcome], scope: str, until_days: float) -> tuple[DayCount, ...]:
    """Return what had become of the bags of one treatment by each whole day, to the first after their photos.

    Of bags that are full, lost or gone it is known for good: where all are, to the last of all photos.

    Parameters
    ----------
    outcomes : sequence of Outcome
        The treatment's bags.
    scope : str
        As said in the result.
    until_days : float
        Age to which the bags of any treatment were followed.
    """
    settled = all(one.lost is not None or one.left or one.full.came for one in outcomes)
    # The day after the latest photo is the first that counts what it showed.
    last = math.ceil(until_days if settled else max(outcome.followed_days for outcome in outcomes))
    return tuple(_count(outcomes, scope, float(day)) for day in range(last + 1))


def headline(days: Sequence[DayCount], scope: str) -> tuple[DayCount, ...]:
    """Return the counts of a scope by the latest day that every treatment's bags have come to.

    Bags that nobody has photographed set no day; of them no more is known than on day 0.

    Parameters
    ----------
    days : sequence of DayCount
        Of all scopes, treatments and days.
    scope : str
        A strain's code, or `ALL_STRAINS`.
    """
    own = [count for count in days if count.scope == scope]
    latest = {count.treatment: count.day for count in own}
    day = min((last for last in latest.values() if last), default=0.0)
    return tuple(count for count in own if count.day == min(day, latest[count.treatment]))


def _count(outcomes: Sequence[Outcome], scope: str, day: float) -> DayCount:
    states = [_state(outcome, day) for outcome in outcomes]
    return DayCount(
        scope=scope,
        treatment=outcomes[0].bag.treatment,
        day=day,
        bags=len(outcomes),
        full=states.count("full"),
        lost=states.count("lost"),
        running=states.count("running"),
        gone=states.count("gone"),
    )


def _state(outcome: Outcome, day: float) -> str:
    if outcome.lost is not None and outcome.lost.by_days <= day:
        return "lost"
    if outcome.full.by_days <= day:
        return "full"
    allowed = 0.0 if outcome.left else NOT_SEEN_DAYS
    return "gone" if outcome.lost is None and outcome.followed_days + allowed < day else "running"
