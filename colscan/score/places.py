"""Places of a face: what is covered where a photo shows nothing, and what stays covered.

A photo's own map is trusted for the order of places, which is more covered than which; how much of
the face is covered is settled for the face as a whole.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.score.model import FaceMap

# Opacity from which a place counts as covered, and by how much one place's is off.
_COVERED, _COVERED_SD = 0.12, 0.03
# A hidden place takes from its neighbours, the nearest first; this much of what is wider around keeps
# a few cells at its rim from speaking alone.
_FROM_AROUND = 0.1
# Covered before by at least this chance: known, though hidden today.
_SURELY = 0.9
# How far a place that was covered before is believed against a photo that shows it bare (fog and glare
# come and go, registration is off by a cell or two).
_STAYS = 0.5
# Mean opacity of mycelium, at the least and at the most.
_THINNEST, _DENSEST = 0.15, 0.9
_ROUNDS, _SETTLED, _TINY = 24, 1e-4, 1e-9
_MOST_LOG_FACTOR = 12.0
_EVERY = 5


def chance_covered(opacity: FaceMap, coverage: float, *, face: NDArray[np.bool_]) -> FaceMap:
    """Chance that each place of a face is covered, (h, w), by one photo; 0 in patches and outside the face.

    Parameters
    ----------
    opacity : FaceMap, shape (h, w)
        Expected opacity, NaN where unseen, 0 in patches. Unseen places are taken from around.
    coverage : float
        The map's mean over the face (fraction).
    face : ndarray of bool, shape (h, w)
        The places that count.
    """
    seen = np.isfinite(opacity) & face
    odds = np.clip((np.where(seen, opacity, 0) - _COVERED) / _COVERED_SD, -30, 30)
    raw = np.where(seen & (opacity > 0), 1 / (1 + np.exp(-odds)), 0).astype(np.float32)
    filled = np.where(seen, raw, _from_around(raw, seen.astype(np.float32)))
    return shift_to(np.where(face, filled, 0).astype(np.float32), coverage, within=face)


def shift_to(chance: FaceMap, mean: float, *, within: NDArray[np.bool_]) -> FaceMap:
    """The map with all odds multiplied by one factor, so that its mean within a mask is `mean`.

    Zeros stay 0; a mean that they don't allow is approached as far as it goes.
    """
    some = np.clip(chance[within][::_EVERY], 0, 0.98).astype(np.float64)
    if not len(some):
        return chance
    return np.asarray(_scaled(np.clip(chance, 0, 0.98), _factor_for(mean, some)), np.float32)


def _factor_for(mean: float, some: NDArray[np.float64]) -> float:
    """The logarithm of the factor on all odds at which chances have a mean.

    By Newton's method on the mean's own log odds, which move nearly as much as the factor; by halves where
    that leads astray.
    """
    low, high = -_MOST_LOG_FACTOR, _MOST_LOG_FACTOR
    if mean <= 0:
        return low
    target, at = _log_odds(mean), 0.0
    for _ in range(_ROUNDS):
        scaled = _scaled(some, at)
        now = float(scaled.mean())
        low, high = (low, at) if now > mean else (at, high)
        slope = (now - float(scaled @ scaled) / len(scaled)) / max(now * (1 - now), _TINY)
        step = (target - _log_odds(now)) / max(slope, _TINY)
        at = at + step if low <= at + step <= high else (low + high) / 2
        if abs(step) < _SETTLED:
            break
    return at


def _log_odds(chance: float) -> float:
    chance = min(max(chance, _TINY), 1 - _TINY)
    return float(np.log(chance / (1 - chance)))


def _scaled(chance: NDArray[np.floating], log_factor: float) -> NDArray[np.floating]:
    odds = chance * np.exp(log_factor)
    return np.asarray(odds / (odds + 1 - chance))


def recall_hidden(chance: FaceMap, opacity: FaceMap, before: FaceMap, *, face: NDArray[np.bool_]) -> FaceMap:
    """The chances of one photo, (h, w), with those of hidden places taken from before as well.

    What was covered stays so; of what was bare, as much is covered now as of the bare places around.

    Parameters
    ----------
    chance : FaceMap, shape (h, w)
        By the photo alone.
    opacity : FaceMap, shape (h, w)
        NaN where unseen.
    before : FaceMap, shape (h, w)
        Chance that each place was covered at the photo before.
    face : ndarray of bool, shape (h, w)
        The places that count.
    """
    seen = np.isfinite(opacity) & face
    now = np.where(seen, np.maximum(chance - before, 0), 0).astype(np.float32)
    was_bare = np.where(seen, 1 - before, 0).astype(np.float32)
    recalled = before + (1 - before) * _from_around(now, was_bare)
    return np.where(face & ~seen, recalled, chance).astype(np.float32)


def _from_around(part: FaceMap, whole: FaceMap) -> FaceMap:
    """Share `part / whole`, from ever wider squares around where there is little of the whole."""
    return _from_wider(np.dstack([part, whole]))


def _from_wider(both: FaceMap) -> FaceMap:
    height, width = both.shape[:2]
    if max(height, width) <= 2:
        part, whole = both.reshape(-1, 2).sum(0).tolist()
        return np.full((height, width), part / max(whole, 1e-6), np.float32)
    half = cv2.resize(both, ((width + 1) // 2, (height + 1) // 2), interpolation=cv2.INTER_AREA)
    around = cv2.resize(_from_wider(np.asarray(half)), (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray((both[..., 0] + _FROM_AROUND * around) / (both[..., 1] + _FROM_AROUND), np.float32)


def known_share(opacity: FaceMap, before: FaceMap, *, face: NDArray[np.bool_]) -> float:
    """Share of the face that is hidden today and known to be covered from before."""
    known = face & ~np.isfinite(opacity) & (before > _SURELY)
    return float(known.sum() / max(face.sum(), 1))


def carry(chance: FaceMap, before: FaceMap | None, *, coverage: float, face: NDArray[np.bool_]) -> FaceMap:
    """What is known of each place after a photo, (h, w), with mean `coverage`: today's, and what stays."""
    if before is not None:
        chance = np.where(chance == 0, 0, chance + (1 - chance) * _STAYS * before).astype(np.float32)
    return shift_to(chance, coverage, within=face)


def opacity_between(opacity: FaceMap, shown: FaceMap, believed: FaceMap, *, face: NDArray[np.bool_]) -> float:
    """How much denser a face is than its photo shows, where more of it (or less) is believed covered.

    Parameters
    ----------
    opacity : FaceMap, shape (h, w)
        As the photo shows it, NaN where unseen.
    shown, believed : FaceMap, shape (h, w)
        Chance that each place is covered, by the photo and by all that is known.
    face : ndarray of bool, shape (h, w)
        The places that count.
    """
    seen = np.isfinite(opacity) & face
    thick = np.clip(np.where(seen, opacity, 0) / np.maximum(shown, 1e-3), _THINNEST, _DENSEST)
    return float((thick * (believed - shown))[seen].sum() / max(seen.sum(), 1))
