"""The course without a model: spline, its uncertainty, what bags share."""

from __future__ import annotations

import numpy as np
import pytest

from colscan.growth.curve.smooth import USUAL, Scores, Spread, find_spread, smooth, surprise

DAYS = np.arange(20.0)


def _scores(angle: np.ndarray, *, sd: float = 0.1, used: np.ndarray | None = None) -> Scores:
    angle = np.atleast_2d(angle)
    return Scores(
        days=np.tile(DAYS[: angle.shape[1]], (len(angle), 1)),
        angle=angle,
        sd=np.full(angle.shape, sd),
        used=np.ones(angle.shape, dtype=bool) if used is None else used,
    )


def test_a_straight_line_stays_one() -> None:
    """Whatever bend is allowed, and beyond the last score."""
    line = 0.1 + 0.06 * DAYS
    for spread in (USUAL, Spread(bend=0.001, visible=0.6), Spread(bend=0.3, visible=2.0)):
        got, _ = smooth(_scores(line), spread, np.array([[0.0, 7.3, 22.0]]), bag_share=0.4)
        assert got[0] == pytest.approx(0.1 + 0.06 * np.array([0.0, 7.3, 22.0]), abs=1e-6)


def test_little_bend_is_the_regression_line() -> None:
    """With no bend it is the least-squares line with its textbook standard error (no bag's part)."""
    angle = np.random.default_rng(1).normal(0.5, 0.1, 20)
    got, sd = smooth(_scores(angle), Spread(bend=1e-5, visible=1.0), np.array([[9.5, 19.0]]), bag_share=0.0)
    slope, intercept = np.polyfit(DAYS, angle, 1)
    assert got[0] == pytest.approx(intercept + slope * np.array([9.5, 19.0]), abs=1e-6)
    spread = ((DAYS - 9.5) ** 2).sum()
    assert sd[0] == pytest.approx(0.1 * np.sqrt([1 / 20, 1 / 20 + 9.5**2 / spread]), rel=1e-4)


def test_what_a_bag_shares_is_not_averaged_away() -> None:
    """Twenty scores lessen their own error; the bag's part stays as wide as one score's."""
    line = 0.1 + 0.06 * DAYS
    _, own = smooth(_scores(line), Spread(bend=1e-5, visible=0.6), np.array([[9.5]]), bag_share=0.0)
    _, both = smooth(_scores(line), Spread(bend=1e-5, visible=0.6), np.array([[9.5]]), bag_share=0.4)
    assert both[0, 0] ** 2 - own[0, 0] ** 2 == pytest.approx(0.4 * 0.1**2)


def test_a_gap_is_less_known() -> None:
    """In the middle of six days without a photo the band is wider than beside them."""
    used = (DAYS < 6) | (DAYS > 12)
    angle = 0.1 + 0.06 * DAYS
    _, sd = smooth(_scores(angle, used=used[None]), USUAL, np.array([[3.0, 9.0]]), bag_share=0.0)
    assert sd[0, 1] > 1.3 * sd[0, 0]


def test_padding_changes_nothing() -> None:
    """A bag's course is the same beside one with more photos."""
    angle = 0.4 + 0.5 * np.sin(DAYS / 8)
    alone, sd = smooth(_scores(angle[:12]), USUAL, np.array([[5.2]]), bag_share=0.4)
    used = np.stack([DAYS < 12, DAYS < 20])
    beside, beside_sd = smooth(
        _scores(np.stack([np.where(DAYS < 12, angle, 0.0), angle]), used=used),
        USUAL,
        np.array([[5.2], [5.2]]),
        bag_share=0.4,
    )
    assert (beside[0], beside_sd[0]) == (pytest.approx(alone[0]), pytest.approx(sd[0]))


def test_scatter_and_bend_are_found() -> None:
    """Twenty bags whose scores scatter by half or twice of what is claimed are told apart, to a third."""
    rng = np.random.default_rng(5)
    course = 0.75 + 0.7 * np.tanh((DAYS - 9) / 4)
    for true in (0.25, 0.6, 2.0):
        angle = course + np.sqrt(true) * 0.1 * rng.normal(size=(20, 20))
        assert find_spread(_scores(angle)).visible == pytest.approx(true, rel=0.35)


def test_few_scores_leave_the_usual_spread() -> None:
    """One bag of five scores on a line says little: within a factor of two and a half of what is usual."""
    spread = find_spread(_scores(0.1 + 0.1 * DAYS[:5]))
    assert 0.4 < spread.visible / USUAL.visible < 2.5


def test_surprise_is_that_of_the_score_left_out() -> None:
    """It equals the score less what the other scores alone say, over the deviation of that difference."""
    angle = 0.75 + 0.7 * np.tanh((DAYS - 9) / 4)
    angle[8] += 0.5
    deviation, expected = surprise(_scores(angle), USUAL)
    used = (DAYS != 8)[None]
    others, sd = smooth(_scores(angle, used=used), USUAL, np.array([[8.0]]), bag_share=0.0)
    total = np.hypot(sd[0, 0], np.sqrt(USUAL.visible) * 0.1)
    assert expected[0, 8] == pytest.approx(others[0, 0], abs=1e-6)
    assert deviation[0, 8] == pytest.approx((angle[8] - others[0, 0]) / total, rel=1e-5)
    assert np.abs(deviation[0]).argmax() == 8
