"""Each bag's curves: trend and model, fitted to all bags of a trial at once.

Half and 90 % days are the trend's, not the model's: a front from the top, a bag of two speeds or one that
was shaken follow none of the models, and an interval that a wrong model gives is too narrow. The model
serves for what has no meaning without one: greatest rate, lag, asymptote.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from colscan.growth.curve.angles import to_angle, to_share
from colscan.growth.curve.choice import Chosen, choose
from colscan.growth.curve.descent import Targets, fit_models
from colscan.growth.curve.gather import Course, courses_of, pad
from colscan.growth.curve.model import BagFit, ErrorParts, Estimate, Measure, OutlierPhoto
from colscan.growth.curve.parts import divide_errors
from colscan.growth.curve.reach import Band, Missed, make_band, reach
from colscan.growth.curve.smooth import USUAL, Scores, Spread, find_spread, smooth, surprise
from colscan.ledger import Ledger
from colscan.trial.model import Bag, Trial

LEAST_POINTS = 5
LEAST_DAYS = 2.0
"""Photos of one day show no growth, however many they are."""
LEAST_GREATEST = 0.5
"""A course that has not come to half tells neither asymptote nor rate: many curves pass it."""
SHARES = (0.5, 0.9)
WHY_MISSED = {
    Missed.BEFORE: "{share} was reached before its first photo",
    Missed.NOT_YET: "too early to say {share}: not reached yet",
    Missed.OPEN: "too early to say {share}: perhaps reached, more photos will tell",
}
MODEL_SD = 0.03
"""No model is trusted nearer than that: else the sure scores near 0 and 100 %, where real growth begins and
ends more abruptly than any of the models, would make the middle of the climb too steep."""
CLIMBING = (0.03, 0.97)
GRID = 250
"""Steps of the trend over a segment: a tenth of a day in a spawn run of usual length."""
BEYOND_DAYS = 2.0
"""How far behind the last photo the band's lower edge may pass a share; further on it is too early to say."""
FAR_OFF, VERY_FAR_OFF = 4.0, 6.0
"""Deviations of an outlier photo (1 in 16,000 by chance); and before the trial's own scatter is known."""
OFF_FRACTION = 0.05
"""Nearer than that is no outlier, however sure: a few points are the face's outline."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Trends:
    """The trends of all courses, and what the scores' errors are made of."""

    scores: Scores
    spread: Spread
    parts: ErrorParts
    bands: tuple[Band, ...]


def fit_bag(trial: Trial, ledger: Ledger, bag: Bag, *, measure: Measure) -> tuple[BagFit, ...]:
    """Return one bag's curves, one a segment.

    What bags share is found from the whole trial, in one of more than `MANY_SCORES` from this bag and
    others of its latest photo.

    Parameters
    ----------
    trial, ledger, measure
        As `fit_bags` has them.
    bag : Bag
        One of the plan.
    """
    fits = _fit_courses(courses_of(trial, ledger, measure, around=bag), measure)
    return tuple(fit for fit in fits if fit.bag == bag)


def fit_bags(trial: Trial, ledger: Ledger, *, measure: Measure = Measure.COVERAGE) -> tuple[BagFit, ...]:
    """Return each bag's curves, one a segment, in the plan's order; blanks are left out.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    measure : Measure
        What is followed. Half and 90 % of density are of its asymptote.
    """
    return _fit_courses(courses_of(trial, ledger, measure), measure)


def _fit_courses(courses: Sequence[Course], measure: Measure) -> tuple[BagFit, ...]:
    fitted = [course for course in courses if _is_long_enough(course)]
    fits = iter(_fit(fitted, measure) if fitted else ())
    return tuple(next(fits) if _is_long_enough(course) else _unfitted(course, measure) for course in courses)


def _is_long_enough(course: Course) -> bool:
    return len(course.days) >= LEAST_POINTS and bool(course.days[-1] - course.days[0] >= LEAST_DAYS)


def _unfitted(course: Course, measure: Measure) -> BagFit:
    n = len(course.days)
    had = f"{n or 'no'} photo{'s' if n > 1 else ''} of it"
    few = f"no curve: {had} from before its loss" if course.is_lost else f"too early to say: {had} yet"
    return BagFit(
        bag=course.bag, measure=measure, segment=course.segment, began_days=course.began_days, points=n,
        why_not=f"{few}, a curve takes {LEAST_POINTS} over {LEAST_DAYS:g} days",
    )  # fmt: skip


def _fit(courses: Sequence[Course], measure: Measure) -> list[BagFit]:
    trends = _find_trends(courses)
    scores = trends.scores
    models = fit_models(_targets(scores, trends))
    chosen = choose(
        models,
        scores.used.sum(axis=1),
        trends.bands,
        span_days=np.array([course.days[-1] - course.days[0] for course in courses]),
    )
    return [
        _bag_fit(course, trends, i, model, measure)
        for i, (course, model) in enumerate(zip(courses, chosen, strict=True))
    ]


def _targets(scores: Scores, trends: _Trends) -> Targets:
    """The scores as fractions. Their errors are taken at what the trend says, not at what they read."""
    starts = [band.days[0] for band in trends.bands]
    course = np.array(
        [
            np.interp(start + days, band.days, band.value)
            for start, days, band in zip(starts, scores.days, trends.bands, strict=True)
        ]
    )
    share = to_share(course)
    sd = scores.sd * 2.0 * np.sqrt(share * (1.0 - share))
    own = np.sqrt(trends.spread.visible * sd**2 + MODEL_SD**2)
    return Targets(
        days=scores.days,
        value=to_share(scores.angle),
        own_sd=own,
        shared_sd=np.sqrt(trends.parts.bag) * sd,
        used=scores.used,
    )


def _find_trends(courses: Sequence[Course]) -> _Trends:
    everything = pad(courses)
    spread = find_spread(_climbing(_without_outliers(everything, USUAL, VERY_FAR_OFF)))
    scores = _without_outliers(everything, spread, FAR_OFF)
    parts = divide_errors(scores, spread, [course.keys for course in courses])
    last = (scores.days * everything.used).max(axis=1)
    grid = np.linspace(0.0, 1.0, GRID + 1) * (last + BEYOND_DAYS)[:, None]
    value, sd = smooth(scores, spread, grid, bag_share=parts.bag)
    starts = [course.days[0] for course in courses]
    bands = tuple(
        make_band(start + grid[i], value[i], sd[i], last_days=float(start + last[i]))
        for i, start in enumerate(starts)
    )
    return _Trends(scores=scores, spread=spread, parts=parts, bands=bands)


def _climbing(scores: Scores) -> Scores:
    """Leave out bare and white bags: where scores are cut off at 0 or 100 %, they don't show their errors.

    The others stand together at the front: what they cost grows with the cube of the block's width.
    """
    share = to_share(scores.angle)
    used = scores.used & (share >= CLIMBING[0]) & (share <= CLIMBING[1])
    rows = used.sum(axis=1) >= 3  # two points lie on any line
    width = max(used.sum(axis=1).max(), 1)
    front = np.argsort(~used[rows], axis=1, kind="stable")[:, :width]
    days, angle, sd, used = (
        np.take_along_axis(block[rows], front, axis=1)
        for block in (scores.days, scores.angle, scores.sd, used)
    )
    return Scores(days=days, angle=angle, sd=sd, used=used)


def _without_outliers(scores: Scores, spread: Spread, far_off: float) -> Scores:
    """Leave out, bag by bag, the score that lies furthest off the others, as long as one is far off.

    At most a fifth of a bag's scores: more of them are no outliers, but a course that isn't understood.
    """
    room = np.minimum(scores.used.sum(axis=1) // 5, scores.used.sum(axis=1) - LEAST_POINTS)
    for gone in range(int(room.max())):
        deviation, expected = surprise(scores, spread)
        off = np.abs(to_share(scores.angle) - to_share(expected)) >= OFF_FRACTION
        deviation = np.where(off & (room > gone)[:, None], np.abs(deviation), 0.0)
        worst = deviation >= np.maximum(deviation.max(axis=1, keepdims=True), far_off)
        if not worst.any():
            break
        scores = replace(scores, used=scores.used & ~worst)
    return scores


def _bag_fit(course: Course, trends: _Trends, i: int, model: Chosen, measure: Measure) -> BagFit:
    used, band = trends.scores.used[i, : len(course.days)], trends.bands[i]
    fit = BagFit(
        bag=course.bag, measure=measure, segment=course.segment, began_days=course.began_days,
        points=int(used.sum()), outliers=_outliers(course, used, band),
    )  # fmt: skip
    greatest = float(course.value[used].max())
    if measure is Measure.COVERAGE and greatest < LEAST_GREATEST:
        return replace(
            fit,
            why_not=f"too early to say: it has come to {100 * greatest:.0f} %, a curve takes half",
        )
    whole = 1.0
    if measure is Measure.DENSITY:
        if model.asymptote is None:
            return replace(fit, why_not="too early to say: how white it will be in the end is open")
        whole = model.asymptote.value
    half, ninety = (reach(band, float(to_angle(np.array(share * whole)))) for share in SHARES)
    return replace(
        fit,
        model=model.model,
        asymptote=model.asymptote,
        rate_per_day=model.rate_per_day,
        lag_days=model.lag_days,
        half_days=_day(half, course.began_days),
        ninety_days=_day(ninety, course.began_days),
        why_not="; ".join(_gaps(model, half, ninety)),
    )


def _day(came: Estimate | Missed, began_days: float) -> Estimate | None:
    """It can't have come before the segment began."""
    return None if isinstance(came, Missed) else replace(came, low=max(came.low, began_days))


def _gaps(model: Chosen, half: Estimate | Missed, ninety: Estimate | Missed) -> list[str]:
    told = [
        f"{WHY_MISSED[came].format(share=share)}"
        for share, came in (("half", half), ("90 %", ninety))
        if isinstance(came, Missed)
    ]
    figures = {"greatest rate": model.rate_per_day, "when it leapt off": model.lag_days}
    missing = [name for name, figure in figures.items() if figure is None]
    return told + ([f"not enough photos of the climb to say: {', '.join(missing)}"] if missing else [])


def _outliers(course: Course, used: NDArray[np.bool_], band: Band) -> tuple[OutlierPhoto, ...]:
    expected = to_share(np.interp(course.days, band.days, band.value))
    return tuple(
        OutlierPhoto(
            photo=course.photos[i],
            days=float(course.days[i]),
            value=float(course.value[i]),
            expected=float(expected[i]),
        )
        for i in np.flatnonzero(~used)
    )
