"""When a course comes to a share."""

from __future__ import annotations

import math

import numpy as np
import pytest

from colscan.growth.curve.model import Estimate
from colscan.growth.curve.reach import Band, Missed, make_band, never_falling, reach


def _band(values: list[float], *, half_width: float = 0.1, last: float | None = None) -> Band:
    days = np.arange(float(len(values)))
    value = np.array(values)
    return Band(
        days, value, value - half_width, value + half_width, len(values) - 1.0 if last is None else last
    )


def test_between_two_days_by_a_straight_line() -> None:
    """38 on day 6 and 56 on day 7: half on day 6.666667 (worked by hand: 6 + 12 / 18)."""
    days, value = np.array([6.0, 7.0]), np.array([0.38, 0.56])
    got = reach(Band(days, value, value, value, 7.0), 0.5)
    assert isinstance(got, Estimate)
    assert got.value == pytest.approx(6.666667, abs=1e-6)


def test_the_interval_is_where_the_band_s_edges_pass() -> None:
    """The upper edge passes earlier, the lower one later."""
    assert reach(_band([0.0, 0.2, 0.4, 0.6, 0.8]), 0.5) == Estimate(
        value=pytest.approx(2.5), low=pytest.approx(2.0), high=pytest.approx(3.0)
    )


def test_it_may_have_come_before_the_first_photo() -> None:
    """Where the upper edge is over it from the start, nothing bounds the day from below."""
    got = reach(_band([0.45, 0.55, 0.65, 0.75]), 0.5)
    assert isinstance(got, Estimate)
    assert (got.low, got.value) == (-math.inf, pytest.approx(0.5))


def test_reasons_for_no_day() -> None:
    """Over it from the start; not there yet; there, but the lower edge isn't; past the last photo only."""
    assert reach(_band([0.6, 0.7, 0.8]), 0.5) is Missed.BEFORE
    assert reach(_band([0.1, 0.2, 0.3]), 0.5) is Missed.NOT_YET
    assert reach(_band([0.1, 0.3, 0.55]), 0.5) is Missed.OPEN
    assert reach(_band([0.1, 0.3, 0.45, 0.7], last=2.0), 0.5) is Missed.NOT_YET


def test_a_course_never_falls() -> None:
    """A dip is levelled between the highest before and the lowest after; a rising course is left as it is."""
    assert never_falling(np.array([0.0, 0.4, 0.2, 0.5])).tolist() == pytest.approx([0.0, 0.3, 0.3, 0.5])
    rising = np.array([0.0, 0.1, 0.4, 0.9])
    assert never_falling(rising).tolist() == rising.tolist()
    band = make_band(np.arange(4.0), np.array([0.0, 0.4, 0.2, 0.5]), np.full(4, 0.1), last_days=3.0)
    for edge in (band.value, band.low, band.high):
        assert (np.diff(edge) >= 0).all()
