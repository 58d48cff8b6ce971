"""Scores over time: each bag's series, its recent speed, its coverage at a given age."""

from __future__ import annotations

from collections.abc import Collection
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.growth.model import BagCurve, BagRecord, FloatSeries, GrowthSeries, Happening, Onset
from colscan.growth.records import call_on, is_alarm, records_of, standing_calls
from colscan.ledger import Ledger
from colscan.ledger.columns import SEGMENT_ENDERS, SuspectRow
from colscan.trial.model import Trial
from colscan.units import days_between

SLOPE_SCORES = 3
"""Scores that the recent speed is taken from: two say nothing of a bad one, more would lag behind."""
SLOPE_GAP_DAYS = 0.5
"""Least time between them: over minutes the score's own noise would be the speed."""
SAME_AGE_DAYS = 0.5
"""Bags whose photos are half a day apart still count as of the same age."""


def series_of(trial: Trial, ledger: Ledger) -> tuple[GrowthSeries, ...]:
    """Return each bag's scores over time, in the plan's order; empty series for bags without a photo.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    """
    return tuple(make_series(record) for record in records_of(trial, ledger))


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
    return frozenset(row.photo_sha256 for row in ledger.photos if Flag.OTHER_CAMERA in row.problems)


def make_series(record: BagRecord) -> GrowthSeries:
    """Return the series of one bag's rows."""
    rows = record.scores
    return GrowthSeries(
        bag=record.bag.bag,
        days=_frozen([days_between(record.bag.inoculated_at, row.taken_at) for row in rows]),
        coverage=_fractions([row.coverage_pct for row in rows]),
        low=_fractions([row.coverage_low_pct for row in rows]),
        high=_fractions([row.coverage_high_pct for row in rows]),
        density=_fractions([row.density_pct for row in rows]),
        segment=_segments(record),
        flags=tuple(row.flags for row in rows),
    )


def _frozen(values: list[float]) -> FloatSeries:
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def _fractions(percents: list[float | None]) -> FloatSeries:
    return _frozen([np.nan if percent is None else percent / 100.0 for percent in percents])


def _segments(record: BagRecord) -> NDArray[np.int64]:
    """The segment as scored, and one more for each ender that was entered after the photos that follow it."""
    enders = [event.at for event in record.events if event.what in SEGMENT_ENDERS]
    segment, segments = 0, []
    for i, row in enumerate(record.scores):
        before = record.scores[i - 1] if i else row
        ended = row.segment != before.segment or any(before.taken_at < at <= row.taken_at for at in enders)
        segment = segment + ended if i else row.segment
        segments.append(segment)
    array = np.array(segments, dtype=np.int64)
    array.setflags(write=False)
    return array


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
    measured = np.flatnonzero(~np.isnan(series.coverage) & (series.days <= until_days))
    picked: list[int] = []
    for index in measured[::-1]:
        if picked and series.segment[index] != series.segment[picked[0]]:
            break
        if not picked or series.days[picked[-1]] - series.days[index] >= SLOPE_GAP_DAYS:
            picked.append(int(index))
        if len(picked) == SLOPE_SCORES:
            break
    return None if len(picked) < 2 else median_slope(series.days[picked], series.coverage[picked])


def median_slope(days: FloatSeries, coverage: FloatSeries) -> float:
    """Return the median slope between all pairs of scores, percentage points a day.

    >>> round(median_slope(np.array([0.0, 1.0, 2.0]), np.array([0.10, 0.18, 0.30])), 6)
    10.0
    """
    pairs = combinations(range(len(days)), 2)
    slopes = [(coverage[j] - coverage[i]) / (days[j] - days[i]) for i, j in pairs if days[j] != days[i]]
    return float(100.0 * np.median(slopes))


def coverage_at(series: GrowthSeries, age_days: float) -> float | None:
    """Return the coverage (fraction) at an age, on the straight line between the scores around it.

    None where no segment of the series reaches that age within half a day.
    """
    measured = ~np.isnan(series.coverage)
    for segment in np.unique(series.segment)[::-1]:
        chosen = measured & (series.segment == segment)
        days = series.days[chosen]
        if days.size and days[0] - SAME_AGE_DAYS <= age_days <= days[-1] + SAME_AGE_DAYS:
            return float(np.interp(age_days, days, series.coverage[chosen]))
    return None


def _make_curve(record: BagRecord, other_camera: Collection[str]) -> BagCurve:
    """`other_camera` are the photos (SHA-256) that were taken with another camera than the one before."""
    calls = standing_calls(record)
    changes = [row.taken_at for row in record.scores if row.photo_sha256 in other_camera]
    return BagCurve(
        bag=record.bag,
        series=make_series(record),
        onsets=onsets_of(record),
        happenings=tuple(
            Happening(
                what=event.what,
                days=days_between(record.bag.inoculated_at, event.at),
                shelf=event.name if event.scope == "shelf" else None,
            )
            for event in record.events
        )
        + tuple(
            Happening(what="other camera", days=days_between(record.bag.inoculated_at, at)) for at in changes
        ),
        contaminated=any(call.patch is None and call.call == "contaminated" for call in calls),
    )


def onsets_of(record: BagRecord) -> tuple[Onset, ...]:
    """Return when each alarming patch of a bag came, in order of time; never the day of a verdict."""
    calls = standing_calls(record)
    first: dict[str, SuspectRow] = {}
    for suspect in record.suspects:
        first.setdefault(suspect.patch, suspect)
    alarms = [suspect for suspect in first.values() if is_alarm(suspect, calls)]
    return tuple(
        Onset(
            patch=suspect.patch,
            kind=suspect.kind,
            after_days=_last_without_days(record, suspect),
            by_days=days_between(record.bag.inoculated_at, suspect.taken_at),
            call=call_on(suspect, calls),
        )
        for suspect in alarms
    )


def _last_without_days(record: BagRecord, first: SuspectRow) -> float | None:
    # A photo in which the bag could not be measured can't show that the patch wasn't there.
    before = [row for row in record.scores if row.taken_at < first.taken_at and row.coverage_pct is not None]
    return days_between(record.bag.inoculated_at, before[-1].taken_at) if before else None
