"""What a score's error is made of: its own, what a photo's bags share, what a bag's photos share."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from colscan.growth.curve.model import ErrorParts
from colscan.growth.curve.smooth import Scores, Spread, project

USUAL_PHOTO = 0.25
"""The photo's part of what differs between photos, on rendered series: for trials of few photos."""
LEAST_PHOTOS = 10
"""Photos of two bags or more, below which the trial itself can't tell: its part is one draw a photo."""
LEAST_BAG = 1 / 3
"""Of what differs between photos. Where scores scatter by all that they claim, or by more, nothing would be
left for the bag; but the same film is before the same bag every day (on rendered series it is two thirds)."""


def divide_errors(scores: Scores, spread: Spread, keys: Sequence[Sequence[str]]) -> ErrorParts:
    """Return how the claimed variance divides.

    The photo's part is what the residuals of different bags in one photo have in common, by the method of
    moments. A bag's part can't be seen in its own scores, for the course takes it up: it is what the scorer
    claims beyond what is seen.

    Parameters
    ----------
    scores : Scores
        S segments of N photos.
    spread : Spread
        What the bags share.
    keys : sequence of sequences of str
        Each segment's photos, as many as it has scores.
    """
    visible = spread.visible
    photo = _photo_part(scores, spread, keys)
    photo = visible * USUAL_PHOTO if photo is None else min(max(photo, 0.0), visible)
    return ErrorParts(
        own=float(visible - photo), photo=float(photo), bag=float(max(1.0 - visible, LEAST_BAG * visible))
    )


def _photo_part(scores: Scores, spread: Spread, keys: Sequence[Sequence[str]]) -> float | None:
    """With u = S P y, Q = S P S of each segment, over photos: E sum u_i u_k = part x sum Q_i Q_k (i != k)."""
    column = {key: j for j, key in enumerate(dict.fromkeys(key for photos in keys for key in photos))}
    counts = np.bincount([column[key] for photos in keys for key in photos])
    if (counts > 1).sum() < LEAST_PHOTOS:
        return None
    residual, projector = project(scores, spread)
    sd = np.where(scores.used, scores.sd, 0.0)
    left = np.zeros((len(keys), len(column)))
    form_sum, form_squares = np.zeros((2, len(column), len(column)))
    for i, photos in enumerate(keys):
        at = [column[key] for key in photos]
        n = len(at)
        left[i, at] = sd[i, :n] * residual[i, :n]
        form = sd[i, :n, None] * projector[i, :n, :n] * sd[i, None, :n]
        form_sum[np.ix_(at, at)] += form
        form_squares[np.ix_(at, at)] += form**2
    got = (left.sum(axis=0) ** 2 - (left**2).sum(axis=0)).sum()
    unit = (form_sum**2 - form_squares).sum()
    return float(got / unit) if unit > 0 else None
