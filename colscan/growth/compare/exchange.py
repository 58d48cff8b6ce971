"""Labels exchanged between bags: all ways to deal them within blocks, and what a statistic would be then.

What a treatment does nothing to comes out the same whichever bag had which label. The labels were dealt by
lot, so every other deal within the blocks was as likely (Pitman 1937, doi:10.2307/2984124).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb, prod

import numpy as np
from numpy.typing import NDArray

from colscan.growth.compare.model import SEED
from colscan.growth.model import FloatSeries

Ints = NDArray[np.int64]

MOST_LABELLINGS = 10_000
"""Up to here every way is tried; beyond, so many: a p of 0.05 is then known to 0.002."""
# Two labellings of one value differ by rounding.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Labellings:
    """Ways to deal the labels.

    Parameters
    ----------
    own : ndarray, shape (N,)
        The bags' labels: 0 for the lowest level, rising.
    dealt : ndarray, shape (M, N)
        The ways, the true one among them.
    exact : bool
        Whether they are all there are.
    """

    own: Ints
    dealt: Ints
    exact: bool


def count_labellings(labels: Sequence[int], blocks: Sequence[str]) -> int:
    """Return how many ways there are to deal the labels within the blocks.

    >>> count_labellings([0, 0, 1, 1, 0, 1], ["a", "a", "a", "a", "b", "b"])
    12
    """
    return prod(map(_count_one, _by_block(labels, blocks).values()))


def _by_block(labels: Sequence[int], blocks: Sequence[str]) -> dict[str, list[int]]:
    return {
        name: [label for label, block in zip(labels, blocks, strict=True) if block == name]
        for name in dict.fromkeys(blocks)
    }


def _count_one(labels: Sequence[int]) -> int:
    left, ways = len(labels), 1
    for count in Counter(labels).values():
        ways *= comb(left, count)
        left -= count
    return ways


def deal_labels(labels: Sequence[int], blocks: Sequence[str], *, most: int = MOST_LABELLINGS) -> Labellings:
    """Return all ways to deal the labels within the blocks, or as many drawn ones when there are more.

    Drawn ones hold the true one first, so that a share of them is (b + 1) / (m + 1) of Phipson and Smyth
    (2010, doi:10.2202/1544-6115.1585), which never understates p.

    Parameters
    ----------
    labels : sequence of int, length N
        0 for the lowest level, rising.
    blocks : sequence of str, length N
        Bags of one block exchange labels.
    most : int
        Ways to try at most.
    """
    own = np.array(labels, dtype=np.int64)
    if count_labellings(labels, blocks) <= most:
        return Labellings(own=own, dealt=_deal_all(labels, blocks), exact=True)
    rng = np.random.default_rng(SEED)
    names = {name: number for number, name in enumerate(dict.fromkeys(blocks))}
    block = np.array([names[name] for name in blocks], dtype=np.float64)
    home = np.argsort(block, kind="stable")
    dealt = np.empty((most, len(own)), dtype=np.int64)
    dealt[0] = own
    keys = block + rng.random((most - 1, len(own)))
    dealt[1:, home] = own[np.argsort(keys, axis=1)]
    return Labellings(own=own, dealt=dealt, exact=False)


def _deal_all(labels: Sequence[int], blocks: Sequence[str]) -> Ints:
    places = [[at for at, block in enumerate(blocks) if block == name] for name in dict.fromkeys(blocks)]
    ways = [np.array(list(_arrange([labels[at] for at in own])), dtype=np.int64) for own in places]
    chosen = np.indices([len(of) for of in ways]).reshape(len(ways), -1)
    dealt = np.empty((chosen.shape[1], len(labels)), dtype=np.int64)
    for own, of, which in zip(places, ways, chosen, strict=True):
        dealt[:, own] = of[which]
    return dealt


def _arrange(labels: Sequence[int]) -> Iterator[list[int]]:
    """Every different order of the labels."""
    if len(set(labels)) < 2:
        yield list(labels)
        return
    first = labels[0]
    others = [label for label in labels if label != first]
    for taken in combinations(range(len(labels)), len(labels) - len(others)):
        for rest in _arrange(others):
            left = iter(rest)
            yield [first if at in taken else next(left) for at in range(len(labels))]


def jonckheere(later: FloatSeries, labels: Ints) -> FloatSeries:
    """Return Jonckheere's statistic of each labelling, less its mean.

    Over all pairs of bags with different labels, how much more often the one with the higher label is the
    later one than the sooner one; half the classical J less its expectation doubled (Jonckheere 1954,
    doi:10.1093/biomet/41.1-2.133; Terpstra 1952). With two labels it is the statistic of Wilcoxon, Mann and
    Whitney; without ties or censoring J = (statistic + pairs) / 2.

    Parameters
    ----------
    later : ndarray, shape (N, N)
        How surely bag j is later than bag i: chance of later less chance of sooner; 0 between blocks.
    labels : ndarray of int, shape (M, N)
        A labelling each row.
    """
    total = np.zeros(len(labels))
    for label in range(1, int(labels.max(initial=0)) + 1):
        below, here = (labels < label).astype(np.float64), (labels == label).astype(np.float64)
        if label == 1 and labels.max() == 1:
            # With two labels the pairs of equal labels cancel, and rows of sums do.
            return np.asarray(here @ later.sum(axis=0))
        total += ((below @ later) * here).sum(axis=1)
    return total


def two_sided_p(statistics: FloatSeries, own: float) -> float:
    """Return the share of labellings whose statistic is as far from zero as the true one's, or farther."""
    return float((np.abs(statistics) >= abs(own) - _ROUNDING).mean())


def one_sided_ps(statistics: FloatSeries, own: float) -> tuple[float, float]:
    """Return the shares of labellings with a statistic as low as the true one's, and as high."""
    return float((statistics <= own + _ROUNDING).mean()), float((statistics >= own - _ROUNDING).mean())


def holm(ps: Sequence[float]) -> tuple[float, ...]:
    """Return p-values adjusted for their number (Holm 1979, Scand J Stat 6:65-70).

    >>> [round(p, 2) for p in holm([0.01, 0.04, 0.03, 0.005])]
    [0.03, 0.06, 0.06, 0.02]
    """
    order = sorted(range(len(ps)), key=ps.__getitem__)
    adjusted, most = [0.0] * len(ps), 0.0
    for rank, at in enumerate(order):
        most = max(most, min(1.0, (len(ps) - rank) * ps[at]))
        adjusted[at] = most
    return tuple(adjusted)


def smallest_two_sided_p(labellings: Labellings) -> float:
    """Return the smallest two-sided p that these labels could give: of the two clearest orders, or one."""
    return min(1.0, 2.0 / len(labellings.dealt))
