"""Where losses come from: heat runs, mixes, spawn lots, places, sides of the bag."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence

from colscan.growth.risk.followed import Fate, FollowedBag
from colscan.growth.risk.model import Level, LossSource

SIDE = "side of the bag"
_NOT_SAID = "not said"
SHARED_BATCH = (("heat run", "heat_run"), ("mix", "mix_batch"), ("spawn lot", "spawn_lot"))
SHARED = (*SHARED_BATCH, ("shelf", "shelf"), ("tier", "group"))
"""What bags may share that losses come from: its name, and its field of `Bag`."""


def find_sources(bags: Sequence[FollowedBag]) -> tuple[LossSource, ...]:
    """Return how many bags were lost of each that share something, beside how many were to be expected.

    Expected is what the share lost of their strains and levels gives; so a heat run that happens to hold
    the high levels doesn't stand out for them. What all bags share is left out.

    Parameters
    ----------
    bags : sequence of FollowedBag
        Of all trials; those that weren't followed are passed over.
    """
    followed = [own for own in bags if own.followed]
    if not any(own.fate is Fate.LOST for own in followed):
        return ()
    several = len({own.trial for own in bags}) > 1
    shares = _shares(followed)
    found: list[LossSource] = []
    for kind, field in SHARED:
        groups: dict[str, list[FollowedBag]] = {}
        for own in followed:
            if name := getattr(own.bag, field):
                groups.setdefault(f"{own.trial} {name}" if several else str(name), []).append(own)
        if len(groups) > 1:
            found += [_source(kind, name, groups[name], shares) for name in sorted(groups)]
    return (*found, *_sides(own for own in followed if own.fate is Fate.LOST))


def chance_of_gathering(bags: Sequence[FollowedBag], members: frozenset[str]) -> float:
    """Return the chance that as many losses or more fall on some bags if only strain and level matter.

    The losses of each strain and level fall on any of its bags alike: the upper tail of a sum of
    hypergeometric counts, exact (Fisher 1935, doi:10.2307/2342435).

    Parameters
    ----------
    bags : sequence of FollowedBag
        Of one trial; those that weren't followed are passed over.
    members : frozenset of str
        Codes of the bags that share something.
    """
    strata: dict[tuple[str, Level], list[FollowedBag]] = {}
    for own in bags:
        if own.followed:
            strata.setdefault((own.bag.strain, own.level), []).append(own)
    chances, seen = [1.0], 0
    for alike in strata.values():
        lost = [own.bag.bag for own in alike if own.fate is Fate.LOST]
        inside = sum(own.bag.bag in members for own in alike)
        seen += len(members.intersection(lost))
        chances = _convolved(chances, _hypergeometric(len(alike), len(lost), inside=inside))
    return min(1.0, math.fsum(chances[seen:]))


def _hypergeometric(bags: int, lost: int, *, inside: int) -> list[float]:
    """Chances of 0, 1, ... of the lost ones among those inside."""
    ways = math.comb(bags, lost)
    return [
        math.comb(inside, count) * math.comb(bags - inside, lost - count) / ways for count in range(lost + 1)
    ]


def _convolved(one: Sequence[float], other: Sequence[float]) -> list[float]:
    total = [0.0] * (len(one) + len(other) - 1)
    for i, a in enumerate(one):
        for j, b in enumerate(other):
            total[i + j] += a * b
    return total


def _shares(bags: Sequence[FollowedBag]) -> dict[tuple[str, Level], float]:
    every = Counter((own.bag.strain, own.level) for own in bags)
    lost = Counter((own.bag.strain, own.level) for own in bags if own.fate is Fate.LOST)
    return {kind: lost[kind] / count for kind, count in every.items()}


def _source(
    kind: str, name: str, bags: Sequence[FollowedBag], shares: dict[tuple[str, Level], float]
) -> LossSource:
    return LossSource(
        kind=kind,
        name=name,
        followed=len(bags),
        lost=sum(own.fate is Fate.LOST for own in bags),
        expected=sum(shares[own.bag.strain, own.level] for own in bags),
    )


def _sides(lost: Iterable[FollowedBag]) -> list[LossSource]:
    """Sides that losses were seen on; a bag with several counts on each."""
    sides = [own.sides or (_NOT_SAID,) for own in lost]
    counted = Counter(side for of_bag in sides for side in of_bag)
    if set(counted) == {_NOT_SAID}:
        return []
    return [
        LossSource(kind=SIDE, name=side, followed=len(sides), lost=count, expected=None)
        for side, count in sorted(counted.items(), key=lambda item: (item[0] == _NOT_SAID, -item[1]))
    ]
