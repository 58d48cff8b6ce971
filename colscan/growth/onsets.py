"""A bag's patches and photos → when each alarming patch came."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from colscan.growth.patches import Patches
from colscan.ledger import numbers_of, times_of
from colscan.ledger.columns import ScoreRow
from colscan.units import at_microseconds, days_between, days_since


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """When a suspect patch came: between the last photo without it and the first with it.

    Parameters
    ----------
    patch, kind : str
        Its name within the bag, and how it looks.
    after_days : float or None
        Age of the bag at its last measured photo without the patch; None when there is none.
    by_days : float
        Age at the first photo with it.
    call : str or None
        The call that stands on it (contaminated, unsure), None for not reviewed.
    """

    patch: str
    kind: str
    after_days: float | None
    by_days: float
    call: str | None


def find_onsets(found: Patches, scores: Sequence[ScoreRow], inoculated_at: datetime) -> tuple[Onset, ...]:
    """Return when each alarming patch of a bag came, in order of time; never the day of a verdict.

    Parameters
    ----------
    found : Patches
        Its patches.
    scores : sequence of ScoreRow
        Its scores, in order of time.
    inoculated_at : datetime
        When its age is 0.
    """
    first: dict[str, int] = {}
    for place, (patch, alarm) in enumerate(zip(found.names, found.alarms, strict=True)):
        if alarm:
            first.setdefault(patch, place)
    return tuple(
        Onset(
            patch=patch,
            kind=found.kinds[place],
            after_days=_last_without_days(scores, inoculated_at, found.taken_at[place]),
            by_days=days_between(inoculated_at, at_microseconds(found.taken_at[place])),
            call=found.calls[place],
        )
        for patch, place in first.items()
    )


def _last_without_days(scores: Sequence[ScoreRow], inoculated_at: datetime, first_at: int) -> float | None:
    # A photo in which the bag could not be measured can't show that the patch wasn't there.
    times = times_of(scores)
    measured = ~np.isnan(numbers_of(scores, "coverage_pct"))
    before = np.flatnonzero(measured & (times < first_at))
    if not before.size:
        return None
    return float(days_since(inoculated_at, times[before[-1:]])[0])
