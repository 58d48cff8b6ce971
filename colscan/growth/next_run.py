"""What to run next: how many bags the open questions of a trial would need."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import fmean

from colscan.growth.outcomes import Outcome
from colscan.trial.model import Trial
from colscan.trial.power import bags_needed, chance_of_difference, losses_allowed

CHANCE = 0.8
"""Chance of success that is planned for, the usual one."""
MOST_BAGS = 60
"""A trial of more bags of a strain at a level is beyond a shelf: larger numbers aren't looked for."""
_ASSUMED_SD = (1.0, 2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelNeed:
    """What a level still needs for the accepted risk to be shown.

    Parameters
    ----------
    level : str
        The treatment.
    bags, lost, followed : int
        Bags spawned, of them lost, and those that were lost or became full.
    needed : int
        Bags followed to the end that would show the accepted risk, if no more are lost than so far.
    more : int
        How many more than so far; 0 when it is shown.
    """

    level: str
    bags: int
    lost: int
    followed: int
    needed: int
    more: int


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
    levels : tuple of LevelNeed
        By level, for the accepted risk.
    times : tuple of TimeNeed
        For differences in the half-colonized day.
    spread_days : float or None
        Standard deviation of that day between bags of one strain and level; None when no two are known.
    sentences : tuple of str
        In plain words.
    """

    levels: tuple[LevelNeed, ...]
    times: tuple[TimeNeed, ...]
    spread_days: float | None
    sentences: tuple[str, ...]


def plan_next(trial: Trial, outcomes: Sequence[Outcome]) -> NextRun:
    """Return how many bags the next trial needs for what this one leaves open.

    Parameters
    ----------
    trial : Trial
        The plan: its accepted risk, strains and levels.
    outcomes : sequence of Outcome
        What became of its bags.
    """
    levels = tuple(_level_need(trial, level, own) for level, own in _by_level(outcomes).items())
    spread = _spread_days(outcomes)
    strains = len({one.bag.strain for one in outcomes})
    times = _time_needs(spread, strains) if len(levels) > 1 else ()
    return NextRun(
        levels=levels, times=times, spread_days=spread, sentences=tuple(_say(trial, levels, times, spread))
    )


def _by_level(outcomes: Sequence[Outcome]) -> dict[str, list[Outcome]]:
    ordered = sorted(outcomes, key=lambda one: (one.bag.supplement, one.bag.supplement_pct))
    grouped: dict[str, list[Outcome]] = {}
    for one in ordered:
        grouped.setdefault(one.bag.treatment, []).append(one)
    return grouped


def _level_need(trial: Trial, level: str, own: Sequence[Outcome]) -> LevelNeed:
    limit = trial.limits.contamination_risk
    lost = sum(one.lost is not None for one in own)
    followed = sum(one.lost is not None or one.full.came for one in own)
    needed = bags_needed(lost, limit)
    allowed = losses_allowed(followed, limit) if followed else None
    shown = allowed is not None and lost <= allowed
    return LevelNeed(
        level=level, bags=len(own), lost=lost, followed=followed, needed=needed,
        more=0 if shown else needed - followed,
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
            TimeNeed(difference=f"{sd:g} standard deviations between bags", bags=_fewest(sd, strains))
            for sd in _ASSUMED_SD
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


def _say(
    trial: Trial, levels: Sequence[LevelNeed], times: Sequence[TimeNeed], spread: float | None
) -> list[str]:
    limit = 100 * trial.limits.contamination_risk
    said = []
    for one in levels:
        if one.more:
            lost = "none were" if not one.lost else f"{one.lost} {'was' if one.lost == 1 else 'were'}"
            said.append(
                f"{one.level}: {one.more} more bags, none of them lost, would show that at most {limit:g} %"
                f" are lost ({one.followed} followed so far, of which {lost} lost)."
            )
        else:
            said.append(f"{one.level}: the bags so far show that at most {limit:g} % are lost.")
    known = (
        "bags of one kind are taken to differ as they did here" if spread else "how bags differ isn't known"
    )
    found = [f"{one.difference}: {one.bags or f'over {MOST_BAGS}'}" for one in times]
    if found:
        said.append(
            f"To find a difference between two levels in the half-colonized day with {100 * CHANCE:.0f} %"
            f" chance, bags of each strain at each level: {'; '.join(found)} ({known})."
        )
    return said
