"""When a smoothed course comes to a share: where it passes it, and where its band's edges do."""

from __future__ import annotations

import math
from enum import Enum
from typing import NamedTuple

import numpy as np

from colscan.growth.curve.angles import Z90
from colscan.growth.curve.model import Estimate
from colscan.growth.model import FloatSeries


class Missed(Enum):
    """Why no day can be given."""

    BEFORE = "before"
    NOT_YET = "not yet"
    OPEN = "open"


class Band(NamedTuple):
    """A course on a grid: age, angle, its edges, all (M,); `last_days` is the age at the last photo."""

    days: FloatSeries
    value: FloatSeries
    low: FloatSeries
    high: FloatSeries
    last_days: float


def make_band(days: FloatSeries, value: FloatSeries, sd: FloatSeries, *, last_days: float) -> Band:
    """Return the course made never to fall, with the edges of its 90 % band.

    Growth doesn't go back: where the spline falls, the middle between the highest before and the lowest
    after stands.
    """
    return Band(
        days=days, value=never_falling(value), low=never_falling(value - Z90 * sd),
        high=never_falling(value + Z90 * sd), last_days=last_days,
    )  # fmt: skip


def never_falling(values: FloatSeries) -> FloatSeries:
    """Return the middle between the highest so far and the lowest from there on."""
    highest = np.maximum.accumulate(values)
    lowest = np.minimum.accumulate(values[::-1])[::-1]
    return np.asarray((highest + lowest) / 2)


def reach(band: Band, angle: float) -> Estimate | Missed:
    """Return when a course comes to an angle, with the ages at which its band's edges do.

    The lower end is infinite where the upper edge is over it from the first photo on.
    """
    if band.value[0] >= angle:
        return Missed.BEFORE
    came = _pass(band.days, band.value, angle)
    if came is None or came > band.last_days:
        return Missed.NOT_YET
    late = _pass(band.days, band.low, angle)
    if late is None:
        return Missed.OPEN
    early = -math.inf if band.high[0] >= angle else _pass(band.days, band.high, angle)
    return Estimate(value=came, low=came if early is None else early, high=late)


def _pass(days: FloatSeries, values: FloatSeries, angle: float) -> float | None:
    over = values >= angle
    if not over.any():
        return None
    i = int(np.argmax(over))
    if i == 0:
        return float(days[0])
    part = (angle - values[i - 1]) / (values[i] - values[i - 1])
    return float(days[i - 1] + part * (days[i] - days[i - 1]))
