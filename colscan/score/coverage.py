"""A bag's believed light → opacity of each place, coverage with its interval, density, what is unseen."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from colscan.photo.model import Mask
from colscan.score.face import Grid, smooth
from colscan.score.light import GAIN_STEP, Belief
from colscan.score.mixing import COVERED, Cells, Fits, chance_of_levels, covered_and_opacity
from colscan.score.prepare import Prepared

# A reflection: this much brighter than the white end and than what lies around it, or a streak
# (narrower than 8 mm) that stands out of its surround by this share of the white end. Nothing that
# grows is brighter than white.
_OVER_WHITE = 1.25
_OVER_AROUND, _AROUND_MM = 1.2, 12.0
_STREAK = 0.3
_STREAK_CELLS = 5
# Redness that comes with light, over that light: a lamp's is 0, give or take 0.2 when the card hangs in
# other light; amber's and orange's is 1 and more.
_COLOURED = 0.5
# Darker than this share of bare substrate: in shade, so neither bare nor white can be told.
_SHADE = 0.6
# One cell in nine is enough to see how coverage moves with the light.
_THINNED = 9
# Lights believed less than this are left out.
_WORTH_A_THOUGHT = 0.08
# How far the fitted light may be off, one standard deviation: the veil by this share of the white
# end for a face that fits as well as expected, more for one that fits worse; the gain by half a step.
_VEIL_OFF = 0.03
# Where the baseline's detail was not found again, a place is compared with another one: up to twice
# the doubt, in full when likeness is under this by all of it.
_SURE_LIKENESS = 0.25
_GAIN_OFF = GAIN_STEP / 2
Z90 = 1.645
"""Deviations to either side that hold 90 % of a normal distribution."""
# What moves the light is not all that can be wrong: a standard deviation at half covered, less
# towards bare and full.
_MODEL_SD = 0.03


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Unmixed:
    """What a photo shows of one bag.

    Parameters
    ----------
    opacity : ndarray, shape (h, w), float32
        Expected opacity, NaN where unseen.
    seen : ndarray of bool, shape (h, w)
        The face without everything that hides it.
    glare : float
        Share of the face under reflections.
    coverage, low, high, density : float
        Shares of the seen face.
    """

    opacity: Grid
    seen: Mask
    glare: float
    coverage: float
    low: float
    high: float
    density: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """What of a face can be seen, and the unmixing's answer there.

    Parameters
    ----------
    seen, grown, glare : ndarray of bool, shape (h, w)
        The face without what hides it; the same without suspect patches; reflections.
    chance, opacity : ndarray, shape (h, w), float32
        Chance that a cell is covered, and its expected opacity; 0 where not grown.
    """

    seen: Mask
    grown: Mask
    glare: Mask
    chance: Grid
    opacity: Grid


def look_at(bag: Prepared, cells: Cells, belief: Belief, *, patches: Mask, glare: Mask) -> Look:
    """What of one bag's face can be seen, and how opaque it is by unmixing.

    Parameters
    ----------
    cells : Cells
        Every cell of the face's grid.
    patches, glare : ndarray of bool, shape (h, w)
        Suspect patches (face, but not mycelium), and reflections.
    """
    fit = belief.best
    bare = np.float32(fit.gain[0]) * cells.brightness0 + np.float32(fit.veil[0])
    shade = (cells.brightness < _SHADE * bare).reshape(glare.shape)
    seen = bag.seen & ~glare & (~shade | patches)
    grown = seen & ~patches
    likely = belief.likeliest(_WORTH_A_THOUGHT)
    chance, opacity = np.zeros(seen.shape, np.float32), np.zeros(seen.shape, np.float32)
    chance[grown], opacity[grown] = covered_and_opacity(cells.take(np.flatnonzero(grown)), *likely)
    return Look(seen=seen, grown=grown, glare=glare, chance=chance, opacity=opacity)


def unmix(bag: Prepared, cells: Cells, belief: Belief, *, look: Look) -> Unmixed:
    """Opacity, coverage with its 90 % interval, and density of one bag.

    Parameters
    ----------
    cells : Cells
        Every cell of the face's grid.
    look : Look
        What `look_at` says of it.
    """
    seen, grown = look.seen, look.grown
    faces = max(int(seen.sum()), 1)
    opacity = np.where(seen, look.opacity, np.float32(np.nan))
    coverage = float(look.chance.sum() / faces)
    unseen = 1 - seen.sum() / max(bag.whole.sum(), 1)
    lost = max(0.0, 1 - bag.likeness / _SURE_LIKENESS)
    off = (1 + lost) * _deviation(cells, belief, grown) * grown.sum() / faces
    low, high = _interval(coverage, off, unseen=float(unseen))
    return Unmixed(
        opacity=opacity,
        seen=seen,
        glare=float((look.glare & bag.whole).sum() / max(bag.whole.sum(), 1)),
        coverage=coverage,
        low=low,
        high=high,
        density=float(np.nansum(opacity) / faces),
    )


def find_glare(bag: Prepared, cells: Cells, fit: Fits) -> Mask:
    """Reflections: brighter than white can be, or streaks that stand out; with a cell around them.

    Film reflects the lamp as it is: what adds colour as it adds light (orange, amber) is a thing.
    """
    shape = bag.seen.shape
    gain, white = np.float32(fit.gain[0]), np.float32(fit.white[0])
    over = (cells.brightness - gain * cells.brightness0).reshape(shape)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_STREAK_CELLS, _STREAK_CELLS))
    streak = cv2.morphologyEx(over, cv2.MORPH_TOPHAT, disc) > _STREAK * white
    brightness = cells.brightness.reshape(shape)
    bright = brightness > _OVER_WHITE * white
    if (bright & bag.whole).any():
        bright &= brightness > _OVER_AROUND * smooth(brightness, bag.seen, _AROUND_MM)
    redder = (cells.redness - gain * cells.redness0).reshape(shape)
    neutral = redder < _COLOURED * over
    grown = cv2.dilate(
        (((streak | bright) & neutral) | bag.face.burnt_out).astype(np.uint8), np.ones((3, 3), np.uint8)
    )
    return np.asarray((grown > 0) & bag.whole)


def _deviation(cells: Cells, belief: Belief, grown: Mask) -> float:
    """Standard deviation of coverage: over the believed lights, and with the light off by a little."""
    some = cells.take(np.flatnonzero(grown)[::_THINNED])
    if not len(some.brightness):
        return 0.0

    def covered(fits: Fits) -> NDArray[np.float64]:
        return np.asarray(chance_of_levels(some, fits)[COVERED].sum(0).mean(1, dtype=np.float64))

    fits, weight = belief.likeliest(_WORTH_A_THOUGHT)
    of_each = covered(fits)
    between = float(weight @ (of_each - weight @ of_each) ** 2)
    best = belief.best
    by_veil, by_gain = (
        float((covered(_moved(best, **{what: by})) - covered(_moved(best, **{what: -by})))[0]) / 2
        for what, by in (("veil", _VEIL_OFF * float(np.sqrt(best.scale[0]))), ("gain", _GAIN_OFF))
    )
    return float(np.sqrt(between + by_veil**2 + by_gain**2))


def _moved(fit: Fits, *, veil: float = 0.0, gain: float = 0.0) -> Fits:
    return replace(fit, veil=fit.veil + veil * fit.white, gain=fit.gain * (1 + gain))


def _interval(coverage: float, off: float, *, unseen: float) -> tuple[float, float]:
    """90 % interval: the model's own doubt, and what the unseen part may hide.

    Where nothing is seen, the share covered lies between c^2 and 1 - (1 - c)^2: a bare face hides
    no colony behind its card, a half grown one may.
    """
    chance = min(max(coverage, 0.0), 1.0)
    half = Z90 * float(np.hypot(off, _MODEL_SD * 2 * np.sqrt(chance * (1 - chance) + 0.02)))
    hidden = unseen * chance * (1 - chance)
    return max(0.0, coverage - half - hidden), min(1.0, coverage + half + hidden)
