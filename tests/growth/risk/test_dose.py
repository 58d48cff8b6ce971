"""The penalised logistic curve, and the dose at the accepted risk with its interval."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from colscan.growth.risk.dose import estimate_dose, fit_penalised

LEVELS = (0, 10, 20, 30)
TEN = (10.0,) * 4


def fit(pcts, lost, bags):
    """The curve of counts."""
    return fit_penalised(*(np.array(values, dtype=float) for values in (pcts, lost, bags)))


@pytest.mark.parametrize(
    ("lost", "bags", "slope"), [((0, 5), (10, 10), 3.0445224), ((0, 3), (6, 6), 2.5649494)]
)
def test_two_groups(lost, bags, slope) -> None:
    """Two groups: half a bag is added to each cell (source: identity of Firth's penalty, ln 21 and ln 13)."""
    curve = fit((0, 1), lost, bags)
    assert curve.slope == pytest.approx(slope, abs=1e-7)
    assert curve.intercept == pytest.approx(-slope, abs=1e-7)


@pytest.mark.parametrize(
    ("lost", "intercept", "slope", "dose"),
    [
        ((0, 0, 2, 5), -4.722140, 0.159483, 15.8319),
        ((0, 0, 0, 10), -15.169010, 0.606834, 21.376),
        ((0, 1, 2, 5), -3.495542, 0.115661, 11.2252),
    ],
)
def test_dose_at_ten_percent(lost, intercept, slope, dose) -> None:
    """Coefficients and the dose at 10 %, also where a level separates lost from clean bags.

    Source: computed by reweighted least squares, by direct maximisation, and with an independent package.
    """
    curve = fit(LEVELS, lost, TEN)
    assert curve.intercept == pytest.approx(intercept, abs=1e-4)
    assert curve.slope == pytest.approx(slope, abs=1e-4)
    found = estimate_dose(LEVELS, lost, (10,) * 4, worth=1.0, accepted=0.1)
    assert found.pct == pytest.approx(dose, abs=1e-3)
    assert (found.low_pct or -99) < dose < (found.high_pct or 99)


def test_fitted_risks() -> None:
    """0, 0, 2, 5 of 10: 0.0088, 0.0420, 0.1776, 0.5156 (same source)."""
    risks = fit(LEVELS, (0, 0, 2, 5), TEN).risk(np.array(LEVELS, dtype=float))
    assert risks == pytest.approx([0.0088, 0.0420, 0.1776, 0.5156], abs=5e-5)


def test_nothing_lost_is_no_slope() -> None:
    """Slope 0 and 0.0238 at every level (same source); no dose estimate."""
    curve = fit(LEVELS, (0, 0, 0, 0), TEN)
    assert curve.slope == pytest.approx(0, abs=1e-9)
    assert curve.risk(np.array([0.0, 30.0])) == pytest.approx([0.0238, 0.0238], abs=5e-5)
    found = estimate_dose(LEVELS, (0, 0, 0, 0), (10,) * 4, worth=1.0, accepted=0.1)
    assert (found.pct, found.why_not) == (None, "no bag was lost")


@pytest.mark.parametrize(
    ("lost", "bags", "why"),
    [
        ((10, 10), (10, 10), "every bag was lost"),
        ((5, 2), (10, 10), "losses don't rise with the level"),
        ((3, 3), (10, 10), "losses don't rise with the level"),
        ((3, 0), (10, 0), "fewer than two levels have followed bags"),
    ],
)
def test_no_dose_and_why(lost, bags, why) -> None:
    """Said, never a number."""
    found = estimate_dose((0, 8), lost, bags, worth=1.0, accepted=0.2)
    assert (found.pct, found.why_not) == (None, why)


def test_interval_agrees_with_direct_profile() -> None:
    """At both ends twice the fall of the penalised likelihood is the 0.90 quantile of chi-square, 2.7055.

    The likelihood is written down anew and maximised by a general minimiser over the slope.
    """
    lost, bags, levels = np.array([0, 0, 2, 5.0]), np.full(4, 10.0), np.array(LEVELS, dtype=float)

    def loss(intercept: float, slope: float) -> float:
        risk = 1 / (1 + np.exp(-intercept - slope * levels))
        design = np.column_stack([np.ones(4), levels])
        information = design.T @ np.diag(bags * risk * (1 - risk)) @ design
        likelihood = (lost * np.log(risk) + (bags - lost) * np.log1p(-risk)).sum()
        return -likelihood - 0.5 * np.log(np.linalg.det(information))

    def at(dose: float) -> float:
        odds = np.log(0.1 / 0.9)
        return minimize(lambda b: loss(odds - b[0] * dose, b[0]), [0.15], method="Nelder-Mead").fun

    found = estimate_dose(LEVELS, (0, 0, 2, 5), (10,) * 4, worth=1.0, accepted=0.1)
    best = at(found.pct)
    for end in (found.low_pct, found.high_pct):
        assert 2 * (at(end) - best) == pytest.approx(2.7055, abs=0.01)


def test_fewer_bags_worth_mean_a_wider_interval() -> None:
    """What heat runs share widens it, and leaves the dose."""
    alone = estimate_dose(LEVELS, (0, 1, 2, 5), (10,) * 4, worth=1.0, accepted=0.2)
    shared = estimate_dose(LEVELS, (0, 1, 2, 5), (10,) * 4, worth=0.6, accepted=0.2)
    assert shared.pct == alone.pct
    assert shared.low_pct < alone.low_pct < alone.high_pct < shared.high_pct


def test_an_interval_may_be_open() -> None:
    """Two losses in forty bags don't say where 20 % is reached: no upper end."""
    found = estimate_dose(LEVELS, (0, 1, 0, 1), (10,) * 4, worth=1.0, accepted=0.2)
    assert found.pct > 30
    assert found.high_pct is None
