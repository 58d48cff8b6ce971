"""Limits of the share lost at each level: with what bags of a heat run share, and pooled over levels."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from colscan.growth.risk.followed import Fate, FollowedBag
from colscan.growth.risk.model import Level, LevelRisk
from colscan.trial.power import CORRELATION, MOST_BAGS, effective_bags, lower_limit, upper_limit

Cells = tuple[NDArray[np.float64], NDArray[np.float64]]
"""Losses and bags of each heat run of one strain and level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """What a level is held against.

    Parameters
    ----------
    accepted : float
        Share of bags that may be lost.
    correlation : float
        Of bags that share their luck, which the limit allows for.
    clusters : str
        What they share it by, in words.
    """

    accepted: float
    correlation: float
    clusters: str


def cells_of(bags: Iterable[FollowedBag]) -> tuple[Cells, ...]:
    """Return losses and bags by heat run, for each strain and level; only followed bags count."""
    counted: dict[tuple[str, Level], dict[str, list[int]]] = {}
    for own in bags:
        if own.followed:
            cell = counted.setdefault((own.bag.strain, own.level), {}).setdefault(own.cluster, [0, 0])
            cell[0] += own.fate is Fate.LOST
            cell[1] += 1
    arrays = [np.array([*runs.values()], dtype=np.float64) for runs in counted.values()]
    return tuple((array[:, 0], array[:, 1]) for array in arrays)


def estimate_correlation(cells: Sequence[Cells]) -> float | None:
    """Return the correlation between two bags of a heat run, None when the bags can't tell.

    The analysis-of-variance estimate within strain and level, pooled over those that lost some bags and not
    all (Ridout, Demetrio and Firth 1999, doi:10.1111/j.0006-341X.1999.00137.x). It is negative when runs are
    more alike than chance makes them.

    Parameters
    ----------
    cells : sequence of pairs of ndarray
        Losses and bags of each heat run, for each strain and level.
    """
    between = within = runs_free = bags_free = size = 0.0
    for lost, bags in cells:
        total, all_lost = bags.sum(), lost.sum()
        if not 0 < all_lost < total or len(bags) < 2:
            continue
        squares = (lost**2 / bags).sum()
        between += squares - all_lost**2 / total
        within += all_lost - squares
        runs_free += len(bags) - 1
        bags_free += total - len(bags)
        size += total - (bags**2).sum() / total
    if not runs_free or not bags_free:
        return None
    mean_between, mean_within = between / runs_free, within / bags_free
    spread = mean_between + (size / runs_free - 1) * mean_within
    return float((mean_between - mean_within) / spread)


def correlation_to_use(estimate: float | None) -> float:
    """Return the correlation that limits allow for: the estimate, at least the assumed one, at most 1."""
    return CORRELATION if estimate is None else min(1.0, max(CORRELATION, estimate))


def judge_level(level: Level, bags: Sequence[FollowedBag], rule: Rule) -> LevelRisk:
    """Return what the bags of one level show; `pooled` is left to `pool_levels`.

    Parameters
    ----------
    level : Level
        Their level.
    bags : sequence of FollowedBag
        All that were spawned.
    rule : Rule
        What it is held against.
    """
    fates = Counter(own.fate for own in bags)
    lost, clean = fates[Fate.LOST], fates[Fate.CLEAN]
    followed = lost + clean
    runs = _sizes(own for own in bags if own.followed)
    worth = effective_bags(runs, rule.correlation)
    limit = upper_limit(lost, followed, worth) if followed else None
    more, more_runs = _more(lost, bags, rule) or (None, None)
    return LevelRisk(
        level=level,
        spawned=len(bags),
        lost=lost,
        clean=clean,
        running=fates[Fate.RUNNING],
        gone=fates[Fate.GONE],
        not_looked_round=sum(own.fate is Fate.CLEAN and not own.looked_round for own in bags),
        suspects=sum(own.at_worst is Fate.LOST and own.fate is not Fate.LOST for own in bags),
        runs=len(runs),
        effective=worth,
        limit_if_independent=upper_limit(lost, followed) if followed else None,
        limit=limit,
        limit_at_worst=_limit_at_worst(bags, rule),
        low=lower_limit(lost, followed, worth) if followed else None,
        high=limit,
        pooled=None,
        acceptable=limit is not None and limit <= rule.accepted,
        more=more,
        more_runs=more_runs,
    )


def _sizes(bags: Iterable[FollowedBag]) -> list[int]:
    return [*Counter(own.cluster for own in bags).values()]


def worth_of_one(bags: Iterable[FollowedBag], correlation: float) -> float:
    """Return how many independent bags each followed one is worth, in (0, 1], over all levels together."""
    sizes = _sizes(own for own in bags if own.followed)
    return effective_bags(sizes, correlation) / sum(sizes) if sizes else 1.0


def _limit_at_worst(bags: Sequence[FollowedBag], rule: Rule) -> float | None:
    entering = [own for own in bags if own.at_worst in (Fate.LOST, Fate.CLEAN)]
    if not entering:
        return None
    lost = sum(own.at_worst is Fate.LOST for own in entering)
    return upper_limit(lost, len(entering), effective_bags(_sizes(entering), rule.correlation))


def _more(lost: int, bags: Sequence[FollowedBag], rule: Rule) -> tuple[int, int] | None:
    """Further bags without a loss that bring the limit within the accepted risk, and in how many runs.

    In runs as large as those so far: more bags in one run hardly show more.
    """
    followed = sum(own.followed for own in bags)
    if followed and lost / followed > rule.accepted:
        return None
    runs = _sizes(own for own in bags if own.followed) or _sizes(bags)
    each = sum(size * size for size in runs) / sum(runs)
    design = 1 + (each - 1) * rule.correlation
    for more in range(MOST_BAGS):
        total = followed + more
        if total and upper_limit(lost, total, total / design) <= rule.accepted:
            return (more, ceil(more / each)) if more else None
    return None


def pool_levels(lost: Sequence[int], bags: Sequence[int]) -> tuple[float | None, ...]:
    """Return the share lost at each level if it never falls from one to the next, None without bags at all.

    Neighbours that are out of order are pooled, weighted by their bags (Ayer et al. 1955,
    doi:10.1214/aoms/1177728423). A level without bags takes the share of the one before it.

    Parameters
    ----------
    lost, bags : sequence of int
        Of each level, rising.

    >>> pool_levels([0, 2, 1, 5], [10, 10, 10, 10])
    (0.0, 0.15, 0.15, 0.5)
    """
    blocks: list[list[int]] = []
    for own_lost, own_bags in zip(lost, bags, strict=True):
        blocks.append([own_lost, own_bags, 1])
        while len(blocks) > 1 and blocks[-2][0] * blocks[-1][1] >= blocks[-1][0] * blocks[-2][1]:
            last = blocks.pop()
            blocks[-1] = [a + b for a, b in zip(blocks[-1], last, strict=True)]
    return tuple(
        block_lost / block_bags if block_bags else None
        for block_lost, block_bags, levels in blocks
        for _ in range(levels)
    )


def highest_acceptable(levels: Sequence[LevelRisk]) -> Level | None:
    """Return the last level before the first whose limit passes the accepted risk; None without one.

    No level is skipped, so that the chance to name an unacceptable one is that of one limit to be wrong.

    Parameters
    ----------
    levels : sequence of LevelRisk
        Rising.
    """
    highest = None
    for own in levels:
        if not own.acceptable:
            break
        highest = own.level
    return highest
