"""Where a trial went otherwise than planned: told as facts, without judging them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from itertools import pairwise

from colscan.growth.departure import LEFT_THE_TRIAL, MISSING, departure_of
from colscan.growth.model import BagRecord
from colscan.growth.outcomes import Outcome
from colscan.growth.records import records_of
from colscan.ledger import Ledger
from colscan.trial.model import Bag, Trial
from colscan.trial.trial_recipe import recipe_of
from colscan.units import count_of, days_between

WEIGHT_OFF = 0.02
"""Weights further than this from the recipe's are told: moistures are hardly known better."""
SPAWNED_APART_DAYS = 0.25
"""Bags spawned further apart than this aren't of one day's work."""
_WATER = "water"


class About(StrEnum):
    """What a deviation is about."""

    HEAT = "heat runs"
    MIX = "mixes"
    SPAWNING = "spawning"
    BAGS = "bags"
    PLACE = "places"
    PHOTOS = "photos"
    END = "end of the trial"


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """One thing that was otherwise than planned, in a sentence."""

    about: About
    text: str


def find_deviations(
    trial: Trial, ledger: Ledger, outcomes: Sequence[Outcome], now: datetime
) -> tuple[Deviation, ...]:
    """Return where a trial went otherwise than its plan says.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    outcomes : sequence of Outcome
        What became of the bags.
    now : datetime
        As of when, aware.
    """
    records = records_of(trial, ledger)
    found = {
        About.HEAT: _heat_runs(trial, ledger),
        About.MIX: [*_mixes(trial, ledger), *_weights(trial, ledger), *_lots(ledger)],
        About.SPAWNING: _spawning(trial),
        About.BAGS: [*_left(records), *_unfollowed(outcomes)],
        About.PLACE: _moved(records, trial, ledger),
        About.PHOTOS: [*_gaps(trial, ledger), *_unmeasured(records), *_methods(ledger)],
        About.END: _end(trial, now),
    }
    return tuple(Deviation(about=about, text=text) for about, texts in found.items() for text in texts)


def _heat_runs(trial: Trial, ledger: Ledger) -> Iterator[str]:
    planned, logged = set(trial.heat_runs), {row.heat_run: row for row in ledger.heat_runs}
    if not logged:
        if planned:
            yield f"How the heat runs went was not recorded ({_list(sorted(planned))})."
        return
    for name in sorted(logged.keys() - planned):
        yield f"Heat run {name} was recorded and is in no bag's plan."
    if planned - logged.keys():
        yield f"Of these heat runs nothing was recorded: {_list(sorted(planned - logged.keys()))}."
    cores = {name: row.core_celsius for name, row in logged.items() if row.core_celsius is not None}
    if len(set(cores.values())) > 1:
        yield "Core temperatures differ: " + _list([f"{name} {c:g} C" for name, c in cores.items()]) + "."
    methods = {name: row.method for name, row in logged.items() if row.method}
    if len(set(methods.values())) > 1:
        yield "Methods differ: " + _list([f"{name} {method}" for name, method in methods.items()]) + "."


def _mixes(trial: Trial, ledger: Ledger) -> Iterator[str]:
    planned, logged = set(trial.mixes), {row.mix_batch for row in ledger.batches}
    if not logged:
        if planned:
            yield f"What went into the mixes was not recorded ({_list(sorted(planned))})."
        return
    for name in sorted(logged - planned):
        yield f"Mix {name} was weighed and is in no bag's plan."
    if planned - logged:
        yield f"Of these mixes nothing was recorded: {_list(sorted(planned - logged))}."


def _weights(trial: Trial, ledger: Ledger) -> Iterator[str]:
    """Weights of a mix that are off what the recipe gives for its bags."""
    if trial.recipe is None:
        return
    weighed: defaultdict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for row in ledger.batches:
        weighed[row.mix_batch][row.ingredient] += row.weight_g
    for mix, bags in trial.mixes.items():
        planned = _planned_g(trial, bags)
        for name, grams in weighed.get(mix, {}).items():
            if name not in planned:
                yield f"Mix {mix}: {name}, {grams:.0f} g, is not in the recipe."
            elif abs(grams - planned[name]) > WEIGHT_OFF * planned[name]:
                off = 100 * (grams / planned[name] - 1)
                yield (
                    f"Mix {mix}: {name} {grams:.0f} g, {off:+.1f} % against the recipe's"
                    f" {planned[name]:.0f} g for {count_of(len(bags), 'bag')}."
                )
        missing = [name for name in planned if mix in weighed and name not in weighed[mix]]
        if missing:
            yield f"Mix {mix}: of {_list(missing)} no weight was recorded."


def _planned_g(trial: Trial, bags: Sequence[Bag]) -> dict[str, float]:
    """What the recipe asks for, for a mix of these bags: grams of each ingredient and of water, if any."""
    total: defaultdict[str, float] = defaultdict(float)
    for bag in bags:
        recipe = recipe_of(trial, bag.supplement, bag.supplement_pct)
        for ingredient in recipe.ingredients:
            total[ingredient.name] += ingredient.weight_g
        total[_WATER] += recipe.water_g
    return {name: grams for name, grams in total.items() if grams}


def _lots(ledger: Ledger) -> Iterator[str]:
    lots: defaultdict[str, defaultdict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for row in ledger.batches:
        if row.lot:
            lots[row.ingredient][row.lot].append(row.mix_batch)
    for ingredient, of in lots.items():
        if len(of) > 1:
            said = _list([f"{lot} ({_list(sorted(set(mixes)))})" for lot, mixes in of.items()])
            yield f"{ingredient} came from more than one lot: {said}."


def _spawning(trial: Trial) -> Iterator[str]:
    bags = sorted((bag for bag in trial.bags if bag.role == "trial"), key=lambda bag: bag.inoculated_at)
    if not bags:
        return
    first = bags[0].inoculated_at
    late = [bag for bag in bags if days_between(first, bag.inoculated_at) > SPAWNED_APART_DAYS]
    if late:
        hours = 24 * days_between(first, bags[-1].inoculated_at)
        yield (
            f"Bags were spawned over {hours:.0f} hours: {_codes(late)} later than the first by more than"
            f" {24 * SPAWNED_APART_DAYS:.0f} hours. Each bag's days count from its own spawning."
        )
    planned = [bag.spawn_order for bag in bags if bag.spawn_order is not None]
    if late and planned != sorted(planned):
        yield "They were not spawned in the planned order."


def _left(records: Sequence[BagRecord]) -> Iterator[str]:
    departures = [(record.bag, departure_of(record)) for record in records]
    for what in (MISSING, *reversed(LEFT_THE_TRIAL)):
        said = [
            f"{bag.bag} on day {days_between(bag.inoculated_at, left.at):.1f}"
            for bag, left in departures
            if left is not None and left.what == what
        ]
        if said:
            yield f"{what.capitalize()}: {_list(said)}."


def _unfollowed(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """Bags that neither became full nor were lost, by where they were last seen."""
    open_ = [one for one in outcomes if not one.full.came and one.lost is None]
    if open_:
        until = max(one.followed_days for one in open_)
        yield (
            f"{len(open_)} of {len(outcomes)} bags were neither full nor lost when last measured, on day"
            f" {until:.1f} at the latest: {_codes([one.bag for one in open_])}."
        )


def _moved(records: Sequence[BagRecord], trial: Trial, ledger: Ledger) -> Iterator[str]:
    for event in ledger.events:
        if event.what == "moved" and event.scope != "bag":
            what = f"shelf {event.name}" if event.scope == "shelf" else "the room's bags"
            on = event.at.astimezone(trial.zone).date()
            yield f"Moved: {what} on {on}" + (f" ({event.detail})." if event.detail else ".")
    said = [
        f"{record.bag.bag} to {event.detail or 'another place'} on day"
        f" {days_between(record.bag.inoculated_at, event.at):.1f}"
        for record in records
        for event in record.events
        if event.what == "moved" and event.scope == "bag"
    ]
    if said:
        yield f"Moved: {_list(said)}."


def _gaps(trial: Trial, ledger: Ledger) -> Iterator[str]:
    dates = sorted({row.taken_at.astimezone(trial.zone).date() for row in ledger.photos})
    if len(dates) < 2:
        return
    span = (dates[-1] - dates[0]).days + 1
    if len(dates) < span:
        longest = max((later - earlier).days for earlier, later in pairwise(dates))
        yield (
            f"Photos were taken on {len(dates)} of {span} days; the longest time without one was"
            f" {longest} days. What came between two photos is known to lie between them, no closer."
        )


def _unmeasured(records: Sequence[BagRecord]) -> Iterator[str]:
    never = [r.bag for r in records if not any(row.coverage_pct is not None for row in r.scores)]
    if never:
        yield f"Never measured in any photo: {_codes(never)}."
    holes = {r.bag.bag: sum(row.coverage_pct is None for row in r.scores) for r in records}
    some = [f"{code} {count}" for code, count in holes.items() if count]
    if some:
        yield f"Seen and not measurable, times: {_list(some)}."


def _methods(ledger: Ledger) -> Iterator[str]:
    methods = sorted({row.method for row in ledger.scores})
    if len(methods) > 1:
        yield f"Scores were made by more than one version of the method: {_list(methods)}."


def _end(trial: Trial, now: datetime) -> Iterator[str]:
    if trial.planned_end is None or trial.ended_at is None or not trial.has_ended(now):
        return
    days = days_between(trial.planned_end, trial.ended_at)
    if abs(days) >= 1:
        way = "later" if days > 0 else "earlier"
        yield f"The trial ended {count_of(round(abs(days)), 'day')} {way} than planned."


def _codes(bags: Sequence[Bag]) -> str:
    return _list([bag.bag for bag in bags])


def _list(words: Sequence[str]) -> str:
    return ", ".join(words)
