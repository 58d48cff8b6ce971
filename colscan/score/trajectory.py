"""How far a bag is and how quickly it grows, as chances carried from photo to photo.

Spawn grains grow as balls of constant radial velocity, and a face is a cut through them, so the
share not yet covered is exp(-z**3) with z growing linearly in time: z = (4 pi / 3 * grains per
volume)**(1/3) * velocity * days (Johnson-Mehl-Avrami-Kolmogorov; on a cut the area fraction is the
volume fraction). A belief holds the chance of each z with each rate dz/dt.

References
----------
Avrami 1940, doi:10.1063/1.1750631.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Z = np.arange(0.0, 2.06, 0.03)
"""Progress; 0 is bare, 1.58 is 98 % covered."""
COVERAGE = 1 - np.exp(-(Z**3))
"""Share of the face that is covered at each of `Z`."""
# Rates from a face that stands still to one that is full in four days.
_RATES = np.exp(np.linspace(np.log(0.02), np.log(0.5), 20))
# Spawn runs take 8 to 26 days (Pleurotus species 17 to 24 or 26, warm grain-rich blocks from 8), which
# is z = 1.58 at 0.29 to 0.067 a day after the lag: nine in ten bags lie between.
_RATE, _RATE_SD = 0.14, 0.5
# Spawn recovers before it grows out, and is seen when it is thick enough to count: a lag of this many days
# on average, exponential, after the first half day.
_LAG_DAYS, _LEAST_LAG_DAYS = 1.0, 0.5
# The rate wanders (log, per root day): spawn on top, one front, slows to a third over a fortnight.
_WANDER = 0.12
# And from day to day by a fifth: 20 to 25 C changes the velocity of P. eryngii by 18 %.
_UNEVEN = 0.2
# Chance below both ends of ranges that hold 90 %.
_LIMITS = np.add.outer([0.0, 0.9], np.linspace(0.0, 0.1, 41))
# A normal distribution as nine equally likely points of mean 0 and deviation 1.
_NODES = np.array([-1.711, -1.039, -0.633, -0.303, 0.0, 0.303, 0.633, 1.039, 1.711])
# Chance that a bag is nothing like that: a wrong date, spawned elsewhere.
_OUT_OF_THE_ORDINARY = 0.02
# Chance a day that what is remembered is mistaken altogether, or that something happened which nobody
# noted: then only the bag's age is known. Well under the next one, or a single day of fog would be
# believed more than all the clear days before.
_MISTAKEN_PER_DAY = 0.015
# Chance that a photo's answer is wrong beyond its own interval, fog read as growth: then it tells nothing.
_PHOTO_WRONG = 0.06
# Otherwise its error is Student's t with this many degrees of freedom, and 90 % of it lie within so many
# deviations.
_FREEDOM = 4.0
_WITHIN_90 = 2.132
# No photo is surer than this, one standard deviation of coverage.
_LEAST_SD = 0.015


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trajectory:
    """Chance of each progress and rate.

    Parameters
    ----------
    chance : ndarray, shape (len(Z), 20)
        Sums to 1.
    """

    chance: NDArray[np.float64]

    @property
    def coverage(self) -> float:
        """Expected coverage (fraction), what lies outside the interval left out as if it were at its ends."""
        share = self.chance.sum(1)
        return float(share @ np.clip(COVERAGE, *self.interval()))

    def interval(self) -> tuple[float, float]:
        """The shortest range of coverage (fractions) that holds 90 % of the chance."""
        share = self.chance.sum(1)
        reached = np.cumsum(share) - share / 2
        low, high = np.interp(_LIMITS, reached, COVERAGE)
        shortest = int(np.argmin(high - low))
        return float(low[shortest]), float(high[shortest])


@lru_cache(maxsize=64)
def just_spawned(days: float) -> Trajectory:
    """What is known of a bag `days` after spawning before its first photo is looked at."""
    bare = np.zeros((len(Z), len(_RATES)))
    bare[0] = _usual_rates()
    grown = _grown(bare, max(0.0, days - _LEAST_LAG_DAYS))
    return _mixed(grown, _anything(), _OUT_OF_THE_ORDINARY)


def unknown() -> Trajectory:
    """What is known of a bag of which nothing is: every coverage alike."""
    return Trajectory(chance=_anything())


def grow(known: Trajectory, days: float, *, otherwise: Trajectory) -> Trajectory:
    """What is known after some days more: coverage never falls, if what was known is right.

    Parameters
    ----------
    known : Trajectory
        Before.
    days : float
        Since then, not negative.
    otherwise : Trajectory
        What would be known today if what was known before were mistaken.
    """
    mistaken = 1 - np.exp(-_MISTAKEN_PER_DAY * days)
    return _mixed(_grown(known.chance, days), otherwise.chance, float(mistaken))


def _grown(chance: NDArray[np.float64], days: float) -> NDArray[np.float64]:
    """Rates wander, and each progress moves on by its rate and by how uneven the days are.

    What is bare may not have begun; its rate stays as open as it was.
    """
    if days <= 0:
        return chance
    log_rate = np.log(_RATES)
    turn = np.exp(-0.5 * ((log_rate[:, None] - log_rate[None]) / (_WANDER * np.sqrt(days))) ** 2)
    turned = chance @ (turn / turn.sum(1, keepdims=True))
    begun, bare = turned.copy(), np.zeros_like(turned)
    begun[0], bare[0] = 0.0, turned[0]
    uneven = _UNEVEN * min(days, np.sqrt(days))
    waiting, growing, growing_sd = _begin(days)
    fresh = _walk(bare, _RATES * growing, _RATES * growing_sd)
    return np.asarray(_walk(begun, _RATES * days, _RATES * uneven) + (1 - waiting) * fresh + waiting * bare)


def _begin(days: float) -> tuple[float, float, float]:
    """Chance that a lag isn't over after some days; else for how many of them it is, and their deviation.

    The lag is exponential; of those that are over, cut off at `days`.
    """
    waiting = float(np.exp(-days / _LAG_DAYS))
    late = days * waiting / (1 - waiting)
    spread = max(_LAG_DAYS**2 - late * days / (1 - waiting), 0.0)
    return waiting, days - (_LAG_DAYS - late), float(np.sqrt(spread))


def _walk(
    chance: NDArray[np.float64], gone: NDArray[np.float64], sd: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Each rate's progress moved on by a normal step of its own, never back nor off the end of `Z`."""
    length, width = len(Z), Z[1] - Z[0]
    nodes = np.clip(gone + _NODES[:, None] * sd, 0.0, Z[-1]) / width
    # A step between two points of the grid is shared by both, so that its mean is kept.
    step = np.maximum(0.0, 1 - np.abs(np.arange(length)[:, None, None] - nodes)).mean(1)
    moved = np.fft.irfft(
        np.fft.rfft(chance, 2 * length, axis=0) * np.fft.rfft(step, 2 * length, axis=0), 2 * length, axis=0
    )
    moved = np.maximum(moved, 0.0)
    moved[length - 1] += moved[length:].sum(0)
    return np.asarray(moved[:length])


def look(known: Trajectory, coverage: float, *, low: float, high: float) -> Trajectory:
    """What is known after a photo that says `coverage` with a 90 % interval (fractions)."""
    sd = max(high - coverage, coverage - low, _LEAST_SD * _WITHIN_90) / _WITHIN_90
    fits = (1 + ((COVERAGE - coverage) / sd) ** 2 / _FREEDOM) ** (-(_FREEDOM + 1) / 2)
    likelihood = (1 - _PHOTO_WRONG) * 0.375 * fits / sd + _PHOTO_WRONG
    chance = known.chance * likelihood[:, None]
    return Trajectory(chance=chance / chance.sum())


def _usual_rates() -> NDArray[np.float64]:
    chance = np.exp(-0.5 * ((np.log(_RATES) - np.log(_RATE)) / _RATE_SD) ** 2)
    return np.asarray(chance / chance.sum())


def _anything() -> NDArray[np.float64]:
    """Every coverage alike, at the usual rates."""
    width = np.gradient(COVERAGE)
    return np.outer(width / width.sum(), _usual_rates())


def _mixed(chance: NDArray[np.float64], other: NDArray[np.float64], share: float) -> Trajectory:
    mixed = (1 - share) * chance / chance.sum() + share * other
    return Trajectory(chance=mixed)
