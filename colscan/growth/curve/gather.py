"""The points of each bag's curves: scores of a segment up to a loss, padded to be fitted at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.growth.curve.angles import claimed_sd, to_angle
from colscan.growth.curve.model import Measure
from colscan.growth.curve.smooth import Scores
from colscan.growth.model import BagRecord, FloatSeries
from colscan.growth.outcomes import lost_span
from colscan.growth.records import records_of
from colscan.growth.series import make_series
from colscan.ledger import Ledger, words_of
from colscan.ledger.columns import SEGMENT_ENDERS
from colscan.trial.model import Bag, Trial
from colscan.units import days_between

MANY_SCORES = 1500
"""A trial of 40 bags seldom has more."""
ENOUGH_SCORES = 800
"""From so many it is known to within a twentieth how scores scatter: a larger trial needs no more bags."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """One bag's measured scores in one segment, before it was lost.

    Parameters
    ----------
    bag : Bag
        As planned.
    segment : int
        Which.
    began_days : float
        Age when the segment began.
    days, value, sd : ndarray, shape (N,)
        Age, fraction, and the claimed standard deviation on the arcsine scale.
    photos, keys : tuple of str, length N
        Names and SHA-256 of the photos.
    is_lost : bool
        Whether the bag was lost, so that no photo is to come.
    """

    bag: Bag
    segment: int
    began_days: float
    days: FloatSeries
    value: FloatSeries
    sd: FloatSeries
    photos: tuple[str, ...]
    keys: tuple[str, ...]
    is_lost: bool


def courses_of(
    trial: Trial, ledger: Ledger, measure: Measure, *, around: Bag | None = None
) -> tuple[Course, ...]:
    """Return the courses of all bags but blanks, in the plan's order; an empty one for a bag without a score.

    Scores from the photo on in which a loss showed are left out: what spreads then is not the mycelium.
    Given a bag to look `around` in a trial of more than `MANY_SCORES`, only it and those bags of its latest
    photo that make up `ENOUGH_SCORES` with it are returned.
    """
    records = [record for record in records_of(trial, ledger) if record.bag.role != "blank"]
    if around is not None and len(ledger.scores) > MANY_SCORES:
        records = _near(records, around)
    return tuple(course for record in records for course in _courses(record, measure))


def _near(records: list[BagRecord], around: Bag) -> list[BagRecord]:
    own = next((record for record in records if record.bag == around), None)
    if own is None or own.latest is None:
        return [own] if own else []
    photo, room, near = own.latest.photo_sha256, ENOUGH_SCORES - len(own.scores), [own]
    for record in records:
        if record is not own and words_of(record.scores[-1:], "photo_sha256") == [photo]:
            room -= len(record.scores)
            if room < 0:
                break
            near.append(record)
    return near


def _courses(record: BagRecord, measure: Measure) -> list[Course]:
    series, lost = make_series(record), lost_span(record)
    until = np.inf if lost is None else lost.by_days
    value = series.coverage if measure is Measure.COVERAGE else series.density
    sd = claimed_sd(series.coverage, series.low, series.high)
    ok = ~np.isnan(value) & (series.days < until)
    photos, keys = (words_of(record.scores, name) for name in ("photo", "photo_sha256"))
    courses = []
    for segment in np.unique(series.segment[ok]) if ok.any() else [0]:
        chosen = np.flatnonzero(ok & (series.segment == segment))
        courses.append(
            Course(
                bag=record.bag, segment=int(segment), began_days=_began_days(record, chosen),
                days=series.days[chosen], value=value[chosen], sd=sd[chosen],
                photos=tuple(photos[i] for i in chosen), keys=tuple(keys[i] for i in chosen),
                is_lost=lost is not None,
            )
        )  # fmt: skip
    return courses


def _began_days(record: BagRecord, chosen: NDArray[np.intp]) -> float:
    """Age at the last thing that begins a segment before its first score; 0 without one."""
    if not len(chosen):
        return 0.0
    first = record.scores[int(chosen[0])].taken_at
    enders = [event.at for event in record.events if event.what in SEGMENT_ENDERS and event.at <= first]
    return days_between(record.bag.inoculated_at, enders[-1]) if enders else 0.0


def pad(courses: Sequence[Course]) -> Scores:
    """Return the courses in one block, days counted from each one's first photo."""
    width = max(len(course.days) for course in courses)
    shape = (len(courses), width)
    days, angle, sd, used = np.zeros(shape), np.zeros(shape), np.ones(shape), np.zeros(shape, dtype=bool)
    for i, course in enumerate(courses):
        n = len(course.days)
        days[i, :n] = course.days - course.days[0]
        angle[i, :n], sd[i, :n], used[i, :n] = to_angle(course.value), course.sd, True
    return Scores(days=days, angle=angle, sd=sd, used=used)
