"""Which bags were followed to the horizon, which were lost before it, and what they share."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from colscan.growth.full import full_since
from colscan.growth.model import BagRecord
from colscan.growth.outcomes import CALLED_LOST, LOST_AT_WORST, Outcome, outcomes_of
from colscan.growth.records import records_of
from colscan.growth.risk.model import Level
from colscan.growth.series import SAME_AGE_DAYS
from colscan.ledger import Ledger
from colscan.trial.model import Bag, Trial

RUN = "heat run"
CLUSTERS = ((RUN, "heat_run"), ("mix", "mix_batch"))
"""What bags share their luck by, the first one that a trial's bags all have recorded."""
SPAWNING_DAY = "spawning day"


def many_of(clusters: str) -> str:
    """Return the plural of what bags share their luck by.

    >>> many_of("heat run or mix")
    'heat runs or mixes'
    """
    return " or ".join(one + ("es" if one.endswith("x") else "s") for one in clusters.split(" or "))


def as_large(number: int | None, clusters: str, further: str = "further ") -> str:
    """Return a number of what bags share their luck by, as large as those so far, in words."""
    return f"{number} {further}{clusters if number == 1 else many_of(clusters)} as large as now"


class Fate(StrEnum):
    """What became of a bag on its way to the horizon."""

    LOST = "lost"
    CLEAN = "clean"
    RUNNING = "running"
    GONE = "gone"


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowedBag:
    """One bag as it enters the limits.

    Parameters
    ----------
    bag : Bag
        As planned.
    trial : str
        Its trial's name, told from others.
    level : Level
        What it holds.
    cluster : str
        What it shares its luck with, e.g. the heat run, told apart between trials.
    fate : Fate
        By what people said.
    at_worst : Fate
        The same if every suspect patch that nobody has called harmless were a loss.
    looked_round : bool
        Whether somebody looked at its other sides, or took mushrooms from it, after it was full.
    sides : tuple of str
        Where on it people saw what they called contaminated.
    """

    bag: Bag
    trial: str
    level: Level
    cluster: str
    fate: Fate
    at_worst: Fate
    looked_round: bool
    sides: tuple[str, ...] = ()

    @property
    def followed(self) -> bool:
        """Whether it enters the limits."""
        return self.fate in (Fate.LOST, Fate.CLEAN)


def follow(trial: Trial, ledger: Ledger, *, horizon: str | float, name: str) -> tuple[FollowedBag, ...]:
    """Return what became of each bag of a trial by the horizon, blanks left out, in the plan's order.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.
    horizon : str or float
        ``"full"``, ``"first-harvest"``, or days since inoculation.
    name : str
        The trial's, as told from others that are assessed with it.
    """
    said = outcomes_of(trial, ledger)
    worst = outcomes_of(trial, ledger, lost_calls=LOST_AT_WORST)
    records = {record.bag.bag: record for record in records_of(trial, ledger)}
    harvested = {row.bag for row in ledger.harvests}
    field = shared_by([outcome.bag for outcome in said])[1]
    return tuple(
        FollowedBag(
            bag=own.bag,
            trial=name,
            level=level_of(own.bag, trial),
            cluster=f"{name} {_share(own.bag, field, trial)}",
            fate=fate_of(own, horizon),
            at_worst=fate_of(at_worst, horizon),
            looked_round=own.bag.bag in harvested or _looked_round(records[own.bag.bag], trial),
            sides=_sides(records[own.bag.bag]),
        )
        for own, at_worst in zip(said, worst, strict=True)
    )


def fate_of(outcome: Outcome, horizon: str | float) -> Fate:
    """Return what became of a bag by the horizon.

    A loss whose time isn't known well enough to lie after the horizon counts: it may have come before.
    """
    reached = _horizon_days(outcome, horizon)
    if outcome.lost is not None and outcome.lost.after_days < reached:
        return Fate.LOST
    if math.isfinite(reached) and (isinstance(horizon, str) or _seen_until(outcome, horizon)):
        return Fate.CLEAN
    return Fate.GONE if outcome.left else Fate.RUNNING


def _horizon_days(outcome: Outcome, horizon: str | float) -> float:
    """Age at which a bag is past the horizon; infinite when it isn't there yet."""
    if horizon == "full":
        return outcome.full.by_days
    if horizon == "first-harvest":
        return math.inf if outcome.harvested_days is None else outcome.harvested_days
    return float(horizon)


def _seen_until(outcome: Outcome, days: float) -> bool:
    harvested = outcome.harvested_days or 0.0
    return max(outcome.followed_days, harvested) >= days - SAME_AGE_DAYS


def _looked_round(record: BagRecord, trial: Trial) -> bool:
    since = full_since(record, trial.limits)
    return since is not None and any(e.what == "looked-round" and e.at > since for e in record.events)


def _sides(record: BagRecord) -> tuple[str, ...]:
    calls = [call for call in record.standing_calls if call.call in CALLED_LOST]
    return tuple(dict.fromkeys(call.where for call in calls if call.where))


def level_of(bag: Bag, trial: Trial) -> Level:
    """Return a bag's level with its base; without supplement, or with 0 % of one, it is the control."""
    if bag.supplement == "none" or bag.supplement_pct == 0:
        return Level(supplement="none", pct=0.0)
    same = [
        treatment.supplement_base
        for treatment in trial.treatments
        if (treatment.supplement, treatment.supplement_pct) == (bag.supplement, bag.supplement_pct)
    ]
    base = same[0] if same else "main substrate as weighed"
    return Level(supplement=bag.supplement, pct=bag.supplement_pct, base=base)


def shared_by(bags: Sequence[Bag]) -> tuple[str, str | None]:
    """Return what bags share their luck by: its name and its field, None for the day of spawning."""
    for name, field in CLUSTERS:
        if bags and all(getattr(bag, field) for bag in bags):
            return name, field
    return SPAWNING_DAY, None


def _share(bag: Bag, field: str | None, trial: Trial) -> str:
    if field is None:
        return f"{bag.inoculated_at.astimezone(trial.zone).date()}"
    return str(getattr(bag, field))
