"""What the commands that record what people say share: names, times and cells are checked before writing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

import click

from colscan.errors import TrialError
from colscan.hints import suggest_near
from colscan.ledger import holder_of
from colscan.ledger.waiting import FOLDER as WAITING
from colscan.tables import Row, columns_of, parse_cell
from colscan.trial.model import Bag, Trial

at_option = click.option(
    "--at", metavar="TIME", help="When, like 2026-03-09T10:05 (the trial's zone); now by default."
)


def as_cell(row_type: type[Row], name: str) -> Callable[[click.Context, click.Parameter, str | None], Any]:
    """Return a click callback that makes an argument's text the value of a declared column.

    Parameters
    ----------
    row_type : type of Row
        The row.
    name : str
        Its column.
    """
    declared = columns_of(row_type)[name]

    def parse(context: click.Context, parameter: click.Parameter, text: str | None) -> Any:
        if text is None:
            return None
        try:
            return parse_cell(declared, text)
        except ValueError as error:
            unit = f", in {declared.unit}." if declared.unit else "."
            msg = f"{error}. {declared.meaning.removesuffix('.')}{unit}"
            raise click.BadParameter(msg, context, parameter) from None

    return parse


def bags_sharing(trial: Trial, what: Literal["mix", "heat run"], name: str) -> tuple[Bag, ...]:
    """Return the bags of a mix or a heat run.

    Raises
    ------
    TrialError
        When the trial has none; names those that it has.
    """
    if what == "mix":
        groups, column = trial.mixes, "mix_batch"
    else:
        groups, column = trial.heat_runs, "heat_run"
    if name not in groups:
        msg = f"{what.capitalize()} {name!r} is not in the trial {trial.name}."
        known = ", ".join(sorted(groups)) or f"none; name them in bags.csv, column {column}"
        raise TrialError(msg, f"{suggest_near(name, groups)}It has: {known}.")
    return groups[name]


def tell_if_late(what: str, when: datetime, bags: Sequence[Bag]) -> None:
    """Say on stderr that a mix or heat run is later than the day 0 that bags.csv has for its first bag."""
    first = min(bags, key=lambda bag: bag.inoculated_at)
    if when > first.inoculated_at:
        began = first.inoculated_at.isoformat()
        click.echo(f"By bags.csv bag {first.bag} of {what} was inoculated before that ({began}).", err=True)
        click.echo("If that is not so, correct inoculated_at there, or record this again.", err=True)


def tell_recorded(trial_dir: Path, row: Row, what: str) -> None:
    """Say on stderr what was recorded, and where it waits when another program holds its file."""
    holder = holder_of(trial_dir, row)
    where = f"Recorded in {row.FILE}"
    if holder is not None:
        where = (
            f"Kept in {WAITING}/, as another program holds {holder} or writing there is forbidden (close"
            f" {holder} in the spreadsheet, or allow writing; the next command that writes appends it)"
        )
    click.echo(f"{where}: {what}", err=True)


def tell_replaced(when: datetime, what: str) -> None:
    """Say on stderr which earlier record no longer counts; `when` is in the trial's zone."""
    click.echo(f"It replaces the record of {when:%Y-%m-%d %H:%M}: {what}", err=True)
