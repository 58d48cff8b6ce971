"""The course of growth without a model: a smoothing spline with its uncertainty, for all bags at once.

Coverage on the arcsine scale is taken for a straight line plus an integrated random walk, whose posterior
mean is the cubic smoothing spline (Wahba 1978, doi:10.1111/j.2517-6161.1978.tb01050.x). It takes photos of
any spacing, and says by itself how much is not known between them. How much curves bend and how much
scores scatter around them is shared by a trial's bags and found by restricted likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from colscan.growth.model import FloatSeries

USUAL_BEND = 0.04
"""Spread of the slope's change in a day, on the arcsine scale: from bare to leaping in two days."""
USUAL_VISIBLE = 0.6
"""Share of a score's variance that differs from photo to photo; the rest is the bag's (rendered series)."""
PRIOR_LOG_SD = 0.7
"""Both are known to within a factor of two, so that few photos can't say nonsense."""
BENDS = (USUAL_BEND * np.geomspace(1 / 8, 8, 13)).tolist()
VISIBLES = (USUAL_VISIBLE * np.geomspace(1 / 8, 8, 13)).tolist()
STEPS = ((0, 0), (1, 0), (-1, 0), (0, 1), (0, -1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scores:
    """Scores of S segments, padded to N photos.

    Parameters
    ----------
    days : ndarray, shape (S, N)
        Age less that at the segment's first photo, days.
    angle, sd : ndarray, shape (S, N)
        Scores and their claimed standard deviation, arcsine scale.
    used : ndarray of bool, shape (S, N)
        False for padding and for photos that are left out.
    """

    days: FloatSeries
    angle: FloatSeries
    sd: FloatSeries
    used: NDArray[np.bool_]


class _Assumed(NamedTuple):
    """Scores as they are taken to be: their covariance (S, N, N), the line (S, N, 2), their angles (S, N)."""

    covariance: FloatSeries
    line: FloatSeries
    angle: FloatSeries


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """What the trial's bags share: how much curves bend, and the visible share of the claimed variance."""

    bend: float
    visible: float


USUAL = Spread(bend=USUAL_BEND, visible=USUAL_VISIBLE)


def find_spread(scores: Scores) -> Spread:
    """Return bend and visible share with the greatest restricted likelihood times prior.

    Uphill on a grid, from the usual values on, a step at a time: the product has one top.
    """

    @cache
    def worth(bend: int, visible: int) -> float:
        spread = Spread(bend=BENDS[bend], visible=VISIBLES[visible])
        prior = np.log([spread.bend / USUAL_BEND, spread.visible / USUAL_VISIBLE]) / PRIOR_LOG_SD
        return float(_log_likelihood(scores, spread).sum() - 0.5 * prior @ prior)

    at = len(BENDS) // 2, len(VISIBLES) // 2
    while True:
        around = [(at[0] + i, at[1] + j) for i, j in STEPS]
        inside = [(b, v) for b, v in around if b in range(len(BENDS)) and v in range(len(VISIBLES))]
        best = max(inside, key=lambda place: worth(*place))
        if best == at:
            return Spread(bend=BENDS[at[0]], visible=VISIBLES[at[1]])
        at = best


def _assume(scores: Scores, spread: Spread) -> _Assumed:
    days, used = scores.days, scores.used
    both = used[:, :, None] & used[:, None, :]
    covariance = np.where(both, spread.bend**2 * _walk(days, days), 0.0)
    noise = np.where(used, spread.visible * scores.sd**2, 1.0)
    covariance = covariance + noise[:, :, None] * np.eye(days.shape[1])
    line = np.where(used[:, :, None], np.stack([np.ones_like(days), days], axis=2), 0.0)
    return _Assumed(covariance, line, np.where(used, scores.angle, 0.0))


def _log_likelihood(scores: Scores, spread: Spread) -> FloatSeries:
    """The restricted one of each segment, less what doesn't depend on the spread."""
    covariance, line, angle = _assume(scores, spread)
    both = np.concatenate([line, angle[:, :, None]], axis=2)
    forms = np.swapaxes(both, 1, 2) @ np.linalg.solve(covariance, both)
    information, along = forms[:, :2, :2], forms[:, :2, 2:]
    misfit = forms[:, 2, 2] - (along * np.linalg.solve(information, along)).sum(axis=(1, 2))
    roots = np.einsum("sii->si", np.linalg.cholesky(covariance))
    return np.asarray(-np.log(roots).sum(axis=1) - 0.5 * (np.linalg.slogdet(information)[1] + misfit))


def _solve(scores: Scores, spread: Spread) -> tuple[FloatSeries, FloatSeries]:
    """Inverse covariance without the line, (S, N, N), and the line's weights, (S, 2, N)."""
    covariance, line, _ = _assume(scores, spread)
    inverse = np.linalg.inv(covariance)
    weighted = inverse @ line
    information = np.swapaxes(line, 1, 2) @ weighted
    line_weights = np.asarray(np.linalg.solve(information, np.swapaxes(weighted, 1, 2)), dtype=np.float64)
    return np.asarray(inverse - weighted @ line_weights), line_weights


def _walk(one: FloatSeries, other: FloatSeries) -> FloatSeries:
    """Covariance of an integrated random walk from day 0 on, of spread 1."""
    first, later = one[:, :, None], other[:, None, :]
    short, long = np.minimum(first, later), np.maximum(first, later)
    return np.asarray(short**2 * (long - short / 3.0) / 2.0)


def project(scores: Scores, spread: Spread) -> tuple[FloatSeries, FloatSeries]:
    """Return what the course leaves of the scores, (S, N), and the matrix that leaves it, (S, N, N).

    With P = V⁻¹ less its part along the straight line, they are P y and P: the covariance of P y is P.
    """
    projector, _ = _solve(scores, spread)
    angle = np.where(scores.used, scores.angle, 0.0)
    return (projector @ angle[:, :, None])[:, :, 0], projector


def surprise(scores: Scores, spread: Spread) -> tuple[FloatSeries, FloatSeries]:
    """Return how many standard deviations each score lies off what the bag's others say, and what they say.

    Parameters
    ----------
    scores : Scores
        S segments of N photos.
    spread : Spread
        What the bags share.

    Returns
    -------
    tuple of ndarray, shape (S, N)
        Deviations, 0 where not used, and expected angles.
    """
    residual, projector = project(scores, spread)
    precision = np.einsum("sii->si", projector)
    ok = scores.used & (precision > 1e-9)
    safe = np.where(ok, precision, 1.0)
    return np.where(ok, residual / np.sqrt(safe), 0.0), np.where(ok, scores.angle - residual / safe, 0.0)


def smooth(
    scores: Scores, spread: Spread, days: FloatSeries, *, bag_share: float
) -> tuple[FloatSeries, FloatSeries]:
    """Return the curve at some days and its standard deviation, arcsine scale, (S, M) each.

    The deviation is the root sum of squares of what the photos leave open and of what all of the bag's
    photos share, which no number of photos lessens.

    Parameters
    ----------
    scores : Scores
        S segments of N photos.
    spread : Spread
        What the bags share.
    days : ndarray, shape (S, M)
        Since the segment's first photo.
    bag_share : float
        The bag's share of the claimed variance.
    """
    projector, line_weights = _solve(scores, spread)
    near = spread.bend**2 * _walk(days, scores.days) * scores.used[:, None, :]
    line = np.stack([np.ones_like(days), days], axis=2)
    weights = line @ line_weights + near @ projector
    angle = np.where(scores.used, scores.angle, 0.0)
    value = (weights @ angle[:, :, None])[:, :, 0]
    # Var(f | y) = k - near P near' + terms of the line; with its weights in closed form:
    own = spread.bend**2 * days**3 / 3.0
    noise = np.where(scores.used, spread.visible * scores.sd**2, 0.0)
    walk = spread.bend**2 * _walk(scores.days, scores.days)
    covariance = walk * (scores.used[:, :, None] & scores.used[:, None, :])
    open_ = own - 2.0 * (weights * near).sum(axis=2) + (weights * (weights @ covariance)).sum(axis=2)
    open_ = open_ + (weights**2 * noise[:, None, :]).sum(axis=2)
    shared = bag_share * ((weights * np.where(scores.used, scores.sd, 0.0)[:, None, :]).sum(axis=2)) ** 2
    return value, np.sqrt(np.maximum(open_, 0.0) + shared)
