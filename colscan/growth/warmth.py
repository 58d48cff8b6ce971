"""The warmth that a bag stood in, from the log of its shelf's air or of the room's.

A supplemented bag heats itself, so a thermometer inside it tells what the bag did, not what was done to it:
its own readings never count here.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np

from colscan.growth.model import FloatSeries
from colscan.ledger import Ledger, events_of
from colscan.ledger.columns import ROOM
from colscan.trial.model import Bag, Trial
from colscan.units import days_between

BASE_C = 0.0
"""Degree-days are counted above this: with 0 C they are the mean of the air times the days, and no base that
was fitted to some other strain hides in them."""
LONGEST_GAP_DAYS = 1.0
"""Over a longer gap of the log day and night are lost, and what lies between two readings is a guess."""


def degree_days(trial: Trial, ledger: Ledger, bag: Bag, until_days: float) -> float | None:
    """Return the degree-days (C d above 0 C) of the air around a bag up to an age; None where no log tells.

    The trapezoids under the readings of the shelf on which it stood by then, or of the room where that
    shelf has no log; of a bag that was moved, shelf by shelf. Readings below the base count as the base.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        With its temperatures and events.
    bag : Bag
        One of the plan's.
    until_days : float
        Age, days since inoculation, 0 or more.

    Returns
    -------
    float or None
        None where a part of the time lies in a gap of the log of more than a day, or before its first or
        after its last reading by more than that.
    """
    end = bag.inoculated_at + timedelta(days=until_days)
    parts = [_integrate(ledger, place, start, stop) for place, start, stop in _stays(trial, ledger, bag, end)]
    known = [part for part in parts if part is not None]
    return sum(known) if len(known) == len(parts) else None


def _stays(trial: Trial, ledger: Ledger, bag: Bag, end: datetime) -> Iterator[tuple[str, datetime, datetime]]:
    """Places with a log, or the room, and from when to when the bag stood there."""
    logged = {row.place for row in ledger.temperatures if row.reading_c is not None}
    stays = events_of(bag, ledger.events, shelves=trial.shelf_names).stays
    starts = [max(stay.since, bag.inoculated_at) for stay in stays]
    for stay, (start, stop) in zip(stays, pairwise([*starts, end]), strict=True):
        if start < min(stop, end) or len(stays) == 1:
            place = stay.shelf if stay.shelf is not None and stay.shelf in logged else ROOM
            yield place, start, min(stop, end)


def _integrate(ledger: Ledger, place: str, start: datetime, stop: datetime) -> float | None:
    """The area under the readings of a place between two times, C d; None where they don't cover them."""
    readings = [
        (days_between(start, row.at), row.reading_c)
        for row in ledger.temperatures
        if row.place == place and row.reading_c is not None
    ]
    if not readings:
        return None
    days, celsius = np.array(readings, dtype=np.float64).T
    length = days_between(start, stop)
    if _longest_gap(days, length) > LONGEST_GAP_DAYS:
        return None
    inside = days[(days > 0) & (days < length)]
    grid = np.concatenate([[0.0], inside, [length]])
    return float(np.trapezoid(np.maximum(np.interp(grid, days, celsius) - BASE_C, 0.0), grid))


def _longest_gap(days: FloatSeries, length: float) -> float:
    """The longest time without a reading that reaches into the time from 0 to `length`, days."""
    gaps, ends_inside = np.diff(days), (days[1:] > 0) & (days[:-1] < length)
    inner = float(np.max(gaps[ends_inside], initial=0.0))
    return max(inner, float(days[0]), length - float(days[-1]))
