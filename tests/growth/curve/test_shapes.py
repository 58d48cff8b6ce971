"""Growth models in closed form, against tables worked out apart from this code.

The forms are those of Zwietering et al. 1990, Appl Environ Microbiol 56:1875-1881; the tables are computed
from the published equations with A = 100 %, mu = 12 % a day, lag = 3 days.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from colscan.growth.curve.shapes import Curve, Shape, richards_exponent

DAYS = np.array([0.0, 3, 5, 7, 10, 14, 21])
GOMPERTZ = (0.0723, 6.5988, 24.2760, 47.8409, 75.7974, 92.7595, 99.2367)
LOGISTIC = (3.1068, 11.9203, 26.1150, 48.0011, 79.5760, 96.3736, 99.8695)
RICHARDS_HALF = (1.3672, 9.5210, 25.0787, 47.9944, 78.0962, 94.9887, 99.6949)


def _curve(shape: Shape, nu: float = 1.0) -> Curve:
    return Curve(shape=shape, asymptote=100.0, rate_per_day=12.0, lag_days=3.0, nu=nu)


@pytest.mark.parametrize(
    ("curve", "table"),
    [
        (_curve(Shape.GOMPERTZ), GOMPERTZ),
        (_curve(Shape.LOGISTIC), LOGISTIC),
        (_curve(Shape.RICHARDS, 1.0), LOGISTIC),
        (_curve(Shape.RICHARDS, 0.5), RICHARDS_HALF),
    ],
)
def test_tables(curve: Curve, table: tuple[float, ...]) -> None:
    """Each shape gives its table; Richards with exponent 1 is the logistic one."""
    assert curve.at(DAYS) == pytest.approx(table, abs=1e-3)


def test_richards_comes_down_to_gompertz() -> None:
    """With an exponent of a millionth both agree to four decimals."""
    richards = _curve(Shape.RICHARDS, 1e-6)
    assert richards.at(DAYS) == pytest.approx(GOMPERTZ, abs=1e-4 + 5e-5)
    assert richards.at(DAYS) == pytest.approx(_curve(Shape.GOMPERTZ).at(DAYS), abs=1e-4)


@pytest.mark.parametrize(
    ("shape", "times"),
    [
        (Shape.GOMPERTZ, (3.5088, 7.1893, 12.9645, 15.1713)),
        (Shape.LOGISTIC, (2.5891, 7.1667, 11.7442, 13.3009)),
    ],
)
def test_days_of_shares(shape: Shape, times: tuple[float, ...]) -> None:
    """Days of 10, 50, 90, 95 % by closed forms."""
    got = [_curve(shape).reach(share) for share in (0.10, 0.50, 0.90, 0.95)]
    assert got == pytest.approx(times, abs=1e-4)


@pytest.mark.parametrize("nu", [0.2, 0.5, 1.0, 2.0, 7.0])
def test_richards_days_of_shares(nu: float) -> None:
    """On the day of a share the curve is there; with exponent 1 it is the logistic one's day."""
    curve = _curve(Shape.RICHARDS, nu)
    for share in (0.1, 0.5, 0.9):
        assert curve.at(np.array([curve.reach(share)])) == pytest.approx(100 * share, abs=1e-9)
    assert _curve(Shape.RICHARDS, 1.0).reach(0.9) == pytest.approx(11.7442, abs=1e-4)


@pytest.mark.parametrize(
    ("curve", "value"),
    [
        (_curve(Shape.GOMPERTZ), 36.787944),
        (_curve(Shape.LOGISTIC), 50.0),
        (_curve(Shape.RICHARDS, 0.5), 44.4444),
        (_curve(Shape.RICHARDS, 1.0), 50.0),
        (_curve(Shape.RICHARDS, 2.0), 57.7350),
    ],
)
def test_where_it_is_steepest(curve: Curve, value: float) -> None:
    """There the slope is the rate, it is nowhere greater, and its tangent meets 0 at the lag."""
    day = curve.reach(value / curve.asymptote)
    step = 1e-4
    before, after = curve.at(np.array([day - step, day + step]))
    slope = (after - before) / (2 * step)
    assert slope == pytest.approx(12.0, abs=1e-5)
    assert day - value / slope == pytest.approx(3.0, abs=1e-5)
    days = np.linspace(-5, 40, 4501)
    assert np.gradient(curve.at(days), days).max() == pytest.approx(12.0, abs=1e-3)


def test_steepest_days() -> None:
    """As in the closed forms: 3 + 100 / 12 e at the e-th part, and 3 + 100 / 24 at half."""
    assert _curve(Shape.GOMPERTZ).reach(1 / math.e) == pytest.approx(6.065662, abs=1e-6)
    assert _curve(Shape.LOGISTIC).reach(0.5) == pytest.approx(7.166667, abs=1e-6)


def test_long_before_the_lag() -> None:
    """Nothing overflows: the exponent is infinite at worst, and the curve 0."""
    assert math.isinf(richards_exponent(np.array([1e4]), np.array([1e-6]))[0])
    assert _curve(Shape.RICHARDS, 0.5).at(np.array([-1e5]))[0] == 0.0
