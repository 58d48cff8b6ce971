"""`colscan event`: what happened, into the ledger."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import click

from colscan.app.calls import known_bag
from colscan.app.cli.options import trial_dir_argument
from colscan.app.cli.said import at_option, tell_recorded, time_said
from colscan.errors import TrialError
from colscan.hints import suggest_near
from colscan.ledger import Ledger, append_row, events_of, read_ledger
from colscan.ledger.columns import HAPPENINGS, SEGMENT_ENDERS, EventRow
from colscan.trial import load_trial
from colscan.trial.model import Bag, Trial

BAGS_NAMED = 4
"""Bags that a line names; more are counted."""


@click.command()
@trial_dir_argument
@click.argument("what", metavar="WHAT", type=click.Choice(HAPPENINGS))
@click.option("--bag", "bags", metavar="CODE", multiple=True, help="A bag; may be given several times.")
@click.option("--shelf", metavar="NAME", help="A whole shelf.")
@click.option("--room", is_flag=True, help="The whole room.")
@at_option
@click.option("--detail", metavar="TEXT", help="Anything else.")
def event(
    trial_dir: Path,
    what: str,
    bags: tuple[str, ...],
    shelf: str | None,
    room: bool,
    at: str | None,
    detail: str | None,
) -> None:
    """Record what happened to bags, a shelf or the room.

    WHAT is one of: shaken, turned, moved, looked-round, pins, opened,
    cold-shocked, soaked, fruiting, discarded, missing, retired, power-cut,
    other. After shaken, turned or opened a bag is measured from a new
    beginning. After moved it goes on as it was; --detail names the shelf that
    it went to, and bags.csv stays as planned.

    \b
    Example:
      colscan event hornbeam shaken --bag B01 --bag B02
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    trial = load_trial(trial_dir)
    if sum([bool(bags), shelf is not None, room]) != 1:
        msg = "An event happens to bags, to a shelf, or to the room."
        raise TrialError(msg, "Give one of --bag CODE (several times if need be), --shelf NAME, --room.")
    scope, names, first_bag = _targets(trial, bags, shelf)
    when = time_said(at, trial, first_bag)
    rows = [EventRow(at=when, scope=scope, name=name, what=what, detail=detail or None) for name in names]
    _record(trial_dir, trial, rows)


def _targets(
    trial: Trial, codes: Sequence[str], shelf: str | None
) -> tuple[str, tuple[str | None, ...], Bag | None]:
    """The event's scope, the names it goes by, and the bag whose day 0 it can't be before.

    That is the last one of bags that are named, and the first one of those on a shelf or in the room.
    """
    if codes:
        bags = [known_bag(trial, code) for code in dict.fromkeys(codes)]
        return "bag", tuple(bag.bag for bag in bags), max(bags, key=_day_0)
    if shelf is None:
        return "room", (None,), min(trial.bags, key=_day_0, default=None)
    if shelf not in trial.shelf_names:
        msg = f"Shelf {shelf!r} is not in the trial {trial.name}."
        known = ", ".join(sorted(trial.shelf_names)) or "none; name them in bags.csv or trial.toml"
        raise TrialError(msg, f"{suggest_near(shelf, trial.shelf_names)}Its shelves: {known}.")
    on_it = [bag for bag in trial.bags if bag.shelf == shelf]
    return "shelf", (shelf,), min(on_it, key=_day_0, default=None)


def _day_0(bag: Bag) -> datetime:
    return bag.inoculated_at


def _record(trial_dir: Path, trial: Trial, rows: Sequence[EventRow]) -> None:
    ledger = read_ledger(trial_dir)
    known = {(e.at, e.scope, e.name, e.what) for e in ledger.events}
    fresh = [row for row in rows if (row.at, row.scope, row.name, row.what) not in known]
    if fresh:
        append_row(trial_dir, *fresh)
    for row in rows:
        subject = "the room" if row.name is None else f"{row.scope} {row.name}"
        said = f"{row.at.astimezone(trial.zone):%Y-%m-%d %H:%M}  {subject}: {row.what}"
        if row in fresh:
            tell_recorded(row, said)
        else:
            click.echo(f"Known already, not written again: {said}", err=True)
    _tell_late(trial, ledger, fresh)


def _tell_late(trial: Trial, ledger: Ledger, rows: Sequence[EventRow]) -> None:
    """Say which photos were scored before somebody entered that a new segment had begun."""
    enders = [row for row in rows if row.what in SEGMENT_ENDERS]
    begun = [
        (row.at, bag.bag)
        for bag in trial.bags
        for row in events_of(bag, [*ledger.events, *enders], shelves=trial.shelf_names).events
        if row in enders
    ]
    late = [
        score for score in ledger.scores for at, bag in begun if score.bag == bag and score.taken_at >= at
    ]
    if not late:
        return
    photos, bags = len({score.photo_sha256 for score in late}), list(dict.fromkeys(s.bag for s in late))
    told = "1 later photo was" if photos == 1 else f"{photos} later photos were"
    named = ", ".join(bags) if len(bags) <= BAGS_NAMED else f"{len(bags)} bags"
    click.echo(f"{told} scored already, with {named}.", err=True)
    click.echo("These scores keep their segment: they stand as they are. Chart and speed begin", err=True)
    click.echo("anew at the event all the same.", err=True)
