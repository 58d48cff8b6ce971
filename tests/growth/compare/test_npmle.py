"""Times between photos: the estimate against published data and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from colscan.errors import AnalysisError
from colscan.growth.compare.npmle import NEVER_AFTER_DAYS, Npmle, npmle
from colscan.growth.outcomes import Span

# Breast cosmesis data (Finkelstein and Wolfe 1985, Biometrics 41:933-945), the 46 and 49 rows of KMsurv's
# copy `bcdeter`; of the 49 the row (34, 34) is left out and (48, 48) stands as (48, inf), as in other copies.
RADIOTHERAPY = """0-5 0-7 0-8 4-11 5-11 5-12 6-10 7-14 7-16 11-15 11-18 17-25 17-25 18-26 19-35 25-37 26-40
    27-34 36-44 36-48 37-44 15- 17- 18- 22- 24- 24- 32- 33- 34- 36- 36- 37- 37- 37- 38- 40- 45- 46- 46- 46-
    46- 46- 46- 46- 46-"""
WITH_CHEMOTHERAPY = """0-5 0-22 4-8 4-9 5-8 8-12 8-21 10-17 10-35 11-13 11-17 11-20 12-20 13-39 14-17 14-19
    15-22 16-20 16-24 16-24 16-60 17-23 17-26 17-27 18-24 18-25 19-32 22-32 24-30 24-31 30-34 30-36 33-40
    35-39 44-48 48- 11- 11- 13- 13- 13- 21- 23- 31- 32- 34- 34- 35-"""
# Times to relapse, weeks, of the 6-MP arm (Freireich et al. 1963; Gehan 1965); + is censored.
MERCAPTOPURINE = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"


def _estimate(rows: str) -> Npmle:
    pairs = [row.split("-") for row in rows.split()]
    return npmle(
        np.array([float(after) for after, _ in pairs]),
        np.array([float(by) if by else np.inf for _, by in pairs]),
    )


def _masses(estimate: Npmle) -> dict[tuple[float, float], float]:
    return {
        (float(after), float(by)): float(mass)
        for after, by, mass in zip(estimate.after, estimate.by, estimate.mass, strict=True)
        if mass > 5e-4
    }


def test_breast_cosmesis_radiotherapy_alone() -> None:
    """Masses and likelihood as the R package interval gives them (Fay and Shaw 2010, JSS 36(2))."""
    estimate = _estimate(RADIOTHERAPY)
    expected = {
        (4, 5): 0.0463, (6, 7): 0.0334, (7, 8): 0.0887, (11, 12): 0.0708, (24, 25): 0.0926,
        (33, 34): 0.0818, (38, 40): 0.1209, (46, 48): 0.4656,
    }  # fmt: skip
    assert _masses(estimate) == pytest.approx(expected, abs=5e-4)
    assert estimate.log_likelihood == pytest.approx(-58.06002, abs=1e-4)


def test_breast_cosmesis_with_chemotherapy() -> None:
    """The other arm, 48 rows."""
    estimate = _estimate(WITH_CHEMOTHERAPY)
    expected = {
        (4, 5): 0.0433, (5, 8): 0.0433, (11, 12): 0.0692, (16, 17): 0.1454, (18, 19): 0.1411,
        (19, 20): 0.1157, (24, 25): 0.0999, (30, 31): 0.0709, (35, 36): 0.1608, (44, 48): 0.0552,
        (48, 60): 0.0552,
    }  # fmt: skip
    assert _masses(estimate) == pytest.approx(expected, abs=5e-4)
    assert estimate.log_likelihood == pytest.approx(-65.63697, abs=1e-4)


def test_by_hand() -> None:
    """(0, 2] (1, 3] (1, 4] (3, inf): 2/3 on (1, 2] and 1/3 on (3, 4] maximize p^2 (1 - p)."""
    estimate = _estimate("0-2 1-3 1-4 3-")
    assert _masses(estimate) == pytest.approx({(1, 2): 2 / 3, (3, 4): 1 / 3})
    assert estimate.log_likelihood == pytest.approx(2 * np.log(2 / 3) + np.log(1 / 3))


def test_intervals_that_touch_have_nothing_in_common() -> None:
    """Seen on day 4 and on day 5: half each. Closed intervals would put both on day 4."""
    assert _masses(_estimate("3-4 4-5")) == pytest.approx({(3, 4): 0.5, (4, 5): 0.5})


def _exact(text: str) -> Npmle:
    """Exact times as intervals that hold nothing else, censored ones as open."""
    days = np.array([float(time.rstrip("+")) for time in text.split()])
    censored = np.array([time.endswith("+") for time in text.split()])
    return npmle(np.where(censored, days, days - 0.5), np.where(censored, np.inf, days))


def _survival(estimate: Npmle, day: float) -> float:
    return float(estimate.mass[estimate.by > day].sum())


def test_kaplan_meier_is_the_case_of_exact_and_censored_times() -> None:
    """The textbook survival of both arms of the 6-MP trial, and their medians of 23 and 8 weeks."""
    treated, placebo = _exact(MERCAPTOPURINE), _exact(PLACEBO)
    kaplan_meier = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
    assert {day: _survival(treated, day) for day in kaplan_meier} == pytest.approx(kaplan_meier, abs=5e-5)
    of_placebo = {
        1: 0.9048, 2: 0.8095, 3: 0.7619, 4: 0.6667, 5: 0.5714, 8: 0.3810, 11: 0.2857, 12: 0.1905,
        15: 0.1429, 17: 0.0952, 22: 0.0476, 23: 0.0,
    }  # fmt: skip
    assert {day: _survival(placebo, day) for day in of_placebo} == pytest.approx(of_placebo, abs=5e-5)
    assert treated.quantile(0.5).by_days == 23
    assert placebo.quantile(0.5).by_days == 8


def test_what_never_comes_keeps_its_share() -> None:
    """Of four bags two came and one never will: the open one joins it, and half is the second's day."""
    estimate = npmle(np.array([1.0, 2.0, 3.0, NEVER_AFTER_DAYS]), np.array([2.0, 3.0, np.inf, np.inf]))
    assert _masses(estimate) == pytest.approx({(1, 2): 0.25, (2, 3): 0.25, (NEVER_AFTER_DAYS, np.inf): 0.5})
    assert estimate.quantile(0.5) == Span(after_days=2.0, by_days=3.0)
    assert estimate.quantile(0.75) == Span(after_days=3.0, by_days=np.inf)


def test_no_interval_is_refused() -> None:
    """Nothing to estimate, or an interval that ends before it begins."""
    with pytest.raises(AnalysisError):
        npmle(np.array([]), np.array([]))
    with pytest.raises(AnalysisError):
        npmle(np.array([3.0]), np.array([3.0]))


intervals = st.lists(st.tuples(st.integers(0, 9), st.integers(1, 9)), min_size=1, max_size=12)


@given(intervals)
def test_no_other_masses_are_likelier(rows: list[tuple[int, int]]) -> None:
    """Masses add up to 1, and moving a little mass to any span gains nothing."""
    after = np.array([float(start) for start, _ in rows])
    by = np.array([float(start + length) if length < 9 else np.inf for start, length in rows])
    estimate = npmle(after, by)
    assert estimate.mass.sum() == pytest.approx(1.0)
    assert estimate.held.sum(axis=1) == pytest.approx(np.ones(len(rows)))
    inside = (after[:, None] <= estimate.after) & (estimate.by <= by[:, None])
    assert (inside / (inside @ estimate.mass)[:, None]).mean(axis=0).max() <= 1.0 + 1e-5
