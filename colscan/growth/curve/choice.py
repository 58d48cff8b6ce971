"""Which model, and its figures with intervals.

The rule: the shape with the least AICc (Akaike's criterion for few points; Hurvich, Tsai 1989,
doi:10.1093/biomet/76.2.297) of errors in units of their claimed size; Richards, which bends as either of the
others, only when it is lower by 2 and there are 7 points. Intervals hold what the scores leave open,
widened when the model fits worse than the scores' errors allow; how far the shapes differ, each by its
Akaike weight (Burnham, Anderson 2002, eq. 4.9), for which one is right is not known either. As none of them
may be right, the ends go on to what the trend says without a model: the rate's lower one to its mean rate
over the middle of the climb, the upper one to that of its steepest stretch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.growth.curve.angles import Z90, to_share
from colscan.growth.curve.descent import ModelFits
from colscan.growth.curve.model import Estimate
from colscan.growth.curve.reach import Band
from colscan.growth.curve.shapes import Curve, Shape
from colscan.growth.model import FloatSeries

LEAST_GAIN = 2.0
"""By how much Richards must be better: less is no evidence (Burnham, Anderson 2002, 2.6)."""
RICHARDS_POINTS = 7
RATE_FACTOR = 4.0
"""A greatest rate whose interval spans more than this factor is not identified."""
STRETCHES = np.array([[0.1, 0.4], [0.25, 0.75], [0.6, 0.9]])
"""Stretches of the climb, as shares of what the trend has come to."""
MIDDLE = 1
ASYMPTOTE_WIDTH = 0.25
"""Nor is an asymptote whose interval is wider than this fraction."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """One segment's model; None for what the photos don't tell."""

    model: Curve | None
    asymptote: Estimate | None
    rate_per_day: Estimate | None
    lag_days: Estimate | None


def choose(
    fits: Sequence[ModelFits], points: NDArray[np.int64], bands: Sequence[Band], *, span_days: FloatSeries
) -> list[Chosen]:
    """Return each segment's chosen model.

    Parameters
    ----------
    fits : sequence of ModelFits
        One of each shape, S segments each.
    points : ndarray of int, shape (S,)
        Photos fitted, 5 or more.
    bands : sequence of Band, length S
        The trends; their first day is that of the segment's first photo.
    span_days : ndarray, shape (S,)
        Days from the segment's first photo to the last.
    """
    criteria = np.stack([_aicc(fit, points) for fit in fits])
    rank = criteria.copy()
    richards = [fit.shape for fit in fits].index(Shape.RICHARDS)
    rank[richards] += LEAST_GAIN
    best = rank.argmin(axis=0)
    weight = np.exp(-0.5 * (criteria - criteria.min(axis=0)))
    weight /= weight.sum(axis=0)
    values = np.stack([fit.values for fit in fits])
    spare = np.maximum(points - np.array([[fit.free] for fit in fits]), 1)
    worse = np.maximum(np.stack([fit.squares for fit in fits]) / spare, 1.0)
    variance = np.stack([np.einsum("sii->si", fit.covariance) for fit in fits]) * worse[:, :, None]
    picked = np.take_along_axis(values, best[None, :, None], axis=0)[0]
    sd = np.sqrt((weight[:, :, None] * (variance + (values - picked) ** 2)).sum(axis=0))
    return [
        _chosen(fits[best[i]].shape, picked[i], sd[i], band, span=span_days[i])
        for i, band in enumerate(bands)
    ]


def _trend_bounds(band: Band) -> tuple[float, float, float] | None:
    """Return the trend's mean rate in mid-climb, where that line meets 0, and its steepest rate.

    None where it doesn't climb.
    """
    inside = band.days <= band.last_days
    days, trend = band.days[inside], to_share(band.value[inside])
    shares = np.clip(STRETCHES * trend[-1], trend[0], trend[-1])
    ends = np.interp(shares, trend, days)
    gone = np.diff(ends, axis=1)[:, 0]
    if gone.min() <= 0.0 or shares[MIDDLE, 0] >= shares[MIDDLE, 1]:
        return None
    rates = np.diff(shares, axis=1)[:, 0] / gone
    foot = ends[MIDDLE, 0] - shares[MIDDLE, 0] / rates[MIDDLE]
    return float(rates[MIDDLE]), float(foot), float(rates.max())


def _aicc(fit: ModelFits, points: NDArray[np.int64]) -> FloatSeries:
    k, n = fit.free, points
    few = 2.0 * k * (k + 1) / np.maximum(n - k - 1, 1)
    unfit = (n < RICHARDS_POINTS) & (fit.shape is Shape.RICHARDS)
    return np.where(unfit, np.inf, fit.squares + 2.0 * k + few)


def _chosen(shape: Shape, values: FloatSeries, sd: FloatSeries, band: Band, *, span: float) -> Chosen:
    low, high = values - Z90 * sd, values + Z90 * sd
    bounds = _trend_bounds(band)
    if bounds is not None:
        rate, foot, steepest = bounds
        low[1] = min(low[1], np.log(rate) - Z90 * sd[1])
        high[1] = max(high[1], np.log(steepest) + Z90 * sd[1])
        low[2] = min(low[2], foot - band.days[0] - Z90 * sd[2])
    ends = np.sin(np.clip([values[0], low[0], high[0]], 0.0, np.pi / 2)) ** 2
    rates = np.exp(np.clip([values[1], low[1], high[1]], -50.0, 50.0))
    lags = band.days[0] + np.array([values[2], low[2], high[2]])
    known = bool(rates[2] <= RATE_FACTOR * rates[1])
    return Chosen(
        model=_model(shape, ends[0], rates[0], lags[0], nu=np.exp(values[3])) if known else None,
        asymptote=_estimate(ends) if ends[2] - ends[1] <= ASYMPTOTE_WIDTH else None,
        rate_per_day=_estimate(rates) if known else None,
        lag_days=_estimate(lags) if known and lags[2] - lags[1] <= span else None,
    )


def _model(shape: Shape, asymptote: float, rate: float, lag: float, *, nu: float) -> Curve:
    return Curve(
        shape=shape,
        asymptote=float(asymptote),
        rate_per_day=float(rate),
        lag_days=float(lag),
        nu=float(nu) if shape is Shape.RICHARDS else 1.0,
    )


def _estimate(ends: FloatSeries) -> Estimate:
    return Estimate(value=float(ends[0]), low=float(ends[1]), high=float(ends[2]))
