"""The risk to lose bags, put together over strains, levels and trials."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from colscan.errors import AnalysisError, TrialError
from colscan.growth.risk.dose import estimate_dose
from colscan.growth.risk.followed import RUN, Fate, FollowedBag, follow, shared_by
from colscan.growth.risk.limits import (
    Rule,
    cells_of,
    correlation_to_use,
    estimate_correlation,
    highest_acceptable,
    judge_level,
    pool_levels,
    worth_of_one,
)
from colscan.growth.risk.model import Level, LevelRisk, RiskReport, SeriesRisk
from colscan.growth.risk.sentences import (
    say_at_worst,
    say_dose,
    say_highest,
    say_level,
    say_not_followed,
    say_order,
    say_sources,
    say_trend,
)
from colscan.growth.risk.sources import find_sources
from colscan.growth.risk.trend import Stratum, judge_trend
from colscan.ledger import Ledger
from colscan.trial import find_confounded
from colscan.trial.model import Trial

TrialWithLedger = tuple[Trial, Ledger]
_HORIZONS = {"full": "full colonization", "first-harvest": "the first harvest"}


def assess_risk(
    trials: Sequence[TrialWithLedger], *, now: datetime, accepted: float | None = None
) -> RiskReport:
    """Return what the bags of one trial or several show of the risk to lose one.

    Levels of several trials are the same when supplement, percent and base are; their heat runs stay apart.

    Parameters
    ----------
    trials : sequence of (Trial, Ledger)
        Plans with the rows that count.
    now : datetime
        Today, aware: decides whether a trial goes on.
    accepted : float or None
        Accepted share of bags lost, fraction in (0, 1); by default the least that the trials state.

    Raises
    ------
    AnalysisError
        When no bag was spawned, or the trials follow their bags to different horizons.
    TrialError
        When the accepted share is no share.
    """
    horizon = _horizon(trials)
    accept = min(t.limits.contamination_risk for t, _ in trials) if accepted is None else accepted
    if not 0 < accept < 1:
        msg = f"an accepted risk of {100 * accept:g} % is no share between 0 and 100 %"
        raise TrialError(msg, "Give the share of bags that you accept to lose, like 20.")
    names = _names([trial for trial, _ in trials])
    bags = [
        own
        for name, (trial, ledger) in zip(names, trials, strict=True)
        for own in follow(trial, ledger, horizon=horizon, name=name)
    ]
    if not bags:
        msg = "no bag of these trials was spawned (blanks don't count)"
        raise AnalysisError(msg, "List the bags in bags.csv, then scan their photos.")
    clusters = _clusters([trial for trial, _ in trials])
    correlation = correlation_to_use(estimate_correlation(cells_of(bags)))
    rule = Rule(accepted=accept, correlation=correlation, clusters=clusters)
    interim = any(trial.is_interim(now) for trial, _ in trials)
    sources = find_sources(bags)
    return RiskReport(
        trials=names,
        accepted=accept,
        horizon=_HORIZONS[horizon] if isinstance(horizon, str) else f"day {horizon:g}",
        interim=interim,
        correlation=rule.correlation,
        clusters=clusters,
        series=_all_series(bags, rule, interim),
        sources=sources,
        notes=(*_notes(bags, trials, interim), *say_sources(sources)),
    )


def _horizon(trials: Sequence[TrialWithLedger]) -> str | float:
    horizons = {trial.limits.horizon for trial, _ in trials}
    if len(horizons) > 1:
        listed = ", ".join(f"{trial.name}: {trial.limits.horizon}" for trial, _ in trials)
        msg = f"the trials follow their bags to different horizons ({listed})"
        raise AnalysisError(msg, "Assess them one by one, or set the same horizon in their trial.toml.")
    (horizon,) = horizons
    return horizon


def _names(trials: Sequence[Trial]) -> tuple[str, ...]:
    """The trials' names, numbered where two have the same."""
    names = [trial.name for trial in trials]
    return tuple(
        name if names.count(name) == 1 else f"{name} ({number})" for number, name in enumerate(names, start=1)
    )


def _clusters(trials: Sequence[Trial]) -> str:
    names = [shared_by([bag for bag in trial.bags if bag.role != "blank"])[0] for trial in trials]
    return " or ".join(dict.fromkeys(names))


def _all_series(bags: Sequence[FollowedBag], rule: Rule, interim: bool) -> tuple[SeriesRisk, ...]:
    strains = [*dict.fromkeys(own.bag.strain for own in bags)]
    wanted: list[str | None] = [*strains, *([None] if len(strains) > 1 else [])]
    series = []
    for strain in wanted:
        own_bags = [own for own in bags if strain in (None, own.bag.strain)]
        kinds = dict.fromkeys(
            (own.level.supplement, own.level.base) for own in own_bags if own.level.supplement != "none"
        )
        # A strain of controls alone has a series, too: its losses are losses.
        for supplement, base in [*kinds] or [("none", "")]:
            mine = [own for own in own_bags if own.level.supplement in ("none", supplement)]
            mine = [own for own in mine if own.level.base in ("", base)]
            series.append(_one_series(mine, strain, rule, supplement=supplement, base=base, interim=interim))
    return tuple(series)


def _one_series(
    bags: Sequence[FollowedBag], strain: str | None, rule: Rule, *, supplement: str, base: str, interim: bool
) -> SeriesRisk:
    by_level: dict[Level, list[FollowedBag]] = {}
    for own in sorted(bags, key=lambda bag: bag.level.pct):
        by_level.setdefault(own.level, []).append(own)
    levels = _pooled([judge_level(level, own, rule) for level, own in by_level.items()])
    highest = highest_acceptable(levels)
    trend = judge_trend(_strata(bags), interim=interim)
    dose = estimate_dose(
        [own.level.pct for own in levels],
        [own.lost for own in levels],
        [own.followed for own in levels],
        worth=worth_of_one(bags, rule.correlation),
        accepted=rule.accepted,
    )
    said = (
        *(say_level(own, rule) for own in levels),
        say_highest(levels, highest, rule),
        *(
            line
            for line in (say_at_worst(levels, highest, rule), say_order(levels), _say_mixture(by_level))
            if line
        ),
        *((say_trend(trend), say_dose(dose, levels, rule)) if _comparing(levels) else ()),
    )
    return SeriesRisk(
        strain=strain,
        supplement=supplement,
        base=base,
        levels=tuple(levels),
        highest=highest,
        trend=trend,
        dose=dose,
        sentences=said,
    )


def _comparing(levels: Sequence[LevelRisk]) -> bool:
    """Whether there are several levels, and bags at the horizon to say something of them."""
    return len(levels) > 1 and any(own.followed for own in levels)


def _say_mixture(by_level: Mapping[Level, Sequence[FollowedBag]]) -> str:
    """Return that levels differ in more than the supplement, where they do."""
    kinds = {frozenset((own.trial, own.bag.strain) for own in bags) for bags in by_level.values()}
    if len(kinds) < 2:
        return ""
    return "Not every strain and trial holds every level: between these levels strains or trials change, too."


def _pooled(levels: Sequence[LevelRisk]) -> list[LevelRisk]:
    shares = pool_levels([own.lost for own in levels], [own.followed for own in levels])
    return [
        replace(own, pooled=share if own.followed else None)
        for own, share in zip(levels, shares, strict=True)
    ]


def _strata(bags: Sequence[FollowedBag]) -> list[Stratum]:
    """Followed bags by strain and by what they share their luck with."""
    counted: dict[tuple[str, str], dict[float, list[int]]] = {}
    for own in bags:
        if own.followed:
            cell = counted.setdefault((own.bag.strain, own.cluster), {}).setdefault(own.level.pct, [0, 0])
            cell[0] += own.fate is Fate.LOST
            cell[1] += 1
    return [
        Stratum(
            pcts=tuple(cells),
            lost=tuple(c[0] for c in cells.values()),
            bags=tuple(c[1] for c in cells.values()),
        )
        for cells in counted.values()
    ]


def _notes(bags: Sequence[FollowedBag], trials: Sequence[TrialWithLedger], interim: bool) -> tuple[str, ...]:
    clusters = _clusters([trial for trial, _ in trials])
    return (
        *(("The trial goes on: results are interim.",) if interim else ()),
        *say_not_followed(
            running=sum(own.fate is Fate.RUNNING for own in bags),
            gone=sum(own.fate is Fate.GONE for own in bags),
            suspects=sum(own.at_worst is Fate.LOST and own.fate is not Fate.LOST for own in bags),
            front_only=sum(own.fate is Fate.CLEAN and not own.looked_round for own in bags),
        ),
        *(
            (f"Not every bag has a heat run: those of one {clusters} are taken to share their luck.",)
            * (clusters != RUN)
        ),
        *(line for trial, _ in trials for line in find_confounded(trial.bags)),
    )
