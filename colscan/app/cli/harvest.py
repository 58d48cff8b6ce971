"""`colscan harvest`: the weight of a flush, into the ledger."""

from __future__ import annotations

import re
from pathlib import Path

import click

from colscan.app.calls import known_bag
from colscan.app.cli.options import trial_dir_argument
from colscan.app.cli.said import as_cell, at_option, tell_recorded, tell_replaced
from colscan.app.harvests import record_harvest, say_doubt, say_efficiency, say_order, say_uncounted
from colscan.app.times import time_said
from colscan.errors import TrialError
from colscan.growth.records import records_of
from colscan.ledger import read_ledger
from colscan.ledger.columns import HarvestRow
from colscan.trial import load_trial

_NEGATIVE = re.compile(r"-\.?[0-9]")


class _Harvest(click.Command):
    """A command of weights, to which ``-5`` is a number that can't be, not an option that doesn't exist."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        given = list(args)
        try:
            return super().parse_args(ctx, args)
        except click.NoSuchOption:
            number = next((text for text in given if _NEGATIVE.match(text)), None)
            if number is None:
                raise
            msg = f"{number}: a flush or weight can't be negative."
            raise TrialError(msg, "FLUSH counts from 1; FRESH_G is in grams.") from None


@click.command(cls=_Harvest)
@trial_dir_argument
@click.argument("bag", metavar="BAG")
@click.argument("flush", metavar="FLUSH", callback=as_cell(HarvestRow, "flush"))
@click.argument("fresh_g", metavar="FRESH_G", callback=as_cell(HarvestRow, "fresh_g"))
@click.option(
    "--saleable",
    "saleable_g",
    metavar="G",
    callback=as_cell(HarvestRow, "saleable_g"),
    help="Of it fit for sale, in grams.",
)
@at_option
@click.option("--note", metavar="TEXT", help="Anything else.")
def harvest(
    trial_dir: Path,
    bag: str,
    flush: int,
    fresh_g: float,
    saleable_g: float | None,
    at: str | None,
    note: str | None,
) -> None:
    """Record the weight of a flush.

    FLUSH is 1 for the first one; FRESH_G its fresh weight in grams. A flush
    that is recorded again replaces the earlier record. Of a bag that was
    discarded or retired since, give the time with --at.

    \b
    Example:
      colscan harvest hornbeam B01 1 512.5 --saleable 480
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    trial = load_trial(trial_dir)
    planned = known_bag(trial, bag)
    when = time_said(at, trial, planned)
    ledger = read_ledger(trial_dir)
    row = HarvestRow(at=when, bag=bag, flush=flush, fresh_g=fresh_g, saleable_g=saleable_g, note=note or None)
    old = record_harvest(trial_dir, trial, ledger, row)
    shown = when.astimezone(trial.zone)
    tell_recorded(trial_dir, row, f"{shown:%Y-%m-%d %H:%M}  bag {bag}, flush {flush}: {fresh_g:g} g fresh")
    if old is not None:
        tell_replaced(old.at.astimezone(trial.zone), f"{old.fresh_g:g} g fresh")
    others = sum(other.fresh_g for other in ledger.harvests if other.bag == bag and other.flush != flush)
    record = next(record for record in records_of(trial, ledger) if record.bag == planned)
    doubts = say_order(trial, ledger, row), say_doubt(trial, row), say_uncounted(record, row)
    for line in filter(None, (*doubts, say_efficiency(trial, planned, fresh_g + others))):
        click.echo(line, err=True)
