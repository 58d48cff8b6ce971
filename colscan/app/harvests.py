"""The weight of a flush, checked and into the ledger: for the command and for the page."""

from __future__ import annotations

from pathlib import Path

from colscan.app.calls import check_there, known_bag
from colscan.errors import TrialError
from colscan.growth.model import BagRecord
from colscan.growth.outcomes import lost_span
from colscan.growth.records import records_of
from colscan.ledger import Ledger, append_row
from colscan.ledger.columns import HarvestRow
from colscan.trial.model import Bag, Trial
from colscan.units import days_between


def record_harvest(trial_dir: Path, trial: Trial, ledger: Ledger, row: HarvestRow) -> HarvestRow | None:
    """Return the earlier record of the flush that a weight replaces, None without one.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.
    row : HarvestRow
        What was weighed; it is appended to harvests.csv.

    Raises
    ------
    TrialError
        When the trial has no such bag, it had left by then, or more is saleable than was weighed.
    LedgerError
        When it can't be written.
    """
    bag = known_bag(trial, row.bag)
    record = next(record for record in records_of(trial, ledger) if record.bag == bag)
    check_there(record, row.at, trial.zone)
    for weight in (row.fresh_g, row.saleable_g or 0.0):
        if round(weight, 2) != weight:
            msg = f"{weight:g} g has more than two decimals."
            raise TrialError(msg, "Leave out what parts thousands: 1234 for one kilogram and 234 g.")
    if row.saleable_g is not None and row.saleable_g > row.fresh_g:
        msg = f"Saleable {row.saleable_g:g} g is more than fresh {row.fresh_g:g} g."
        raise TrialError(msg, "The fresh weight is that of the whole flush.")
    earlier = [other for other in ledger.harvests if (other.bag, other.flush) == (row.bag, row.flush)]
    append_row(trial_dir, row)
    return earlier[-1] if earlier else None


def filled_g(trial: Trial, bag: Bag) -> float | None:
    """Return the wet substrate of a bag, g: as bags.csv has it, else by the recipe; None without both."""
    if bag.fill_wet_g or trial.recipe is None:
        return bag.fill_wet_g or None
    from colscan.trial.trial_recipe import recipe_of

    return recipe_of(trial, bag.supplement, bag.supplement_pct).wet_g


def say_uncounted(record: BagRecord, row: HarvestRow) -> str | None:
    """Return that a harvest counts in no yield, as its bag is called contaminated; None when it counts."""
    lost = lost_span(record)
    if lost is None or days_between(record.bag.inoculated_at, row.at) <= lost.by_days:
        return None
    return (
        f"Bag {row.bag} is called contaminated, since day {lost.by_days:.1f} at the latest: what it gave"
        " after that counts in no yield."
    )


def say_doubt(trial: Trial, row: HarvestRow) -> str | None:
    """Return why a weight is doubtful, None when it isn't.

    A flush takes its water from the substrate, so it doesn't weigh more than the bag was filled with; such a
    weight is mostly a missing point. It is no error: a bag that was soaked has more water to give.
    """
    filled = filled_g(trial, known_bag(trial, row.bag))
    if filled is None or row.fresh_g <= filled:
        return None
    return "Doubtful: one flush, and heavier than what the bag was filled with. Is the point in its place?"


def say_order(trial: Trial, ledger: Ledger, row: HarvestRow) -> str | None:
    """Return what doesn't go with a bag's other flushes, None when all does: their dates, or one left out."""
    flushes = {other.flush: other for other in ledger.harvests if other.bag == row.bag}
    for number, other in sorted(flushes.items()):
        if (other.at > row.at and number < row.flush) or (other.at < row.at and number > row.flush):
            day = other.at.astimezone(trial.zone).date()
            order = "after" if number < row.flush else "before"
            return f"Doubtful: flush {number} is dated {day}, {order} this one. Are number and date right?"
    if row.flush > 1 and row.flush - 1 not in flushes:
        return f"Flush {row.flush - 1} of bag {row.bag} isn't recorded. If it gave nothing, record 0 g."
    return None


def say_efficiency(trial: Trial, bag: Bag, fresh_g: float) -> str | None:
    """Return a bag's biological efficiency in words, None where its dry substrate isn't known.

    Parameters
    ----------
    trial : Trial
        The plan.
    bag : Bag
        The bag.
    fresh_g : float
        Fresh weight of all its flushes so far, g.
    """
    from colscan.growth import biological_efficiency_pct, find_dry_substrate

    dry = find_dry_substrate(trial, bag)
    if dry is None:
        return None
    weight = f"{dry.dry_g:g} g" if not dry.source else f"about {dry.dry_g:.0f} g"
    source = f", {dry.source}" if dry.source else ""
    return (
        f"All flushes so far: {fresh_g:g} g, {biological_efficiency_pct(fresh_g, dry.dry_g):.1f} % of"
        f" {weight} dry substrate{source} (biological efficiency; the spawn's dry matter is left out)"
    )
