"""What to run next: how many bags the open questions of a trial would need."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import fmean

from colscan.growth.outcomes import Outcome
from colscan.growth.risk import LevelRisk, RiskReport
from colscan.growth.risk.followed import as_large
from colscan.trial.power import chance_of_difference
from colscan.units import count_of

CHANCE = 0.8
"""Chance of success that is planned for, the usual one."""
MOST_BAGS = 60
"""A trial of more bags of a strain at a level is beyond a shelf: larger numbers aren't looked for."""
_ASSUMED_SD = {1.0: "as large as bags of a kind differ", 2.0: "twice as large"}
"""Differences in standard deviations of bags of a kind, in words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeNeed:
    """Bags of each strain at each of two levels that find a difference in time with the planned chance.

    Parameters
    ----------
    difference : str
        The difference, in words.
    bags : int or None
        None when it would take more than `MOST_BAGS`.
    """

    difference: str
    bags: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NextRun:
    """How many bags the open questions need.

    Parameters
    ----------
    levels : tuple of LevelRisk
        Over all strains, with the bags that each still needs for the accepted risk.
    times : tuple of TimeNeed
        For differences in the half-colonized day.
    sentences : tuple of str
        In plain words.
    """

    levels: tuple[LevelRisk, ...]
    times: tuple[TimeNeed, ...]
    sentences: tuple[str, ...]


def plan_next(outcomes: Sequence[Outcome], risk: RiskReport | None) -> NextRun:
    """Return how many bags the next trial needs for what this one leaves open.

    Parameters
    ----------
    outcomes : sequence of Outcome
        What became of this one's bags.
    risk : RiskReport or None
        What they show of the risk to lose one; None when they show nothing.
    """
    series = risk.overall if risk else ()
    # The control stands in the series of each supplement.
    levels = {own.level: own for one in series for own in one.levels}
    spread = _spread_days(outcomes)
    strains = len({one.bag.strain for one in outcomes})
    several = len({one.bag.treatment for one in outcomes}) > 1
    times = _time_needs(spread, strains) if several else ()
    said = [_say_level(own, risk.accepted, risk.clusters) for own in levels.values()] if risk else []
    return NextRun(
        levels=tuple(levels.values()), times=times, sentences=(*said, *_say_times(times, spread)),
    )  # fmt: skip


def _spread_days(outcomes: Sequence[Outcome]) -> float | None:
    """The pooled standard deviation of the half-colonized day within strain and level.

    The day is taken at the middle of the span it lies in.
    """
    groups: defaultdict[tuple[str, str], list[float]] = defaultdict(list)
    for one in outcomes:
        if one.half.came:
            groups[one.bag.strain, one.bag.treatment].append((one.half.after_days + one.half.by_days) / 2)
    freedom = sum(len(days) - 1 for days in groups.values())
    if freedom < 1:
        return None
    squares = sum((day - fmean(days)) ** 2 for days in groups.values() for day in days)
    return sqrt(squares / freedom) or None


def _time_needs(spread: float | None, strains: int) -> tuple[TimeNeed, ...]:
    if spread is None:
        return tuple(
            TimeNeed(difference=words, bags=_fewest(sd, strains)) for sd, words in _ASSUMED_SD.items()
        )
    return tuple(
        TimeNeed(
            difference=f"{days:g} {'day' if days == 1 else 'days'}", bags=_fewest(days / spread, strains)
        )
        for days in (1.0, 2.0, 3.0)
    )


def _fewest(difference_sd: float, strains: int) -> int | None:
    """Fewest bags of each strain at each level with the planned chance, found by halving."""
    if chance_of_difference(MOST_BAGS, difference_sd, strains=strains) < CHANCE:
        return None
    low, high = 1, MOST_BAGS
    while high - low > 1:
        middle = (low + high) // 2
        if chance_of_difference(middle, difference_sd, strains=strains) >= CHANCE:
            high = middle
        else:
            low = middle
    return high


def _say_level(own: LevelRisk, accepted: float, clusters: str) -> str:
    limit = f"at most {100 * accepted:g} % are lost"
    if own.acceptable:
        return f"{own.level.name}: the bags so far show that {limit}."
    if (own.share or 0.0) > accepted:
        return f"{own.level.name}: {own.lost} of {own.followed} lost, which is over what you accept already."
    if own.more is None:
        return f"{own.level.name}: it would take more bags than a trial has to show that {limit}."
    return (
        f"{own.level.name}: {count_of(own.more, 'more bag')} followed to the end without a loss, in"
        f" {as_large(own.more_runs, clusters)}, would show that {limit}"
        f" ({own.lost} of {own.followed} lost so far)."
    )


def _say_times(times: Sequence[TimeNeed], spread: float | None) -> Iterator[str]:
    if not times:
        return
    known = (
        f"bags of one kind differ by {spread:.1f} days (standard deviation) here"
        if spread
        else "how much bags of one kind differ isn't known here"
    )
    found = "; ".join(f"{one.difference}: {one.bags or f'over {MOST_BAGS}'}" for one in times)
    yield (
        f"To find a difference between two levels in the half-colonized day with {100 * CHANCE:.0f} % chance,"
        f" bags of each strain at each level: {found} ({known})."
    )
