"""What each bag gave, and how it stands at the flush or age at which bags are compared."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime

from colscan.growth.crop.model import BagYield, Basis, Flush, Standing
from colscan.growth.departure import MISSING, Departure, departure_of
from colscan.growth.efficiency import find_dry_substrate, find_dry_with_spawn
from colscan.growth.outcomes import Outcome, outcomes_of
from colscan.growth.patches import DISCARDED
from colscan.growth.records import records_of
from colscan.ledger import Ledger
from colscan.trial.model import Trial
from colscan.units import days_between


def yields_of_bags(trial: Trial, ledger: Ledger, basis: Basis, now: datetime) -> tuple[BagYield, ...]:
    """Return what each bag gave, in the plan's order, blanks left out.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    basis : Basis
        At what bags are compared.
    now : datetime
        Today, aware.
    """
    flushes = _flushes_of(trial, ledger)
    records = {record.bag.bag: record for record in records_of(trial, ledger)}
    until = followed_until(trial, ledger, now)
    yields = []
    for outcome in outcomes_of(trial, ledger):
        code = outcome.bag.bag
        age = 0.0 if until is None else days_between(outcome.bag.inoculated_at, until)
        bag_yield = _yield_of(
            outcome,
            departure_of(records[code]),
            flushes=flushes[code],
            basis=basis,
            age_days=age,
            trial=trial,
        )
        yields.append(bag_yield)
    return tuple(yields)


def followed_until(trial: Trial, ledger: Ledger, now: datetime) -> datetime | None:
    """Return until when the trial's bags are known to have been followed: its end, or its latest record.

    An end that is still to come is none: nobody has followed a bag until then.
    """
    if trial.has_ended(now):
        return trial.ended_at
    recorded = [
        *(row.taken_at for row in ledger.photos),
        *(row.at for rows in (ledger.events, ledger.verdicts, ledger.harvests) for row in rows),
    ]
    return max(recorded, default=None)


def choose_basis(trial: Trial, ledger: Ledger, now: datetime) -> Basis:
    """Return the latest flush for which no bag is waited for any more; else the first flush."""
    chosen = Basis(flush=1)
    for number in sorted({row.flush for row in ledger.harvests}):
        basis = Basis(flush=number)
        standings = {one.standing for one in yields_of_bags(trial, ledger, basis, now)}
        if Standing.NOT_YET in standings or Standing.HARVESTED not in standings:
            break
        chosen = basis
    return chosen


def _flushes_of(trial: Trial, ledger: Ledger) -> defaultdict[str, list[Flush]]:
    flushes: defaultdict[str, list[Flush]] = defaultdict(list)
    for row in ledger.harvests:
        bag = trial.bag(row.bag)
        if bag is not None:
            days = days_between(bag.inoculated_at, row.at)
            flushes[row.bag].append(
                Flush(number=row.flush, days=days, fresh_g=row.fresh_g, saleable_g=row.saleable_g)
            )
    return flushes


def _yield_of(
    outcome: Outcome,
    gone: Departure | None,
    *,
    flushes: list[Flush],
    basis: Basis,
    age_days: float,
    trial: Trial,
) -> BagYield:
    compared = [flush for flush in flushes if _in_basis(flush, outcome, basis)]
    standing = _standing(outcome, gone, compared=compared, basis=basis, age_days=age_days)
    counts = standing not in (Standing.NOT_YET, Standing.LEFT)
    return BagYield(
        bag=outcome.bag,
        flushes=tuple(flushes),
        standing=standing,
        compared_g=sum((flush.fresh_g for flush in compared), 0.0) if counts else None,
        cycle_days=max((flush.days for flush in compared), default=None),
        pins_days=outcome.pins_days,
        first_days=outcome.harvested_days,
        dry=find_dry_substrate(trial, outcome.bag),
        dry_with_spawn=find_dry_with_spawn(trial, outcome.bag),
    )


def _in_basis(flush: Flush, outcome: Outcome, basis: Basis) -> bool:
    """Whether a harvest counts: within flush or age, and from a bag that was not contaminated by then."""
    if outcome.lost is not None and flush.days > outcome.lost.by_days:
        return False
    return flush.number <= basis.flush if basis.flush is not None else flush.days <= (basis.days or 0.0)


def _standing(
    outcome: Outcome,
    gone: Departure | None,
    *,
    compared: list[Flush],
    basis: Basis,
    age_days: float,
) -> Standing:
    if basis.days is not None:
        standing = _standing_by(outcome, gone, compared=compared, until_days=basis.days)
        open_ = standing in (Standing.HARVESTED, Standing.NOTHING)
        return Standing.NOT_YET if open_ and age_days < basis.days else standing
    if any(flush.number == basis.flush for flush in compared):
        return Standing.HARVESTED
    ended = _standing_by(outcome, gone, compared=compared, until_days=float("inf"))
    return Standing.NOT_YET if ended in (Standing.HARVESTED, Standing.NOTHING) else ended


def _standing_by(
    outcome: Outcome, gone: Departure | None, *, compared: list[Flush], until_days: float
) -> Standing:
    """What had become of a bag by an age; harvested or nothing for one that was still there."""
    if outcome.lost is not None and outcome.lost.by_days <= until_days:
        return Standing.LOST
    if gone is None or days_between(outcome.bag.inoculated_at, gone.at) > until_days:
        return Standing.HARVESTED if compared else Standing.NOTHING
    if compared and gone.what != MISSING:
        return Standing.SPENT
    return Standing.LOST if gone.what == DISCARDED else Standing.LEFT
