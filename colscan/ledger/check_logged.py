"""What is wrong in what a grower logs beside the scans: mixes, heat runs, temperatures, estimates."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from colscan import units
from colscan.errors import Problem
from colscan.ledger.books import CORRECT_TIME, MEND, Books, problem_at
from colscan.ledger.columns import COLDEST_AIR_C, ROOM, SHORT_SHA, WARMEST_AIR_C, TemperatureRow
from colscan.tables import Line
from colscan.trial.amounts import LEAST_MOISTURE_PCT
from colscan.trial.model import PLAN_FILE, Bag
from colscan.units import CLOCKS_DIFFER, to_celsius

_ROUNDED_C = 0.6
"""Loggers round both scales; whole degrees Fahrenheit are up to this far from a rounded Celsius."""


def check_mixes_known(books: Books) -> Iterator[Problem]:
    """Yield rows about mixes and heat runs that no bag of the trial is of."""
    hint = "Correct the name, or give it to its bags in bags.csv."
    for batch in books.batches:
        if batch.row.mix_batch not in books.trial.mixes:
            yield problem_at(batch, f"mix {batch.row.mix_batch!r} is not in bags.csv", hint)
    for run in books.heat_runs:
        if run.row.heat_run not in books.trial.heat_runs:
            yield problem_at(run, f"heat run {run.row.heat_run!r} is not in bags.csv", hint)


def check_not_ahead(books: Books) -> Iterator[Problem]:
    """Yield times of what is said to have happened that are still to come: the trial's end among them."""
    latest = units.now() + CLOCKS_DIFFER
    end = books.trial.ended_at
    if end is not None and end > latest:
        yield Problem(
            source=PLAN_FILE,
            message=f"ended_at: {end.isoformat()} is still to come; until then the trial counts as running",
            hint="Correct it, or write planned_end: when it is meant to end.",
        )
    said: tuple[Line[Any], ...] = (
        *books.verdicts, *books.events, *books.harvests, *books.batches, *books.temperatures,
        *books.estimates,
    )  # fmt: skip
    times: list[tuple[Line[Any], datetime]] = [(line, line.row.at) for line in said]
    times += [(line, line.row.ended_at or line.row.started_at) for line in books.heat_runs]
    hint = "Correct the time; is it the right year?"
    for line, when in times:
        if when > latest:
            yield problem_at(line, f"{when.isoformat()} is still to come", hint)


def check_batch_moistures(books: Books) -> Iterator[Problem]:
    """Yield moistures so small that they are a fraction, not a percentage."""
    for line in books.batches:
        pct = line.row.moisture_pct
        if pct is not None and 0 < pct < LEAST_MOISTURE_PCT:
            message = f"moisture {pct:g} % of {line.row.ingredient} is less than {LEAST_MOISTURE_PCT:g} %"
            yield problem_at(line, message, "It is a percentage of the wet weight: write 7 for 7 %.")


def check_heat_run_ends(books: Books) -> Iterator[Problem]:
    """Yield heat runs that ended before they began."""
    for line in books.heat_runs:
        row = line.row
        if row.ended_at is not None and row.ended_at < row.started_at:
            message = f"ended at {row.ended_at.isoformat()}, before it began ({row.started_at.isoformat()})"
            yield problem_at(line, message, MEND)


def check_before_inoculation(books: Books) -> Iterator[Problem]:
    """Yield mixes and heat runs that were still to come when the first of their bags was inoculated."""
    # Only of rows that count: a wrong time that was recorded again is mended.
    mixes, runs = books.trial.mixes, books.trial.heat_runs
    for batch in {line.row.key: line for line in books.batches}.values():
        yield from _too_late(batch, batch.row.at, mixes.get(batch.row.mix_batch, ()))
    for run in {line.row.heat_run: line for line in books.heat_runs}.values():
        yield from _too_late(run, run.row.ended_at or run.row.started_at, runs.get(run.row.heat_run, ()))


def _too_late(line: Line[Any], when: datetime, bags: Iterable[Bag]) -> Iterator[Problem]:
    first = min(bags, key=lambda bag: bag.inoculated_at, default=None)
    if first is not None and when > first.inoculated_at:
        began = first.inoculated_at.isoformat()
        message = f"{when.isoformat()} is after bag {first.bag} was inoculated ({began})"
        yield problem_at(line, message, CORRECT_TIME)


def check_temperatures(books: Books) -> Iterator[Problem]:
    """Yield readings of unknown places, and such as no place with living bags has."""
    bags = {bag.bag for bag in books.trial.bags}
    shelves = books.trial.shelf_names
    for line in books.temperatures:
        row = line.row
        if row.place not in {ROOM, *bags, *shelves}:
            hint = f"Write `{ROOM}`, the name of a shelf or the code of a bag; the reading doesn't count."
            yield problem_at(line, f"place {row.place!r} is not in the trial", hint)
        both = bags & shelves | ({ROOM} & (bags | shelves))
        if row.place in both:
            hint = "Readings count for the room first, then for a shelf; give the bag another code."
            yield problem_at(line, f"place {row.place!r} is the name of two things", hint)
        yield from _odd_reading(line)


def _odd_reading(line: Line[TemperatureRow]) -> Iterator[Problem]:
    row = line.row
    if row.reading_c is None:
        if row.celsius is not None or row.fahrenheit is not None:
            shown = f"{row.celsius:g} C" if row.celsius is not None else f"{row.fahrenheit:g} F"
            span = f"{COLDEST_AIR_C:g} to {WARMEST_AIR_C:g} C"
            hint = "Correct the unit, or take the line out; the reading doesn't count."
            yield problem_at(line, f"{shown} is outside {span}", hint)
        else:
            yield problem_at(line, "has no temperature", "Fill in celsius or fahrenheit; it doesn't count.")
    elif row.celsius is not None and row.fahrenheit is not None:
        other = to_celsius(row.fahrenheit)
        if abs(row.celsius - other) > _ROUNDED_C:
            message = f"{row.celsius:g} C and {row.fahrenheit:g} F are two temperatures"
            yield problem_at(line, message, "Take one of the two out; celsius counts.")


def check_estimates(books: Books) -> Iterator[Problem]:
    """Yield estimates of a bag in a photo that has no score of it, so that nothing can be held against it."""
    if books.missing:
        return
    scored = {(line.row.photo_sha256, line.row.bag) for line in books.scores}
    photos = {line.row.photo_sha256 for line in books.photos}
    bags = {bag.bag for bag in books.trial.bags}
    for line in books.estimates:
        row = line.row
        found = [sha256 for sha256 in photos if sha256.startswith(row.photo_sha256.lower())]
        if len(found) != 1:
            count = "more than one photo" if found else "no photo"
            hint = f"Write at least {SHORT_SHA} letters: those in the photo's name under photos/."
            yield problem_at(line, f"{row.photo_sha256!r} is {count} of photos.csv", hint)
        elif row.bag in bags and (found[0], row.bag) not in scored:
            hint = "Correct the bag or the photo; the estimate doesn't count."
            yield problem_at(line, f"bag {row.bag!r} has no score in photo {found[0][:SHORT_SHA]}", hint)
