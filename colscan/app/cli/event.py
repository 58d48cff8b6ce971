"""`colscan event`: what happened, into the ledger."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import click

from colscan.app.cli.options import trial_dir_argument
from colscan.app.cli.said import at_option, tell_recorded
from colscan.app.happenings import (
    check_known_shelf,
    describe_event,
    find_subject,
    record_events,
    say_late,
    say_seen_later,
)
from colscan.app.times import time_said
from colscan.errors import TrialError
from colscan.hints import as_typed
from colscan.ledger import read_ledger
from colscan.ledger.columns import HAPPENINGS, EventRow
from colscan.trial import load_trial
from colscan.trial.model import Trial


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
    other (--detail says what). After shaken, turned or opened a bag is
    measured from a new beginning. After moved it goes on as it was; --detail
    names the shelf that it went to, and bags.csv stays as planned. Of a bag
    that was discarded or retired only what was before, and other, is taken.

    \b
    Example:
      colscan event hornbeam shaken --bag B01 --bag B02
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    trial = load_trial(trial_dir)
    detail = (detail or "").strip() or None
    if sum([bool(bags), shelf is not None, room]) != 1:
        msg = "An event happens to bags, to a shelf, or to the room."
        raise TrialError(msg, "Give one of --bag CODE (several times if need be), --shelf NAME, --room.")
    if what == "moved" and detail and not room and trial.shelf_names:
        check_known_shelf(trial, detail)
    _refuse_lists(trial, bags)
    subject = find_subject(trial, bags, shelf)
    when = time_said(at, trial, subject.first_bag)
    rows = [
        EventRow(at=when, scope=subject.scope, name=name, what=what, detail=detail) for name in subject.names
    ]
    _record(trial_dir, trial, rows)


def _refuse_lists(trial: Trial, bags: Sequence[str]) -> None:
    """Refuse several codes in one, and say how they are given."""
    for text in bags:
        codes = re.split("[,; ]+", text)
        if trial.bag(text) is None and all(map(trial.bag, codes)):
            options = " ".join(f"--bag {as_typed(code)}" for code in codes)
            msg = f"--bag {as_typed(text)} is several bags."
            raise TrialError(msg, f"Give each by itself: {options}")


def _record(trial_dir: Path, trial: Trial, rows: Sequence[EventRow]) -> None:
    ledger = read_ledger(trial_dir)
    fresh = record_events(trial_dir, trial, ledger, rows)
    for row in rows:
        said = describe_event(row, trial.zone)
        if row in fresh:
            tell_recorded(trial_dir, row, said)
        else:
            click.echo(f"Known already, not written again: {said}", err=True)
    for line in (*say_seen_later(ledger, fresh), *say_late(trial, ledger, fresh)):
        click.echo(line, err=True)
