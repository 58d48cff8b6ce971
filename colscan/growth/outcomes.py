"""What became of each bag: when it reached a milestone, when it was lost, how long it was followed.

Photos are daily at best, so times lie between two photos: later than the one, at the latest at the other.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from colscan.growth.departure import departure_of
from colscan.growth.full import full_since
from colscan.growth.model import BagRecord
from colscan.growth.records import records_of
from colscan.growth.series import make_series
from colscan.ledger import Ledger
from colscan.ledger.columns import HarvestRow
from colscan.trial.model import Bag, Limits, Trial
from colscan.units import days_between

CALLED_LOST: frozenset[str | None] = frozenset({"contaminated"})
"""Calls that make a bag lost."""
LOST_AT_WORST: frozenset[str | None] = frozenset({"contaminated", "unsure", None})
"""The upper scenario: a suspect patch that nobody has called harmless counts as a loss, too."""


class Milestone(StrEnum):
    """How far a bag may have come."""

    HALF = "half"
    NINETY = "90 %"
    FULL = "full"


SHARES = {Milestone.HALF: 0.5, Milestone.NINETY: 0.9}


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A time that lies after the one and at the latest at the other age, days since inoculation.

    `by_days` is infinite for what had not come when the bag was last seen, at `after_days`.
    """

    after_days: float
    by_days: float

    @property
    def came(self) -> bool:
        """Whether it has come."""
        return math.isfinite(self.by_days)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of one bag.

    Parameters
    ----------
    bag : Bag
        As planned.
    half, ninety, full : Span
        When it came so far; not come for a bag that was lost or left before.
    lost : Span or None
        When it was lost to contamination: at the onset, not at the verdict, wherever a photo shows one. None
        while it isn't.
    followed_days : float
        Age at its last measured photo before it was lost or left the trial; 0 without one.
    left : str or None
        `discarded`, `retired` or `missing` when it left for another reason.
    harvested_days : float or None
        Age at its first harvest.
    pins_days : float or None
        Age when pins were first recorded.
    """

    bag: Bag
    half: Span
    ninety: Span
    full: Span
    lost: Span | None
    followed_days: float
    left: str | None
    harvested_days: float | None
    pins_days: float | None = None

    def reached(self, milestone: Milestone) -> Span:
        """Return when it came to a milestone."""
        return {Milestone.HALF: self.half, Milestone.NINETY: self.ninety, Milestone.FULL: self.full}[
            milestone
        ]


def outcomes_of(
    trial: Trial, ledger: Ledger, *, lost_calls: Collection[str | None] = CALLED_LOST
) -> tuple[Outcome, ...]:
    """Return what became of each bag of the trial, blanks left out, in the plan's order.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    lost_calls : collection of str or None
        Standing calls that make a bag lost: `CALLED_LOST` or `LOST_AT_WORST`.
    """
    harvests = _first_harvests(ledger.harvests)
    return tuple(
        _outcome(record, trial.limits, harvests.get(record.bag.bag), lost_calls)
        for record in records_of(trial, ledger)
        if record.bag.role != "blank"
    )


def _first_harvests(rows: tuple[HarvestRow, ...]) -> dict[str, HarvestRow]:
    return {row.bag: row for row in reversed(rows)}


def _outcome(
    record: BagRecord, limits: Limits, harvest: HarvestRow | None, lost_calls: Collection[str | None]
) -> Outcome:
    lost, left = lost_span(record, lost_calls), departure_of(record)
    until = min(
        math.inf if lost is None else lost.by_days,
        math.inf if left is None else days_between(record.bag.inoculated_at, left.at),
    )
    series = make_series(record)
    seen = series.days[~np.isnan(series.coverage) & (series.days <= until)]
    followed = float(seen[-1]) if seen.size else 0.0
    pins = [event.at for event in record.events if event.what == "pins"]
    half, ninety, full = (_before(reach(record, m, limits), until, followed) for m in Milestone)
    return Outcome(
        bag=record.bag,
        half=half,
        ninety=ninety,
        full=full,
        lost=lost,
        followed_days=followed,
        left=left.what if left and lost is None else None,
        harvested_days=days_between(record.bag.inoculated_at, harvest.at) if harvest else None,
        pins_days=days_between(record.bag.inoculated_at, pins[0]) if pins else None,
    )


def _before(span: Span, until_days: float, followed_days: float) -> Span:
    """What comes after a bag was lost or left is no longer its growth in the trial."""
    return span if span.by_days <= until_days else Span(after_days=followed_days, by_days=math.inf)


def lost_span(record: BagRecord, lost_calls: Collection[str | None] = CALLED_LOST) -> Span | None:
    """Return when a bag was lost to contamination, None when it isn't.

    A patch that is called so came between the last photo without it and the first with it. Of a bag that
    is called so as a whole, the first patch that may be it gives the time. What no photo shows, or none any
    more, can have come any time before it was called so.

    Parameters
    ----------
    record : BagRecord
        One bag's rows.
    lost_calls : collection of str or None
        Standing calls that make it lost.
    """
    born = record.bag.inoculated_at
    calls = [call for call in record.standing_calls if call.call in lost_calls]
    # A patch that came after the whole bag was called lost can't be what was meant.
    whole_days = max((days_between(born, call.at) for call in calls if not call.patch), default=-math.inf)
    onsets = [one for one in record.onsets if one.call in lost_calls or one.by_days <= whole_days]
    spans = [Span(after_days=one.after_days or 0.0, by_days=one.by_days) for one in onsets]
    shown = {one.patch for one in onsets}
    before_call = any(one.by_days <= whole_days for one in onsets)
    spans += [
        Span(after_days=0.0, by_days=days_between(born, call.at))
        for call in calls
        if not (call.patch in shown if call.patch else before_call)
    ]
    return min(spans, key=lambda span: span.by_days, default=None)


def reach(record: BagRecord, milestone: Milestone, limits: Limits) -> Span:
    """Return when a bag came to a milestone; not come when it hasn't.

    Half and 90 % are reached in the first photo from which on two running show it, or in the latest photo.
    Full is as `full_since` says.

    Parameters
    ----------
    record : BagRecord
        One bag's rows.
    milestone : Milestone
        How far.
    limits : Limits
        The trial's thresholds, for full.
    """
    series = make_series(record)
    measured = ~np.isnan(series.coverage)
    days, coverage = series.days[measured], series.coverage[measured]
    if milestone is Milestone.FULL:
        since = full_since(record, limits)
        first = None if since is None else days_between(record.bag.inoculated_at, since)
    else:
        over = coverage >= SHARES[milestone]
        confirmed = over & np.append(over[1:], True)
        first = float(days[np.argmax(confirmed)]) if confirmed.any() else None
    if first is None:
        return Span(after_days=float(days[-1]) if days.size else 0.0, by_days=math.inf)
    before = days[days < first]
    return Span(after_days=float(before[-1]) if before.size else 0.0, by_days=first)
