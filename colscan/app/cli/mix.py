"""`colscan mix`: what was weighed into a mix, into the ledger."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import click

from colscan import units
from colscan.app.cli.options import trial_dir_argument
from colscan.app.cli.said import (
    at_option,
    bags_sharing,
    tell_if_late,
    tell_recorded,
    tell_replaced,
)
from colscan.app.logged import ALL_WATER_PCT, describe_batch
from colscan.app.times import past_time
from colscan.errors import TrialError
from colscan.ledger import append_row, read_ledger
from colscan.ledger.columns import BatchRow
from colscan.trial import load_trial
from colscan.trial.amounts import WATER_KG_PER_L, parse_mass
from colscan.trial.model import Trial
from colscan.trial.recipe import check_mass
from colscan.trial.recipe_text import WEIGHED_EXAMPLE, parse_weighed

WATER = "water"


@click.command()
@trial_dir_argument
@click.argument("mix_batch", metavar="MIX")
@click.option("--weighed", multiple=True, metavar="INGREDIENT", help="An ingredient (repeat).")
@click.option("--water", metavar="AMOUNT", help="Water added.")
@at_option
def mix(trial_dir: Path, mix_batch: str, weighed: tuple[str, ...], water: str | None, at: str | None) -> None:
    """Record what was weighed into a mix.

    MIX is a mix of bags.csv (mix_batch). INGREDIENT is "NAME, WEIGHT", then what
    is known of "moisture PCT" and "lot NAME"; the weight is that of the whole
    mix (g, kg, oz, lb, or a volume with its "density D"). An ingredient that is
    recorded again for the same mix and lot replaces the earlier record.

    \b
    Example:
      colscan mix hornbeam M01 --weighed "pellets, 2.03 kg, moisture 7%, lot A12"
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    trial = load_trial(trial_dir)
    bags = bags_sharing(trial, "mix", mix_batch)
    when = past_time(at, trial, "--at")
    rows = [_weighed_row(text, mix_batch, when) for text in weighed]
    if water is not None:
        rows.append(_water_row(water, mix_batch, when))
    _check_once_each(rows)
    _record(trial_dir, trial, rows)
    tell_if_late(f"mix {mix_batch}", when, bags)


def _weighed_row(text: str, mix_batch: str, when: datetime) -> BatchRow:
    if text.split(",")[0].strip().lower() == WATER:
        msg = f"{text!r}: water is recorded by --water."
        raise TrialError(msg, 'Write e.g. --water "45 oz".')
    ingredient, lot = parse_weighed(text)
    return BatchRow(
        mix_batch=mix_batch,
        at=when,
        ingredient=ingredient.name,
        lot=lot or None,
        weight_g=ingredient.weight_g,
        moisture_pct=units.to_pct(ingredient.moisture),
    )


def _water_row(text: str, mix_batch: str, when: datetime) -> BatchRow:
    weight_g = parse_mass(text, "--water", density_kg_per_l=WATER_KG_PER_L)
    check_mass(weight_g, "--water")
    return BatchRow(
        mix_batch=mix_batch, at=when, ingredient=WATER, weight_g=weight_g, moisture_pct=ALL_WATER_PCT
    )


def _check_once_each(rows: Sequence[BatchRow]) -> None:
    if not rows:
        msg = "Nothing is given to record."
        raise TrialError(msg, f"Give --weighed, e.g. {WEIGHED_EXAMPLE}, or --water.")
    for (name, _), times in Counter((row.ingredient, row.lot) for row in rows).items():
        if times > 1:
            msg = f"{name} is given twice."
            raise TrialError(msg, "Add the two weights up, or tell their lots apart.")


def _record(trial_dir: Path, trial: Trial, rows: Sequence[BatchRow]) -> None:
    earlier = {row.key: row for row in read_ledger(trial_dir).batches}
    append_row(trial_dir, *rows)
    for row in rows:
        shown = row.at.astimezone(trial.zone)
        tell_recorded(trial_dir, row, f"{shown:%Y-%m-%d %H:%M}  mix {row.mix_batch}: {describe_batch(row)}")
        if old := earlier.get(row.key):
            tell_replaced(old.at.astimezone(trial.zone), describe_batch(old))
