"""Fits of the growth models."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from colscan.growth.curve.descent import Targets, fit_models, value_at
from colscan.growth.curve.shapes import Curve, Shape

DAYS = np.arange(21.0)


def _targets(*values: np.ndarray, shared: float = 0.0) -> Targets:
    value = np.stack(values)
    return Targets(
        days=np.tile(DAYS[: value.shape[1]], (len(value), 1)),
        value=value,
        own_sd=np.full(value.shape, 0.03),
        shared_sd=np.full(value.shape, shared),
        used=np.ones(value.shape, dtype=bool),
    )


@pytest.mark.parametrize("shape", list(Shape))
@pytest.mark.parametrize(
    ("asymptote", "rate", "lag"), [(0.98, 0.12, 3.0), (0.7, 0.05, 1.0), (0.95, 0.3, 8.0)]
)
def test_a_curve_without_noise_is_found_again(
    shape: Shape, asymptote: float, rate: float, lag: float
) -> None:
    """Asymptote, rate and lag to a hundredth of their size, from far-off first guesses."""
    curve = Curve(shape=shape, asymptote=asymptote, rate_per_day=rate, lag_days=lag, nu=1.0)
    fit = next(fit for fit in fit_models(_targets(curve.at(DAYS))) if fit.shape is shape)
    assert math.sin(fit.values[0, 0]) ** 2 == pytest.approx(asymptote, abs=0.01)
    assert math.exp(fit.values[0, 1]) == pytest.approx(rate, rel=0.01)
    assert fit.values[0, 2] == pytest.approx(lag, abs=0.05)
    assert fit.squares[0] == pytest.approx(0.0, abs=0.05)


def test_against_least_squares_of_scipy() -> None:
    """The same least sum of squares on noisy scores, each model, by `scipy.optimize.least_squares`."""
    rng = np.random.default_rng(4)
    truth = Curve(shape=Shape.GOMPERTZ, asymptote=0.97, rate_per_day=0.12, lag_days=3.0)
    noisy = np.clip(truth.at(DAYS) + 0.03 * rng.normal(size=21), 0, 1)
    fits = {fit.shape: fit for fit in fit_models(_targets(noisy))}
    for shape in (Shape.LOGISTIC, Shape.GOMPERTZ):
        held = fits[shape].values[0, 3]

        def off(p: np.ndarray, held: float = held) -> np.ndarray:
            return (value_at(np.array([[*p, held]]), DAYS[None])[0] - noisy) / 0.03

        outside = least_squares(off, [1.3, math.log(0.1), 2.0])
        assert fits[shape].squares[0] == pytest.approx(2 * outside.cost, rel=1e-3)


def test_interval_widths_are_those_of_many_trials() -> None:
    """The spread of fitted log rates over 300 noisy bags is what each one's covariance says, to a fifth."""
    rng = np.random.default_rng(6)
    truth = Curve(shape=Shape.LOGISTIC, asymptote=0.98, rate_per_day=0.12, lag_days=3.0).at(DAYS)
    noisy = truth + 0.03 * rng.normal(size=(300, 21))
    fit = next(fit for fit in fit_models(_targets(*noisy)) if fit.shape is Shape.LOGISTIC)
    claimed = math.sqrt(np.median(fit.covariance[:, 1, 1]))
    assert fit.values[:, 1].std() == pytest.approx(claimed, rel=0.2)


def test_what_a_bag_shares_widens_the_interval() -> None:
    """A bag that may read too high all along is less known than its scores' own scatter says."""
    truth = Curve(shape=Shape.LOGISTIC, asymptote=0.9, rate_per_day=0.1, lag_days=3.0).at(DAYS)
    alone, shared = (fit_models(_targets(truth, shared=sd))[0].covariance[0, 2, 2] for sd in (0.0, 0.05))
    assert shared > 1.5 * alone


def test_padding_and_neighbours_change_nothing() -> None:
    """A bag fitted beside another, with photos left out, has the same fit as alone."""
    one = Curve(shape=Shape.GOMPERTZ, asymptote=0.95, rate_per_day=0.1, lag_days=2.0).at(DAYS)
    other = Curve(shape=Shape.LOGISTIC, asymptote=0.9, rate_per_day=0.2, lag_days=5.0).at(DAYS)
    alone = fit_models(_targets(one[:15]))
    targets = _targets(np.where(DAYS < 15, one, 0.2), other)
    used = np.stack([DAYS < 15, DAYS < 99])
    beside = fit_models(
        Targets(
            days=targets.days,
            value=targets.value,
            own_sd=targets.own_sd,
            shared_sd=targets.shared_sd,
            used=used,
        )
    )
    for single, both in zip(alone, beside, strict=True):
        assert both.values[0] == pytest.approx(single.values[0], abs=1e-3)
