"""Fits the growth models to many segments at once: least squares by damped Gauss-Newton steps.

All three are the Richards model (its exponent held at 1, held near 0, or free), so one descent serves all
(Levenberg 1944, Marquardt 1963, doi:10.1137/0111030). It stands in numpy because a trial has hundreds of
small fits, each of which would cost more in calls than in arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.growth.curve.shapes import Shape, richards_exponent
from colscan.growth.model import FloatSeries

NEARLY_GOMPERTZ = 1e-6
LOWEST = np.array([0.3, np.log(0.005), -30.0, -3.0])
HIGHEST = np.array([1.55, np.log(2.0), 200.0, 3.0])
"""Bounds of: asymptote (angle; 0.3 is 9 %), log rate (0.5 to 200 points a day), lag, log exponent."""
STEPS = np.array([-0.02, 0.01, 0.02, 0.05])
"""For slopes by differences; the asymptote's goes inward, as at 100 % there is no outward."""
EXPONENT_SD = 1.5
"""The exponent is taken for known to within a factor of e to that power: few photos tell nothing of it."""
ROUNDS = 40
ENOUGH = 1e-4
"""A round that lessens no sum of squares by more than this share ends the descent."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Targets:
    """What models are fitted to: S segments, padded to N photos.

    Parameters
    ----------
    days : ndarray, shape (S, N)
        Since the segment's first photo.
    value : ndarray, shape (S, N)
        Scores, fractions.
    own_sd, shared_sd : ndarray, shape (S, N)
        Standard deviations, fractions: of what differs from photo to photo, and of what all photos of the
        bag share.
    used : ndarray of bool, shape (S, N)
        False for padding and for photos that are left out.
    """

    days: FloatSeries
    value: FloatSeries
    own_sd: FloatSeries
    shared_sd: FloatSeries
    used: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ModelFits:
    """One shape's fits to S segments.

    Parameters
    ----------
    shape : Shape
        Which.
    values : ndarray, shape (S, 4)
        Asymptote as angle, log rate (a day), lag since the first photo (days), log exponent.
    covariance : ndarray, shape (S, 4, 4)
        Of them, by the scores' errors alone.
    squares : ndarray, shape (S,)
        Sum of squares, each in units of its error.
    free : int
        Parameters that were fitted.
    """

    shape: Shape
    values: FloatSeries
    covariance: FloatSeries
    squares: FloatSeries
    free: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Problem:
    """Scores with the matrix that makes their errors independent and of size 1, and what is held."""

    targets: Targets
    whiten: FloatSeries
    free: FloatSeries

    def residuals(self, values: FloatSeries) -> FloatSeries:
        off = np.where(self.targets.used, value_at(values, self.targets.days) - self.targets.value, 0.0)
        white = (self.whiten @ off[:, :, None])[:, :, 0]
        pulled = self.free[:, 3] * values[:, 3] / EXPONENT_SD
        return np.concatenate([white, pulled[:, None]], axis=1)

    def slopes(self, values: FloatSeries, at: FloatSeries) -> FloatSeries:
        columns = [
            (self.residuals(values + step * np.eye(4)[i]) - at) / step * self.free[:, i : i + 1]
            for i, step in enumerate(STEPS)
        ]
        return np.stack(columns, axis=2)


def value_at(values: FloatSeries, days: FloatSeries) -> FloatSeries:
    """Return the models' values, (S, N), for parameters (S, 4) as in `ModelFits` and days (S, N)."""
    asymptote = np.sin(values[:, :1]) ** 2
    pace = np.exp(values[:, 1:2]) / asymptote
    nu = np.where(values[:, 3:4] < -10.0, NEARLY_GOMPERTZ, np.exp(values[:, 3:4]))
    return np.asarray(asymptote * np.exp(-richards_exponent(pace * (values[:, 2:3] - days), nu)))


def fit_models(targets: Targets) -> tuple[ModelFits, ...]:
    """Return the fits of all three shapes, 5 or more photos used in each segment.

    Errors of one segment's scores are correlated by what all photos of a bag share, so that a bag that
    always reads too high is not taken for well known.
    """
    whiten = _whitener(targets)
    held = {Shape.LOGISTIC: 0.0, Shape.GOMPERTZ: -20.0, Shape.RICHARDS: 0.0}
    start = _first_guess(targets)
    starts = [np.concatenate([start, np.full((len(start), 1), held[shape])], axis=1) for shape in Shape]
    frees = [
        np.repeat([[1.0, 1.0, 1.0, float(shape is Shape.RICHARDS)]], len(start), axis=0) for shape in Shape
    ]
    n = len(Shape)
    stacked = Targets(
        days=np.tile(targets.days, (n, 1)), value=np.tile(targets.value, (n, 1)),
        own_sd=np.tile(targets.own_sd, (n, 1)), shared_sd=np.tile(targets.shared_sd, (n, 1)),
        used=np.tile(targets.used, (n, 1)),
    )  # fmt: skip
    problem = _Problem(targets=stacked, whiten=np.tile(whiten, (n, 1, 1)), free=np.concatenate(frees))
    values = _descend(problem, np.concatenate(starts))
    residual = problem.residuals(values)
    slopes = problem.slopes(values, residual)
    information = np.swapaxes(slopes, 1, 2) @ slopes + np.eye(4) * 1e-6
    information = information + np.eye(4) * (1.0 - problem.free)[:, None, :] * 1e12
    covariance = np.linalg.inv(information)
    squares = (residual**2).sum(axis=1)
    size = len(start)
    return tuple(
        ModelFits(
            shape=shape, values=values[i * size : (i + 1) * size],
            covariance=np.asarray(covariance[i * size : (i + 1) * size], dtype=np.float64),
            squares=squares[i * size : (i + 1) * size], free=4 if shape is Shape.RICHARDS else 3,
        )
        for i, shape in enumerate(Shape)
    )  # fmt: skip


def _whitener(targets: Targets) -> FloatSeries:
    shared = np.where(targets.used, targets.shared_sd, 0.0)
    own = np.where(targets.used, targets.own_sd**2, 1.0)
    covariance = shared[:, :, None] * shared[:, None, :] + own[:, :, None] * np.eye(own.shape[1])
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))


def _first_guess(targets: Targets) -> FloatSeries:
    """Asymptote, log rate, lag: from the greatest score and where a quarter and three quarters are passed."""
    value = np.where(targets.used, targets.value, -1.0)
    top = np.clip(value.max(axis=1, keepdims=True), 0.1, 0.99)
    climbed = np.maximum.accumulate(value, axis=1)
    early, late = (
        np.take_along_axis(targets.days, np.argmax(climbed >= part * top, axis=1)[:, None], axis=1)
        for part in (0.25, 0.75)
    )
    rate = np.clip(0.5 * top / np.maximum(late - early, 0.5), 0.01, 1.0)
    return np.concatenate([np.arcsin(np.sqrt(top)), np.log(rate), early - 0.25 * top / rate], axis=1)


def _descend(problem: _Problem, start: FloatSeries) -> FloatSeries:
    values = np.where(problem.free > 0, np.clip(start, LOWEST, HIGHEST), start)
    residual = problem.residuals(values)
    squares = (residual**2).sum(axis=1)
    damping = np.full(len(values), 1e-2)
    for _ in range(ROUNDS):
        slopes = problem.slopes(values, residual)
        information = np.swapaxes(slopes, 1, 2) @ slopes
        size = np.einsum("sii->si", information) + 1e-6
        damped = information + np.eye(4) * (damping[:, None] * size + 1e-9)[:, None, :]
        step = np.linalg.solve(damped, (np.swapaxes(slopes, 1, 2) @ residual[:, :, None]))[:, :, 0]
        tried = np.where(problem.free > 0, np.clip(values - step, LOWEST, HIGHEST), values)
        tried_residual = problem.residuals(tried)
        tried_squares = (tried_residual**2).sum(axis=1)
        better = tried_squares < squares
        gain = np.where(better, squares - tried_squares, 0.0) / np.maximum(squares, 1e-12)
        values = np.where(better[:, None], tried, values)
        residual = np.where(better[:, None], tried_residual, residual)
        squares = np.where(better, tried_squares, squares)
        damping = np.clip(np.where(better, damping / 5.0, damping * 5.0), 1e-8, 1e8)
        if gain.max() < ENOUGH and (better | (damping > 1e3)).all():
            break
    return values
