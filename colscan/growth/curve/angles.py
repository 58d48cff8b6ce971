"""Scores on the arcsine scale, on which their errors are about the same at every coverage.

The scorer's errors go with the root of c (1 - c): few points at both ends, most at half. The arcsine of the
root of coverage takes that out (Freeman, Tukey 1950, doi:10.1214/aoms/1177729756), so that a bag that is
nearly bare or white doesn't seem a hundred times surer than one at half.
"""

from __future__ import annotations

import numpy as np

from colscan.growth.model import FloatSeries

Z90 = 1.6448536269514722
"""Half width of a 90 % interval in standard deviations."""
LEAST_SD = 0.01
"""Surer than a point at half covered is no score: the face's outline is not known better."""
USUAL_SD = 0.09
"""For a score without an interval: the scorer's error on rendered series it had not learnt from."""


def to_angle(fraction: FloatSeries) -> FloatSeries:
    """Return the arcsine of the root of fractions, 0 to pi/2; what lies outside 0-1 counts as its end."""
    return np.asarray(np.arcsin(np.sqrt(np.clip(fraction, 0.0, 1.0))))


def to_share(angle: FloatSeries) -> FloatSeries:
    """Return the fractions of angles; what lies outside 0 to pi/2 counts as its end."""
    return np.asarray(np.sin(np.clip(angle, 0.0, np.pi / 2)) ** 2)


def claimed_sd(value: FloatSeries, low: FloatSeries, high: FloatSeries) -> FloatSeries:
    """Return the standard deviation on the arcsine scale that 90 % intervals claim.

    The wider side counts where the interval is cut off at 0 or 1, the mean of both elsewhere.

    Parameters
    ----------
    value, low, high : ndarray, shape (N,)
        Fractions; NaN for no interval.
    """
    below, above = to_angle(value) - to_angle(low), to_angle(high) - to_angle(value)
    cut = (low <= 0.0) | (high >= 1.0)
    half = np.where(cut, np.maximum(below, above), (below + above) / 2)
    return np.where(np.isnan(half), USUAL_SD, np.maximum(half / Z90, LEAST_SD))
