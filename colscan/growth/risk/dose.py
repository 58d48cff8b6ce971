"""The level at which the accepted risk is reached: a penalised logistic curve through all levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colscan.growth.risk.model import Dose

Counts = NDArray[np.float64]
_STEPS = 200
_CLOSE = 1e-10
# A slope below this in log odds over all levels is none: nothing rises.
_FLAT = 1e-6
# Likelihood ratio up to which a dose belongs to its 90 % interval: the 0.90 quantile of chi-square, 1 df.
_LIKELY = 2.705543454
# Doses are looked for this many spans of the levels away; one still likely there is open to that side.
_FARTHEST_SPANS = 50.0
# Slopes tried for each dose, log odds over the span of the levels: neighbours 4 % apart.
_SLOPES = np.geomspace(1e-3, 1e4, 401)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogisticCurve:
    """Log odds of a loss = intercept + slope x level (%)."""

    intercept: float
    slope: float

    def risk(self, pcts: Counts) -> Counts:
        """Return the risk at levels, fraction."""
        return _expit(self.intercept + self.slope * pcts)


def _expit(log_odds: Counts) -> Counts:
    return 0.5 * (1 + np.tanh(0.5 * log_odds))


def fit_penalised(pcts: Counts, lost: Counts, bags: Counts) -> LogisticCurve:
    """Return the logistic curve of the largest penalised likelihood.

    Firth's penalty (1993, doi:10.1093/biomet/80.1.27), the root of the determinant of the information, keeps
    it finite where a level separates lost from clean bags (Heinze and Schemper 2002, doi:10.1002/sim.1047).

    Parameters
    ----------
    pcts : ndarray, shape (L,)
        Levels, at least two different ones, %.
    lost, bags : ndarray, shape (L,)
        Of each level; may be fractions of bags.
    """
    middle, span = float(pcts.mean()), float(np.ptp(pcts))
    design = np.column_stack([np.ones_like(pcts), (pcts - middle) / span])
    beta = np.zeros(2)
    for _ in range(_STEPS):
        risk = _expit(design @ beta)
        weight = bags * risk * (1 - risk)
        inverse = np.linalg.inv(design.T @ (weight[:, None] * design))
        leverage = weight * np.einsum("ij,jk,ik->i", design, inverse, design)
        step = inverse @ design.T @ (lost - bags * risk + leverage * (0.5 - risk))
        reached = _penalised(design @ beta, lost, bags, design=design)
        while _penalised(design @ (beta + step), lost, bags, design=design) < reached - _CLOSE:
            step = step / 2
        beta = beta + step
        if np.abs(step).max() < _CLOSE:
            break
    slope = float(beta[1]) / span
    return LogisticCurve(intercept=float(beta[0]) - slope * middle, slope=slope)


def _penalised(log_odds: Counts, lost: Counts, bags: Counts, *, design: Counts) -> Counts:
    """Penalised log likelihood, over the last axis of `log_odds`."""
    risk = _expit(log_odds)
    weight = bags * risk * (1 - risk)
    likelihood = (lost * log_odds - bags * np.logaddexp(0, log_odds)).sum(axis=-1)
    x = design[:, 1]
    sums = weight.sum(axis=-1), (weight * x).sum(axis=-1), (weight * x * x).sum(axis=-1)
    information = np.maximum(sums[0] * sums[2] - sums[1] ** 2, np.finfo(float).tiny)
    penalised: Counts = likelihood + 0.5 * np.log(information)
    return penalised


def estimate_dose(
    pcts: Sequence[float],
    lost: Sequence[int],
    bags: Sequence[int],
    *,
    worth: float,
    accepted: float,
) -> Dose:
    """Return the level at which the accepted risk is reached, with its interval.

    The interval is that of the profile of the penalised likelihood (Heinze and Schemper 2002), at the
    independent bags that the bags are worth. A run's luck shifts all its levels, so its bags of all levels
    count together. Slopes below 0 are left out: supplement doesn't protect.

    Parameters
    ----------
    pcts : sequence of float
        Levels, rising, %.
    lost, bags : sequence of int
        Of each level's followed bags.
    worth : float
        Independent bags that a bag is worth, in (0, 1].
    accepted : float
        Accepted risk, fraction in (0, 1).
    """
    counted = [i for i, own in enumerate(bags) if own]
    x, k, n = (np.array([values[i] for i in counted], dtype=np.float64) for values in (pcts, lost, bags))
    if len(x) < 2:
        return Dose(why_not="fewer than two levels have followed bags")
    if not k.sum() or k.sum() == n.sum():
        return Dose(why_not="no bag was lost" if not k.sum() else "every bag was lost")
    curve = fit_penalised(x, k, n)
    if curve.slope * np.ptp(x) < _FLAT:
        return Dose(slope=curve.slope, why_not="losses don't rise with the level")
    dose = (np.log(accepted / (1 - accepted)) - curve.intercept) / curve.slope
    low, high = _interval(float(dose), x, lost=k * worth, bags=n * worth, accepted=accepted)
    return Dose(pct=float(dose), low_pct=low, high_pct=high, slope=curve.slope)


def _interval(
    dose: float, pcts: Counts, *, lost: Counts, bags: Counts, accepted: float
) -> tuple[float | None, float | None]:
    middle, span = float(pcts.mean()), float(np.ptp(pcts))
    x = (pcts - middle) / span
    design = np.column_stack([np.ones_like(x), x])
    target = np.log(accepted / (1 - accepted))

    def profile(place: float) -> float:
        log_odds = target + _SLOPES[:, None] * (x - place)
        return float(_penalised(log_odds, lost, bags, design=design).max())

    from scipy.optimize import brentq, minimize_scalar

    start = (dose - middle) / span
    best = minimize_scalar(lambda place: -profile(place), bracket=(start - 0.1, start + 0.1))
    top, peak = -float(best.fun), float(best.x)

    def beyond(place: float) -> float:
        return 2 * (top - profile(place)) - _LIKELY

    ends: list[float | None] = []
    for sign in (-1.0, 1.0):
        far = peak + sign * _FARTHEST_SPANS
        end = brentq(beyond, peak, far) if beyond(far) > 0 else None
        ends.append(None if end is None else middle + span * float(end))
    return ends[0], ends[1]
