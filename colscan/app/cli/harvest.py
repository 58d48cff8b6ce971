"""`colscan harvest`: the weight of a flush, into the ledger."""

from __future__ import annotations

import re
from pathlib import Path

import click

from colscan.app.calls import known_bag
from colscan.app.cli.options import trial_dir_argument
from colscan.app.cli.said import as_cell, at_option, tell_recorded, tell_replaced, time_said
from colscan.errors import TrialError
from colscan.ledger import append_row, read_ledger
from colscan.ledger.columns import HarvestRow
from colscan.trial import load_trial
from colscan.trial.model import Bag, Trial

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
    that is recorded again replaces the earlier record.

    \b
    Example:
      colscan harvest hornbeam B01 1 512.5 --saleable 480
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    trial = load_trial(trial_dir)
    planned = known_bag(trial, bag)
    when = time_said(at, trial, planned)
    if saleable_g is not None and saleable_g > fresh_g:
        msg = f"Saleable {saleable_g:g} g is more than fresh {fresh_g:g} g."
        raise TrialError(msg, "FRESH_G is the weight of the whole flush.")
    before = [row for row in read_ledger(trial_dir).harvests if row.bag == bag]
    earlier = [row for row in before if row.flush == flush]
    row = HarvestRow(at=when, bag=bag, flush=flush, fresh_g=fresh_g, saleable_g=saleable_g, note=note or None)
    append_row(trial_dir, row)
    shown = when.astimezone(trial.zone)
    tell_recorded(row, f"{shown:%Y-%m-%d %H:%M}  bag {bag}, flush {flush}: {fresh_g:g} g fresh")
    for old in earlier:
        tell_replaced(old.at.astimezone(trial.zone), f"{old.fresh_g:g} g fresh")
    _tell_efficiency(trial, planned, fresh_g + sum(row.fresh_g for row in before if row.flush != flush))


def _tell_efficiency(trial: Trial, bag: Bag, fresh_g: float) -> None:
    from colscan.growth import biological_efficiency_pct, find_dry_substrate

    dry = find_dry_substrate(trial, bag)
    if dry is None:
        return
    weight = f"{dry.dry_g:g} g" if not dry.source else f"about {dry.dry_g:.0f} g"
    source = f", {dry.source}" if dry.source else ""
    click.echo(
        f"All flushes so far: {fresh_g:g} g, {biological_efficiency_pct(fresh_g, dry.dry_g):.1f} % of"
        f" {weight} dry substrate{source} (biological efficiency; the spawn's dry matter is left out)",
        err=True,
    )
