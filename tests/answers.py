"""Made-up answers of growth, for the charts that draw them: risk, comparison and yields of a small trial."""

from __future__ import annotations

import math
from collections import Counter

from hornbeam import make_bag, make_trial

from colscan.growth.compare.model import ALL_STRAINS, Comparison, DayCount, Step, TimesAtLevel
from colscan.growth.crop.model import BagYield, Basis, LevelYield, Mean, Standing, Yields
from colscan.growth.outcomes import Milestone, Span
from colscan.growth.risk.model import Dose, Level, LevelRisk, RiskReport, SeriesRisk, Trend
from colscan.trial.model import Bag, Trial

BASE = "main substrate as weighed"


def make_levels(*levels: float, strains: tuple[str, ...] = ("PO-3", "PE-1"), bags: int = 4) -> Trial:
    """A trial with so many bags a strain and level, in two heat runs."""
    return make_trial(
        *(
            make_bag(f"{strain}-{level:g}-{k}", strain=strain, level=level, heat_run=f"H{k % 2 + 1}")
            for strain in strains
            for level in levels
            for k in range(bags)
        )
    )


def level_risk(name: str, pct: float, *, lost: int = 0, clean: int = 8, **other: object) -> LevelRisk:
    """One level's risk; its limit is exact (0 lost) or made up."""
    followed = lost + clean
    limit = None
    if followed:
        limit = 1 - 0.05 ** (1 / followed) if lost == 0 else min(1.0, (lost + 3) / followed)
    fields = {
        "level": Level(supplement=name, pct=pct, base=BASE if pct else ""),
        "spawned": followed, "lost": lost, "clean": clean, "running": 0, "gone": 0, "not_looked_round": 0,
        "suspects": 0, "runs": 2, "effective": float(followed), "limit_if_independent": limit,
        "limit": limit, "limit_at_worst": limit, "low": 0.0, "high": limit, "pooled": 0.0,
        "acceptable": limit is not None and limit <= 0.2, "more": None, "more_runs": other.get("more"),
    }  # fmt: skip
    return LevelRisk(**{**fields, **other})


def make_risk(trial: Trial, *levels: LevelRisk, interim: bool = False) -> RiskReport:
    """The same levels for each strain and for all."""
    strains = [*dict.fromkeys(bag.strain for bag in trial.bags), None]
    return RiskReport(
        trials=(trial.name,),
        accepted=0.2,
        horizon="full colonization",
        interim=interim,
        correlation=0.1,
        clusters="heat run",
        series=tuple(
            SeriesRisk(
                strain=strain, supplement="bran", base=BASE, levels=levels, highest=None,
                trend=Trend(), dose=Dose(), sentences=(),
            )
            for strain in strains
        ),
        sources=(),
        notes=(),
    )  # fmt: skip


def make_comparison(trial: Trial, *, interim: bool = False) -> Comparison:
    """Of each treatment half of the bags full by day 12, a quarter lost by day 8, followed to day 16."""
    strains = [*dict.fromkeys(bag.strain for bag in trial.bags)]
    scopes = [*strains, ALL_STRAINS] if len(strains) > 1 else strains
    days, times = [], []
    for scope in scopes:
        for treatment in dict.fromkeys(bag.treatment for bag in trial.bags):
            mine = [b for b in trial.bags if scope in (b.strain, ALL_STRAINS) and b.treatment == treatment]
            days += [_count(scope, treatment, float(day), len(mine)) for day in range(17)]
            times.append(_times(scope, mine))
    runs = len({bag.heat_run for bag in trial.bags})
    return Comparison(
        trial=trial.name, interim=interim, control="none", milestone=Milestone.FULL, bags=len(trial.bags),
        heat_runs=runs, times=tuple(times), days=tuple(days), contrasts=(), not_told_apart=(),
        sentences=(), method="",
    )  # fmt: skip


def _count(scope: str, treatment: str, day: float, bags: int) -> DayCount:
    full = bags // 2 if day >= 12 else 0
    lost = bags // 4 if day >= 8 else 0
    return DayCount(
        scope=scope, treatment=treatment, day=day, bags=bags, full=full, lost=lost,
        running=bags - full - lost, gone=0,
    )  # fmt: skip


def _times(scope: str, bags: list[Bag]) -> TimesAtLevel:
    return TimesAtLevel(
        scope=scope,
        treatment=bags[0].treatment,
        supplement_pct=bags[0].supplement_pct,
        milestone=Milestone.FULL,
        bags=len(bags),
        heat_runs=len({bag.heat_run for bag in bags}),
        came=len(bags) // 2,
        lost=len(bags) // 4,
        running=len(bags) - len(bags) // 2 - len(bags) // 4,
        left=0,
        median=Span(after_days=9.0, by_days=12.0),
        earliest_days=0.0,
        latest_days=math.inf,
        steps=(Step(after_days=9.0, by_days=12.0, share=0.5),),
    )


def make_yields(trial: Trial, *, interim: bool = False, waiting: int = 0) -> Yields:
    """Of each four bags of a level one lost, one without a harvest, two of about 400 g; some not so far."""
    standings = (Standing.HARVESTED, Standing.LOST, Standing.HARVESTED, Standing.NOTHING)
    bags = []
    for index, bag in enumerate(trial.bags):
        standing = Standing.NOT_YET if index < waiting else standings[index % 4]
        grams = {Standing.HARVESTED: 400.0 + index, Standing.NOT_YET: None}.get(standing, 0.0)
        bags.append(
            BagYield(
                bag=bag,
                flushes=(),
                standing=standing,
                compared_g=grams,
                cycle_days=None,
                pins_days=None,
                first_days=None,
                dry=None,
                dry_with_spawn=None,
            )
        )
    groups = dict.fromkeys((b.strain, b.treatment, b.supplement_pct) for b in trial.bags)
    levels = [_level_yield(*group, bags=bags) for group in groups]
    return Yields(basis=Basis(flush=1), interim=interim, bags=tuple(bags), levels=tuple(levels), answers=())


def _level_yield(strain: str, treatment: str, pct: float, *, bags: list[BagYield]) -> LevelYield:
    mine = [one for one in bags if (one.bag.strain, one.bag.treatment) == (strain, treatment)]
    grams = [one.compared_g for one in mine if one.compared_g is not None]
    mean = sum(grams) / len(grams) if grams else 0.0
    return LevelYield(
        strain=strain, treatment=treatment, supplement_pct=pct, heat_runs=2,
        standings=Counter(one.standing for one in mine),
        grams=Mean(value=mean, low=mean - 150, high=mean + 150, bags=len(grams)) if grams else None,
        per_day_g=None, cycle_days=None, gain=None, harvested_g=None, efficiency=None,
        efficiency_with_spawn=None, dry_sources=(), pins=None, first=None, cost=None,
    )  # fmt: skip
