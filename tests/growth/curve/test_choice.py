"""Which model, and how sure its figures are."""

from __future__ import annotations

import numpy as np
import pytest

from colscan.growth.curve.angles import to_angle
from colscan.growth.curve.choice import Chosen, choose
from colscan.growth.curve.descent import Targets, fit_models
from colscan.growth.curve.reach import make_band
from colscan.growth.curve.shapes import Curve, Shape

DAYS = np.arange(26.0)


def _choose(value: np.ndarray, *, trend: np.ndarray | None = None, sd: float = 0.02) -> Chosen:
    days = DAYS[: len(value)]
    targets = Targets(
        days=days[None],
        value=value[None],
        own_sd=np.full((1, len(value)), sd),
        shared_sd=np.zeros((1, len(value))),
        used=np.ones((1, len(value)), dtype=bool),
    )
    course = to_angle(value if trend is None else trend)
    band = make_band(days + 1.0, course, np.full(len(days), 0.05), last_days=days[-1] + 1.0)
    return choose(fit_models(targets), np.array([len(value)]), [band], span_days=np.array([days[-1]]))[0]


def _curve(shape: Shape, nu: float = 1.0) -> np.ndarray:
    return Curve(shape=shape, asymptote=0.98, rate_per_day=0.11, lag_days=4.0, nu=nu).at(DAYS)


@pytest.mark.parametrize("shape", [Shape.LOGISTIC, Shape.GOMPERTZ])
def test_the_shape_that_made_the_scores_is_chosen(shape: Shape) -> None:
    """With its figures; days count from spawning, a day before the first photo here."""
    chosen = _choose(_curve(shape))
    assert chosen.model is not None
    assert chosen.model.shape is shape
    assert (chosen.model.rate_per_day, chosen.model.lag_days) == (
        pytest.approx(0.11, rel=0.01),
        pytest.approx(5.0, abs=0.05),
    )
    assert chosen.rate_per_day is not None
    assert chosen.rate_per_day.low < 0.11 < chosen.rate_per_day.high


def test_richards_only_where_it_is_needed() -> None:
    """For a curve that neither of the others follows it is taken; of few points it never is."""
    lopsided = _curve(Shape.RICHARDS, nu=6.0)
    assert (_choose(lopsided, sd=0.01).model or pytest.fail("no model")).shape is Shape.RICHARDS
    few = _choose(lopsided[4:24:4], sd=0.01)
    assert few.model is None or few.model.shape is not Shape.RICHARDS


def test_interval_goes_on_to_what_the_trend_says() -> None:
    """A trend that climbs at 15 points a day, or at 8: a model of 11 can't be all that may be."""
    steep, flat = (
        Curve(shape=Shape.LOGISTIC, asymptote=0.98, rate_per_day=rate, lag_days=4.0).at(DAYS)
        for rate in (0.15, 0.08)
    )
    alike, under, over = (_choose(_curve(Shape.LOGISTIC), trend=trend) for trend in (None, flat, steep))
    assert alike.rate_per_day is not None
    assert under.rate_per_day is not None
    assert over.rate_per_day is not None
    assert 0.09 < alike.rate_per_day.low < alike.rate_per_day.high < 0.12
    # Over its middle half a logistic curve climbs at 0.91 of its greatest rate (1 / ln 3).
    assert under.rate_per_day.low < 0.91 * 0.08
    assert over.rate_per_day.high > 0.91 * 0.15


def test_nothing_is_said_of_a_step() -> None:
    """Bare in one photo and white in the next: any rate over a limit would do."""
    chosen = _choose(np.array([0.0, 0.0, 0.0, 0.99, 1.0, 1.0, 1.0]))
    assert (chosen.model, chosen.rate_per_day, chosen.lag_days) == (None, None, None)
