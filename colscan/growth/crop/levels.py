"""What the bags of each strain and level gave, at the same flush or the same age."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from statistics import fmean, median

from colscan.errors import AnalysisError
from colscan.growth.crop.bags import choose_basis, yields_of_bags
from colscan.growth.crop.intervals import difference_with_zeros, mean_of, mean_with_zeros
from colscan.growth.crop.model import (
    COUNTS,
    Ages,
    BagYield,
    Basis,
    Cost,
    LevelYield,
    Mean,
    Standing,
    Yields,
)
from colscan.growth.crop.prices import Price, check_prices, cost_of_bag
from colscan.growth.crop.sentences import say_answers, say_notes
from colscan.growth.efficiency import DrySubstrate, biological_efficiency_pct
from colscan.ledger import Ledger
from colscan.trial.model import Trial

GRAMS_PER_KG = 1000.0


def sum_yields(
    trial: Trial, ledger: Ledger, now: datetime, *, basis: Basis | None = None, prices: Sequence[Price] = ()
) -> Yields:
    """Return what each bag and each level gave.

    A level's headline is the mean over all its bags that count, lost ones with what they gave before they
    were lost (mostly nothing).

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    now : datetime
        Today, aware: before the trial's end results are interim.
    basis : Basis, optional
        At what bags are compared; by default the latest flush that no bag is waited for.
    prices : sequence of Price
        For the cost; it needs the trial's recipe.

    Raises
    ------
    AnalysisError
        When the trial has no bag but blanks.
    TrialError
        When a price can't be used.
    """
    check_prices(trial, prices)
    chosen = basis or choose_basis(trial, ledger, now)
    bags = yields_of_bags(trial, ledger, chosen, now)
    if not bags:
        msg = f"The trial {trial.name} has no bag that is spawned."
        raise AnalysisError(msg, "List its bags in bags.csv; blanks give nothing.")
    levels = tuple(_levels(trial, bags, basis=chosen, prices=prices))
    interim = trial.is_interim(now)
    return Yields(
        basis=chosen,
        interim=interim,
        bags=bags,
        levels=levels,
        answers=say_answers(levels, bags, chosen),
        notes=say_notes(levels, interim=interim),
    )


def _levels(
    trial: Trial, bags: Sequence[BagYield], *, basis: Basis, prices: Sequence[Price]
) -> list[LevelYield]:
    grouped: dict[str, dict[tuple[float, str], list[BagYield]]] = {}
    for one in bags:
        strain = grouped.setdefault(one.bag.strain, {})
        strain.setdefault((one.bag.supplement_pct, one.bag.supplement), []).append(one)
    levels = []
    for of_strain in grouped.values():
        control = of_strain[min(of_strain)]
        for treatment in sorted(of_strain):
            own = of_strain[treatment]
            levels.append(_sum_level(trial, own, control=control, basis=basis, prices=prices))
    return levels


def _sum_level(
    trial: Trial,
    own: list[BagYield],
    *,
    control: list[BagYield],
    basis: Basis,
    prices: Sequence[Price],
) -> LevelYield:
    bag = own[0].bag
    counted = [one for one in own if one.standing in COUNTS]
    harvested = [one for one in counted if one.standing is Standing.HARVESTED]
    grams = mean_with_zeros(_grams(counted))
    cycle = basis.days or _mean_or_none([one.cycle_days for one in harvested if one.cycle_days])
    runs = {one.bag.heat_run for one in counted}
    sources = {dry.source for one in harvested for dry in (one.dry, one.dry_with_spawn) if dry and dry.source}
    return LevelYield(
        strain=bag.strain,
        treatment=bag.treatment,
        supplement_pct=bag.supplement_pct,
        standings=dict(Counter(one.standing for one in own)),
        heat_runs=None if None in runs else len(runs),
        grams=grams,
        per_day_g=grams.value / cycle if grams and cycle else None,
        cycle_days=cycle,
        gain=None if own is control else difference_with_zeros(_grams(counted), _grams(control)),
        harvested_g=mean_of(_grams(harvested)),
        efficiency=_efficiency(harvested, [one.dry for one in harvested]),
        efficiency_with_spawn=_efficiency(harvested, [one.dry_with_spawn for one in harvested]),
        dry_sources=tuple(sorted(sources)),
        pins=_ages([one.pins_days for one in own]),
        first=_ages([one.first_days for one in own]),
        cost=_cost(trial, own[0], grams, prices) if prices else None,
    )


def _grams(bags: Sequence[BagYield]) -> list[float]:
    return [one.compared_g for one in bags if one.compared_g is not None]


def _mean_or_none(values: Sequence[float]) -> float | None:
    return fmean(values) if values else None


def _efficiency(bags: Sequence[BagYield], dry: Sequence[DrySubstrate | None]) -> Mean | None:
    return mean_of(
        [
            biological_efficiency_pct(one.compared_g, matter.dry_g)
            for one, matter in zip(bags, dry, strict=True)
            if matter is not None and one.compared_g is not None
        ]
    )


def _ages(days: Sequence[float | None]) -> Ages | None:
    known = [value for value in days if value is not None]
    if not known:
        return None
    return Ages(median=median(known), first=min(known), last=max(known), bags=len(known))


def _cost(trial: Trial, one: BagYield, grams: Mean | None, prices: Sequence[Price]) -> Cost:
    per_bag, without = cost_of_bag(trial, one.bag.supplement, one.bag.supplement_pct, prices=prices)
    per_kg = GRAMS_PER_KG * per_bag / grams.value if grams and grams.value else None
    return Cost(per_bag=per_bag, per_kg=per_kg, without=without)
