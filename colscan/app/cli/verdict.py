"""`colscan verdict`: what a person says of a bag or a patch, into the ledger."""

from __future__ import annotations

import textwrap
from pathlib import Path

import click

from colscan import units
from colscan.app.around import say_surroundings
from colscan.app.calls import describe_target, known_bag, record_call
from colscan.app.cli.options import trial_dir_argument
from colscan.app.cli.said import at_option, tell_recorded
from colscan.app.times import time_said
from colscan.ledger import read_ledger
from colscan.ledger.columns import ACTIONS, CALLS, PLACES, VerdictRow
from colscan.trial import load_trial

CAUTION_COLUMNS = 78
RECORD_IT = "Record what you do with it: --action isolated or discarded."


@click.command()
@trial_dir_argument
@click.argument("bag", metavar="BAG")
@click.argument("call", metavar="CALL", type=click.Choice(CALLS))
@click.option("--patch", metavar="NAME", help="A suspect patch, like p1; without it, the whole bag.")
@click.option("--where", type=click.Choice(PLACES), help="Where on the bag.")
@click.option("--found-by", type=click.Choice(("photo", "hand")), help="Seen in a photo, or by hand.")
@click.option("--action", type=click.Choice(ACTIONS), help="What was done with it.")
@click.option("--blind", is_flag=True, help="The treatment was hidden from who says it.")
@click.option("--by", metavar="NAME", help="Who says it.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@at_option
def verdict(
    trial_dir: Path,
    bag: str,
    call: str,
    patch: str | None,
    where: str | None,
    found_by: str | None,
    action: str | None,
    blind: bool,
    by: str | None,
    note: str | None,
    at: str | None,
) -> None:
    """Record what you say of a bag or a suspect patch.

    CALL is one of: contaminated, harmless, unsure, withdrawn. The latest call
    on a patch or bag counts; withdrawn takes it back. A discarded bag stays so
    until withdrawn, or a call there with another action, says that it isn't.
    Of a contaminated bag it tells the neighbours, the bags of the same heat
    run, mix and spawn lot with their state and colonized %, and what the
    losses have in common.

    \b
    Example:
      colscan verdict hornbeam B01 contaminated --where back --action isolated
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    trial = load_trial(trial_dir)
    when = time_said(at, trial, known_bag(trial, bag))
    row = VerdictRow(
        at=when,
        bag=bag,
        patch=patch or None,
        call=call,
        where=where,
        found_by=found_by,
        action=action,
        blind="yes" if blind else None,
        by=by or None,
        note=note or None,
    )
    recorded = record_call(trial_dir, trial, read_ledger(trial_dir), row)
    said = f"{call}{f', {action}' if action else ''}"
    tell_recorded(
        trial_dir, row, f"{when.astimezone(trial.zone):%Y-%m-%d %H:%M}  {describe_target(row)}: {said}"
    )
    later, gone = recorded.later, recorded.discarded
    if later is not None:
        later_at = later.at.astimezone(trial.zone)
        click.echo(f"The later call of {later_at:%Y-%m-%d %H:%M} still counts: {later.call}", err=True)
    if gone is not None:
        gone_at = gone.at.astimezone(trial.zone)
        click.echo(f"Bag {bag} stays discarded, as said of {gone_at:%Y-%m-%d %H:%M}.", err=True)
        click.echo("If it isn't, say withdrawn, or a call with the action that is true.", err=True)
    if call == "contaminated":
        from colscan.growth.surroundings import surroundings
        from colscan.present.cautions import SPORE_CAUTION

        caution = f"Caution: {SPORE_CAUTION}{'' if action else f' {RECORD_IT}'}"
        click.echo(textwrap.fill(caution, CAUTION_COLUMNS), err=True)
        around = surroundings(trial, read_ledger(trial_dir), bag, units.now())
        for line in say_surroundings(around):
            click.echo(line, err=True)
