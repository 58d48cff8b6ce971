"""Whether losses rise with the level: Cochran and Armitage within strain and heat run, by exchanging."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import permutations
from math import comb, factorial, prod, sqrt

import numpy as np
from numpy.typing import NDArray

from colscan.growth.risk.model import Trend
from colscan.trial.power import ALPHA

SEED = 1
DRAWN = 9_999
# Up to here every exchange is tried; beyond, as many as `DRAWN` are drawn.
_MOST_EXCHANGES = 20_000
# From so many bags on, a correlation of 0.1 within a batch gives its losses 1.3 times the variance.
_LARGE_BATCH = 4
# Sums that differ by rounding only are the same; levels are told apart to a millionth of a percent.
_DIGITS, _SAME = 9, 1e-7
_UNITS = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Stratum:
    """Bags of one strain that went through one heat run: their levels (%), and losses and bags of each."""

    pcts: tuple[float, ...]
    lost: tuple[int, ...]
    bags: tuple[int, ...]

    @property
    def compares(self) -> bool:
        """Whether it holds two levels, some lost and some not: else it says nothing."""
        return len(self.pcts) > 1 and 0 < sum(self.lost) < sum(self.bags)


def judge_trend(strata: Sequence[Stratum], *, interim: bool) -> Trend:
    """Return the trend of losses over levels.

    Bags are exchanged between the levels of their heat run one by one: the exact conditional test, in which
    the luck of a run can't be taken for an effect. Large batches (a level's bags in a run, which often are
    one mix) may have a luck of their own: they are exchanged whole, where the plan has enough of them.

    Parameters
    ----------
    strata : sequence of Stratum
        One per strain and heat run.
    interim : bool
        Whether the trial goes on: then there is no p-value.
    """
    comparing = [stratum for stratum in strata if stratum.compares]
    if not comparing:
        return Trend(why_not=_why_not(strata))
    z = armitage_z(comparing)
    if interim:
        return Trend(z=z, why_not="the trial goes on: results are interim")
    if _exchanges_batches(strata):
        seed = SEED if _ways(comparing) > _MOST_EXCHANGES else None
        return Trend(z=z, p=p_of_batches(comparing), exchanged="batches", seed=seed)
    return Trend(z=z, p=exact_p(comparing)[1], exchanged="bags")


def _exchanges_batches(strata: Sequence[Stratum]) -> bool:
    """Whether batches are large, and could show something. It follows from the plan, not from the losses."""
    several = [stratum for stratum in strata if len(stratum.pcts) > 1]
    sizes = [bags for stratum in several for bags in stratum.bags]
    return smallest_p(several) <= ALPHA and sum(sizes) >= _LARGE_BATCH * len(sizes)


def _why_not(strata: Sequence[Stratum]) -> str:
    if len({pct for stratum in strata for pct in stratum.pcts}) < 2:
        return "fewer than two levels have followed bags"
    lost, bags = (
        sum(sum(own) for own in kind) for kind in zip(*((s.lost, s.bags) for s in strata), strict=True)
    )
    if lost in (0, bags):
        return "every bag was lost" if lost else "no bag was lost"
    if all(len(stratum.pcts) < 2 for stratum in strata):
        return "level and heat run can't be told apart: the bags followed of each run are of one level"
    return "no heat run with several levels lost some of its bags and kept others"


def armitage_z(strata: Sequence[Stratum]) -> float:
    """Return z of the trend within strata (Cochran 1954, doi:10.2307/3001616; Armitage 1955,
    doi:10.2307/3001775): their sums and their variances added up.

    Parameters
    ----------
    strata : sequence of Stratum
        Each with two levels, some bags lost and some not.
    """  # noqa: D205 - the source belongs to the first line
    score = variance = 0.0
    for stratum in strata:
        pcts, lost, bags = map(np.asarray, (stratum.pcts, stratum.lost, stratum.bags))
        centred = pcts - (bags * pcts).sum() / bags.sum()
        share = lost.sum() / bags.sum()
        score += float((centred * lost).sum())
        variance += float(share * (1 - share) * (bags * centred**2).sum())
    return score / sqrt(variance)


def exact_p(strata: Sequence[Stratum]) -> tuple[float, float]:
    """Return the exact conditional p-values, one-sided for rising and two-sided.

    Given how many bags of each stratum were lost, every choice of which ones is equally likely. Two-sided
    is the chance of a sum at least as far from its mean.

    Parameters
    ----------
    strata : sequence of Stratum
        Each with its levels.
    """
    sums, chances = reduce(_add, map(_exact_sums, strata))
    seen = sum(map(_score, strata))
    mean = float((sums * chances).sum())
    apart = np.abs(sums - mean) >= abs(seen - mean) - _SAME
    return float(chances[sums >= seen - _SAME].sum()), min(1.0, float(chances[apart].sum()))


Sums = tuple[NDArray[np.float64], NDArray[np.float64]]


def _score(stratum: Stratum) -> float:
    return sum(pct * lost for pct, lost in zip(stratum.pcts, stratum.lost, strict=True))


def _exact_sums(stratum: Stratum) -> Sums:
    """Every sum of level x losses, and its chance when the lost bags are drawn from all."""
    left, rest = sum(stratum.lost), sum(stratum.bags)
    # Ways by the bags still to be drawn and the sum so far; whole numbers, so that equal sums are the same.
    reached: dict[int, dict[int, int]] = {left: {0: 1}}
    for bags, pct in sorted(zip(stratum.bags, stratum.pcts, strict=True)):
        rest -= bags
        score, chosen = round(pct * _UNITS), [comb(bags, own) for own in range(min(bags, left) + 1)]
        following: dict[int, dict[int, int]] = {}
        for to_draw, sums in reached.items():
            for own in range(max(0, to_draw - rest), min(bags, to_draw) + 1):
                drawn = following.setdefault(to_draw - own, {})
                for so_far, ways in sums.items():
                    key = so_far + own * score
                    drawn[key] = drawn.get(key, 0) + ways * chosen[own]
        reached = following
    every = sum(reached[0].values())
    return np.array([*reached[0]]) / _UNITS, np.array([ways / every for ways in reached[0].values()])


def _add(one: Sums, other: Sums) -> Sums:
    sums = np.round(np.add.outer(one[0], other[0]).ravel(), _DIGITS)
    unique, where = np.unique(sums, return_inverse=True)
    chances = np.bincount(where, weights=np.multiply.outer(one[1], other[1]).ravel())
    return unique.astype(np.float64), chances.astype(np.float64)


def smallest_p(strata: Sequence[Stratum]) -> float:
    """Return about the smallest two-sided p-value that exchanging whole batches can give."""
    return 2 / _ways(strata)


def _ways(strata: Sequence[Stratum]) -> int:
    return prod(factorial(len(stratum.pcts)) for stratum in strata)


def p_of_batches(strata: Sequence[Stratum]) -> float:
    """Return the two-sided p-value of exchanging all bags of a level and heat run together.

    Within a stratum the levels change places between batches; every way is tried, or 9,999 drawn ones
    (seed 1, the one that was seen counted among them). Compared is the sum of level x (losses - those
    expected from the stratum's share).

    Parameters
    ----------
    strata : sequence of Stratum
        Each with its levels.
    """
    excess = [_excess(stratum) for stratum in strata]
    seen = sum(
        float((np.array(stratum.pcts) * own).sum()) for stratum, own in zip(strata, excess, strict=True)
    )
    edge = abs(seen) - _SAME
    if _ways(strata) <= _MOST_EXCHANGES:
        each = [
            np.array([np.dot(order, own) for order in permutations(stratum.pcts)])
            for stratum, own in zip(strata, excess, strict=True)
        ]
        return float((np.abs(reduce(lambda a, b: np.add.outer(a, b).ravel(), each)) >= edge).mean())
    rng = np.random.default_rng(SEED)
    sums = np.zeros(DRAWN)
    for stratum, own in zip(strata, excess, strict=True):
        orders = rng.permuted(np.tile(np.array(stratum.pcts), (DRAWN, 1)), axis=1)
        sums += orders @ own
    return float((1 + (np.abs(sums) >= edge).sum()) / (DRAWN + 1))


def _excess(stratum: Stratum) -> NDArray[np.float64]:
    lost, bags = np.array(stratum.lost, dtype=np.float64), np.array(stratum.bags, dtype=np.float64)
    excess: NDArray[np.float64] = lost - bags * lost.sum() / bags.sum()
    return excess
