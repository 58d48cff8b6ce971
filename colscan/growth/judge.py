"""What to do with each bag today, and why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cache

import numpy as np

from colscan.growth.departure import LEFT_THE_TRIAL, missing_since
from colscan.growth.full import judge_full, looks_full, well_areas_pct
from colscan.growth.look import count_alarms, judge_look, shelves_seen_at
from colscan.growth.model import Advice, BagRecord, BagStatus, FloatSeries, GrowthSeries, Judgement
from colscan.growth.records import records_of
from colscan.growth.series import (
    SAME_AGE_DAYS,
    coverage_at,
    make_series,
    median_slope,
    points_per_day,
    speed_at,
)
from colscan.ledger import Ledger, Seen
from colscan.ledger.columns import VerdictRow
from colscan.trial.model import Bag, Limits, Trial
from colscan.units import days_between, to_fraction

PAST_THE_RUN = ("opened", "fruiting")


_Group = tuple[str, str, float]
"""Strain, supplement and level: bags of one are siblings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Siblings:
    """The other sound bags of a bag's strain and treatment, at its own age.

    Parameters
    ----------
    coverage : float or None
        Their median coverage (fraction) at that age; None without one that was photographed then.
    points_per_day : float or None
        Their median speed at that age.
    """

    coverage: float | None
    points_per_day: float | None


def judge_bags(trial: Trial, ledger: Ledger, now: datetime) -> tuple[BagStatus, ...]:
    """Return each bag's latest score and what to do with it, in the plan's order.

    In this order: what people said of the bag (discarded, retired, contaminated, missing), reasons to look,
    then the growth. Nothing is called ready before somebody turned it and looked. No reason names a strain
    or treatment: it is read by who judges, too.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    now : datetime
        Today, aware: decides whether a full bag's days of consolidation are over.
    """
    records = records_of(trial, ledger)
    series = {record.bag.bag: make_series(record) for record in records}
    sound: dict[_Group, list[GrowthSeries]] = {}
    for record in records:
        if record.bag.role == "trial" and not _contaminating_calls(record):
            sound.setdefault(_group(record.bag), []).append(series[record.bag.bag])
    seen_at = shelves_seen_at(records)
    ages: dict[_Group, set[float]] = {}
    for record in records:
        if record.latest:
            ages.setdefault(_group(record.bag), set()).add(float(series[record.bag.bag].days[-1]))

    @cache
    def paces_of(group: _Group) -> _Paces:
        return _Paces(sound.get(group, []), np.array(sorted(ages[group])))

    statuses = []
    for record in records:
        own = series[record.bag.bag]
        judgement = _judge(
            record,
            own,
            trial=trial,
            paces_of=paces_of,
            others_seen_at=seen_at.get(record.shelf),
            now=now,
        )
        statuses.append(_status_of(record, own, judgement=judgement))
    return tuple(statuses)


def _group(bag: Bag) -> _Group:
    return bag.strain, bag.supplement, bag.supplement_pct


def _status_of(record: BagRecord, series: GrowthSeries, *, judgement: Judgement) -> BagStatus:
    latest = record.latest
    return BagStatus(
        bag=record.bag.bag,
        strain=record.bag.strain,
        treatment=record.bag.treatment,
        taken_at=latest.taken_at if latest else None,
        day=float(series.days[-1]) if latest else None,
        coverage=to_fraction(latest.coverage_pct) if latest else None,
        low=to_fraction(latest.coverage_low_pct) if latest else None,
        high=to_fraction(latest.coverage_high_pct) if latest else None,
        density=to_fraction(latest.density_pct) if latest else None,
        points_per_day=points_per_day(series),
        suspects=count_alarms(record),
        advice=judgement.advice,
        why=judgement.why,
    )


def _judge(
    record: BagRecord,
    series: GrowthSeries,
    *,
    trial: Trial,
    paces_of: Callable[[_Group], _Paces],
    others_seen_at: datetime | None,
    now: datetime,
) -> Judgement:
    said = _judge_said(record, trial) or judge_look(record, others_seen_at)
    if said is not None:
        return said
    if record.latest is None:
        return Judgement(advice=Advice.WAIT, why="no photo yet")
    if record.bag.role == "blank":
        return Judgement(advice=Advice.BLANK, why="sealed without spawn: what it reads is the scorer's zero")
    past = [event for event in record.events if event.what in PAST_THE_RUN]
    if past:
        age = days_between(record.bag.inoculated_at, past[-1].at)
        return Judgement(advice=Advice(past[-1].what), why=f"{past[-1].what} since day {age:.1f}")
    full = judge_full(record, trial, now)
    if full is not None:
        return full
    siblings = paces_of(_group(record.bag)).siblings_of(series)
    return _judge_stalled(series, siblings=siblings, trial=trial) or _judge_growing(
        record, series, siblings=siblings, trial=trial
    )


def _contaminating_calls(record: BagRecord) -> list[VerdictRow]:
    return [call for call in record.standing_calls if call.call == "contaminated"]


def _judge_said(record: BagRecord, trial: Trial) -> Judgement | None:
    """The state that people have given a bag."""
    calls = _contaminating_calls(record)
    gone = [event for event in record.events if event.what in LEFT_THE_TRIAL]
    if gone:
        when = gone[-1].at.astimezone(trial.zone).date()
        detail = f": {gone[-1].detail}" if gone[-1].detail else ""
        why = f"{gone[-1].what} on {when}{detail}{'; called contaminated' if calls else ''}"
        return Judgement(advice=Advice(gone[-1].what), why=why)
    if record.discards:
        return Judgement(advice=Advice.DISCARDED, why=_describe_discard(record, trial))
    if calls:
        return Judgement(advice=Advice.CONTAMINATED, why=_describe_call(record, calls[-1], trial))
    missing = missing_since(record)
    if missing is None:
        return None
    return Judgement(advice=Advice.MISSING, why=f"missing since {missing.astimezone(trial.zone).date()}")


def _describe_discard(record: BagRecord, trial: Trial) -> str:
    thrown = record.discards[-1]
    (now,) = (call for call in record.standing_calls if call.patch == thrown.patch)
    since = "" if now is thrown else f"; called {now.call} on {now.at.astimezone(trial.zone).date()}"
    return _describe_call(record, thrown, trial) + since


def _describe_call(record: BagRecord, call: VerdictRow, trial: Trial) -> str:
    kinds = dict(zip(record.patches.names, record.patches.kinds, strict=True))
    what = f"{call.patch} {kinds.get(call.patch, '')}".strip() + " " if call.patch else ""
    details = [
        detail for detail in (call.where, f"found by {call.found_by}" if call.found_by else None) if detail
    ]
    where = f" ({', '.join(details)})" if details else ""
    action = f", {call.action}" if call.action else ""
    return f"{what}called {call.call} on {call.at.astimezone(trial.zone).date()}{where}{action}"


class _Paces:
    """How far (fraction) and how fast (points a day) the sound bags of a group were at some ages."""

    def __init__(self, group: list[GrowthSeries], ages_days: FloatSeries) -> None:
        self._age = {float(age): place for place, age in enumerate(ages_days)}
        self._bag = {series.bag: place for place, series in enumerate(group)}
        shape = (len(group), len(ages_days))
        self._coverage = np.array([coverage_at(series, ages_days) for series in group]).reshape(shape)
        self._speed = np.array([speed_at(series, ages_days + SAME_AGE_DAYS) for series in group]).reshape(
            shape
        )
        self._speed[np.isnan(self._coverage)] = np.nan  # a bag counts where it was photographed

    def siblings_of(self, series: GrowthSeries) -> _Siblings:
        """The medians of the others at the age of a bag's latest photo."""
        age, own = self._age[float(series.days[-1])], self._bag.get(series.bag)
        coverage, speed = (_median_without(values[:, age], own) for values in (self._coverage, self._speed))
        return _Siblings(coverage=coverage, points_per_day=speed)


def _median_without(values: FloatSeries, left_out: int | None) -> float | None:
    others = values if left_out is None else np.delete(values, left_out)
    others = others[~np.isnan(others)]
    return float(np.median(others)) if others.size else None


def _judge_stalled(series: GrowthSeries, *, siblings: _Siblings, trial: Trial) -> Judgement | None:
    """Stalled: the interval is below the siblings' median, and the speed was under the limit for long enough.

    The speed is that of all scores back to the last one that is at least `stalled_days` old, in this segment.
    """
    limits = trial.limits
    chosen = ~np.isnan(series.coverage) & (series.segment == series.segment[-1])
    days, coverage = series.days[chosen], series.coverage[chosen]
    old_enough = np.flatnonzero(days <= days[-1] - limits.stalled_days)
    if siblings.coverage is None or not old_enough.size:
        return None
    high = series.high[chosen][-1]
    if not (coverage[-1] if np.isnan(high) else high) < siblings.coverage:
        return None
    start = int(old_enough[-1])
    slope = median_slope(days[start:], coverage[start:])
    if slope >= limits.stalled_points_per_day:
        return None
    why = f"{slope:.1f} points a day over {days[-1] - days[start]:.1f} days, at {100 * coverage[-1]:.0f} %"
    theirs = _tell_siblings(f" at this age: {100 * siblings.coverage:.0f} %", trial)
    return Judgement(advice=Advice.STALLED, why=why + (theirs or "; its siblings have more"))


def _tell_siblings(figure: str, trial: Trial) -> str:
    """A figure of the siblings; where judging is blind none, or figures would tell who they are."""
    return "" if trial.judging == "blind" else f"; siblings{figure}"


def _judge_growing(
    record: BagRecord, series: GrowthSeries, *, siblings: _Siblings, trial: Trial
) -> Judgement:
    """Wait: how fast it and its siblings grow, or what it still lacks to be full."""
    latest, limits = record.latest, trial.limits
    well_pct = well_areas_pct(record)[latest.photo_sha256] if latest else 0.0
    if (
        latest
        and latest.coverage_pct is not None
        and latest.coverage_pct + well_pct >= limits.full_coverage_pct
    ):
        return _judge_nearly_full(latest, limits, well_pct=well_pct)
    speed = points_per_day(series)
    if speed is None:
        since = " since it was shaken, turned or opened" if series.segment[-1] else ""
        return Judgement(advice=Advice.WAIT, why=f"one photo{since}; the next gives its speed")
    why = f"{speed:.1f} points a day"
    if siblings.points_per_day is not None:
        why += _tell_siblings(f": {siblings.points_per_day:.1f}", trial)
    return Judgement(advice=Advice.WAIT, why=why)


def _judge_nearly_full(latest: Seen, limits: Limits, *, well_pct: float) -> Judgement:
    """Wait: white enough for full in its latest photo, but in that one alone or not surely enough."""
    patches = f" and {well_pct:.1f} % of patches that are well" if well_pct else ""
    if looks_full(latest, limits, well_pct=well_pct):
        why = f"{latest.coverage_pct:.1f} %{patches} in one photo; full needs two running"
        return Judgement(advice=Advice.WAIT, why=why)
    low = "not known" if latest.coverage_low_pct is None else f"{latest.coverage_low_pct:.1f} %"
    needs = f"full needs over {limits.ready_coverage_pct:g} %"
    why = f"{latest.coverage_pct:.1f} %, low end {low}{patches}; {needs}"
    return Judgement(advice=Advice.WAIT, why=why)
