"""Scores over time: each bag's series, its recent speed, its coverage at a given age."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import combinations
from math import isnan
from statistics import median

import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.growth.model import BagCurve, BagRecord, FloatSeries, GrowthSeries, Happening
from colscan.growth.records import records_of
from colscan.ledger import Ledger, numbers_of, places_holding, times_of, words_of
from colscan.ledger.columns import SEGMENT_ENDERS
from colscan.trial.model import Trial
from colscan.units import days_between, days_since, in_microseconds

SLOPE_SCORES = 3
"""Scores that the recent speed is taken from: two say nothing of a bad one, more would lag behind."""
SLOPE_GAP_DAYS = 0.5
"""Least time between them: over minutes the score's own noise would be the speed."""
SAME_AGE_DAYS = 0.5
"""Bags whose photos are half a day apart still count as of the same age."""


def curves_of(trial: Trial, ledger: Ledger) -> tuple[BagCurve, ...]:
    """Return what a chart shows of each bag: its series, onsets, events and call, in the plan's order."""
    cameras = _other_cameras(ledger)
    return tuple(_make_curve(record, cameras) for record in records_of(trial, ledger))


def curve_of(record: BagRecord, ledger: Ledger) -> BagCurve:
    """Return the same of one bag.

    Parameters
    ----------
    record : BagRecord
        What stands about it.
    ledger : Ledger
        The rows that count.
    """
    return _make_curve(record, _other_cameras(ledger))


def _other_cameras(ledger: Ledger) -> frozenset[str]:
    places = places_holding(ledger.photos, "problems", Flag.OTHER_CAMERA)
    return frozenset(ledger.photos[place].photo_sha256 for place in places)


def group_curves(curves: Sequence[BagCurve]) -> tuple[BagCurve, ...]:
    """Return a curve for each strain and treatment: its bags' median, and what four in five lie between.

    By whole days; a bag counts on those that its photos come within half a day of. Patches and events are
    left out.

    Parameters
    ----------
    curves : sequence of BagCurve
        Each with a measured photo.
    """
    groups: dict[tuple[str, str, str], list[BagCurve]] = {}
    for curve in curves:
        groups.setdefault((curve.bag.strain, curve.bag.treatment, curve.bag.role), []).append(curve)
    return tuple(_group_curve(group) for group in groups.values())


def _group_curve(group: list[BagCurve]) -> BagCurve:
    last = max(float(curve.series.days[-1]) for curve in group)
    days = np.arange(0.0, np.floor(last + SAME_AGE_DAYS) + 1.0)
    coverage = np.array([coverage_at(curve.series, days) for curve in group])
    seen = ~np.isnan(coverage).all(axis=0)
    low, middle, high = np.nanquantile(coverage[:, seen], (0.1, 0.5, 0.9), axis=0)
    bag = replace(group[0].bag, bag=f"{group[0].bag.treatment}: {len(group)}")
    series = GrowthSeries(
        bag=bag.bag, days=days[seen], coverage=middle, low=low, high=high,
        density=np.full(len(middle), np.nan), segment=np.zeros(len(middle), np.int64),
    )  # fmt: skip
    return BagCurve(record=BagRecord(bag=bag), series=series)


def make_series(record: BagRecord) -> GrowthSeries:
    """Return the series of one bag's rows."""
    rows = record.scores
    times = times_of(rows)
    return GrowthSeries(
        bag=record.bag.bag,
        days=_frozen(days_since(record.bag.inoculated_at, times)),
        coverage=_frozen(numbers_of(rows, "coverage_pct") / 100.0),
        low=_frozen(numbers_of(rows, "coverage_low_pct") / 100.0),
        high=_frozen(numbers_of(rows, "coverage_high_pct") / 100.0),
        density=_frozen(numbers_of(rows, "density_pct") / 100.0),
        segment=_segments(record, times),
    )


def _frozen(array: FloatSeries) -> FloatSeries:
    array.setflags(write=False)
    return array


def _segments(record: BagRecord, times: NDArray[np.int64]) -> NDArray[np.int64]:
    """The segment as scored, and one more for each ender that was entered after the photos that follow it."""
    scored = numbers_of(record.scores, "segment").astype(np.int64)
    enders = [event for event in record.events if event.what in SEGMENT_ENDERS]
    # Most bags stay in one.
    if enders or (len(scored) and scored[0] != scored[-1]):
        ended = np.zeros(len(scored), bool)
        ended[1:] = scored[1:] != scored[:-1]
        for event in enders:
            after = int(np.searchsorted(times, in_microseconds(event.at)))
            if 0 < after < len(times):
                ended[after] = True
        scored = scored[:1] + np.cumsum(ended)
    scored.setflags(write=False)
    return scored


def points_per_day(series: GrowthSeries, until_days: float = np.inf) -> float | None:
    """Return the recent speed in percentage points a day, None with fewer than two scores.

    The median of the slopes between the last up to three scores of the newest segment that are at least
    half a day apart, so that one bad score of three can't turn it (Theil 1950; Sen 1968,
    doi:10.1080/01621459.1968.10480934).

    Parameters
    ----------
    series : GrowthSeries
        One bag's scores.
    until_days : float
        Later scores are left out, days since inoculation.
    """
    # Step by step from the end: a few steps of plain numbers take less time than one look at them all.
    days, coverage, segment = series.days.item, series.coverage.item, series.segment.item
    picked: list[int] = []
    newer = np.inf
    for index in range(int(np.searchsorted(series.days, until_days, side="right")) - 1, -1, -1):
        if newer - days(index) < SLOPE_GAP_DAYS or isnan(coverage(index)):
            continue
        if picked and segment(index) != segment(picked[0]):
            break
        picked.append(index)
        newer = days(index)
        if len(picked) == SLOPE_SCORES:
            break
    slopes = [
        (coverage(later) - coverage(first)) / (days(later) - days(first))
        for later, first in combinations(picked, 2)
    ]
    return 100.0 * median(slopes) if slopes else None


def median_slope(days: FloatSeries, coverage: FloatSeries) -> float:
    """Return the median slope between all pairs of scores, percentage points a day.

    >>> round(median_slope(np.array([0.0, 1.0, 2.0]), np.array([0.10, 0.18, 0.30])), 6)
    10.0
    """
    first, later = _pairs(len(days))
    run, rise = days[later] - days[first], coverage[later] - coverage[first]
    return float(100.0 * np.median(rise[run != 0] / run[run != 0]))


@lru_cache(maxsize=256)
def _pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    first, later = np.triu_indices(count, 1)
    return first, later


def speed_at(series: GrowthSeries, until_days: FloatSeries) -> FloatSeries:
    """Return `points_per_day` until each of some ages, NaN for None."""
    counts = np.searchsorted(series.days[~np.isnan(series.coverage)], until_days, side="right")
    speeds = np.full(len(until_days), np.nan)
    for count in set(counts.tolist()):  # between two photos it is one and the same
        same = np.flatnonzero(counts == count)
        speed = points_per_day(series, float(until_days[same[0]]))
        speeds[same] = np.nan if speed is None else speed
    return speeds


def coverage_at(series: GrowthSeries, ages_days: FloatSeries) -> FloatSeries:
    """Return the coverage (fraction) at some ages, on the straight line between the scores around them.

    NaN where no segment of the series reaches an age within half a day; the newest that does counts.
    """
    measured = ~np.isnan(series.coverage)
    coverage = np.full(len(ages_days), np.nan)
    if not len(series.segment):
        return coverage
    for segment in range(series.segment[0], series.segment[-1] + 1):
        chosen = measured & (series.segment == segment)
        days = series.days[chosen]
        if days.size:
            near = (days[0] - SAME_AGE_DAYS <= ages_days) & (ages_days <= days[-1] + SAME_AGE_DAYS)
            coverage[near] = np.interp(ages_days[near], days, series.coverage[chosen])
    return coverage


def _make_curve(record: BagRecord, other_camera: Collection[str]) -> BagCurve:
    """`other_camera` are the photos (SHA-256) that were taken with another camera than the one before."""
    series = make_series(record)
    shas = words_of(record.scores, "photo_sha256") if other_camera else []
    changes = [days for days, sha in zip(series.days, shas, strict=False) if sha in other_camera]
    return BagCurve(
        record=record,
        series=series,
        happenings=tuple(
            Happening(
                what=event.what,
                days=days_between(record.bag.inoculated_at, event.at),
                shelf=event.name if event.scope == "shelf" else None,
            )
            for event in record.events
        )
        + tuple(Happening(what="other camera", days=float(days)) for days in changes),
    )
