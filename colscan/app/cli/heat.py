"""`colscan heat`: how a heat run went, into the ledger."""

from __future__ import annotations

from pathlib import Path

import click

from colscan.app.cli.options import trial_dir_argument
from colscan.app.cli.said import (
    as_cell,
    bags_sharing,
    tell_if_late,
    tell_recorded,
    tell_replaced,
)
from colscan.app.logged import describe_run
from colscan.app.times import past_time
from colscan.errors import TrialError
from colscan.ledger import append_row, read_ledger
from colscan.ledger.columns import HeatRunRow
from colscan.trial import load_trial
from colscan.trial.amounts import parse_temperature


def _read_core(context: click.Context, parameter: click.Parameter, text: str | None) -> float | None:
    celsius = None if text is None else f"{parse_temperature(text, '--core'):.6f}"
    value: float | None = as_cell(HeatRunRow, "core_celsius")(context, parameter, celsius)
    return value


@click.command()
@trial_dir_argument
@click.argument("heat_run", metavar="RUN")
@click.option(
    "--started",
    required=True,
    metavar="TIME",
    help="When it began, like 2026-03-01T08:00 (the trial's zone).",
)
@click.option("--ended", metavar="TIME", help="When it ended.")
@click.option("--method", metavar="TEXT", help="The method, in your words.")
@click.option("--core", "core_celsius", metavar="TEMP", callback=_read_core, help="Core: 95C, or 203F.")
@click.option("--note", metavar="TEXT", help="Anything else.")
def heat(
    trial_dir: Path,
    heat_run: str,
    started: str,
    ended: str | None,
    method: str | None,
    core_celsius: float | None,
    note: str | None,
) -> None:
    """Record how a heat run went.

    RUN is a heat run of bags.csv. --core is what the thermometer in the
    substrate showed. A run that is recorded again replaces the earlier record.
    Nothing here says whether a run was enough: follow the vessel's manual and
    your local code.

    \b
    Example:
      colscan heat hornbeam H1 --started 2026-03-01T08:00 --core 203F
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    trial = load_trial(trial_dir)
    bags = bags_sharing(trial, "heat run", heat_run)
    started_at = past_time(started, trial, "--started")
    ended_at = None if ended is None else past_time(ended, trial, "--ended")
    if ended_at is not None and ended_at < started_at:
        msg = f"--ended {ended} is before --started {started}."
        raise TrialError(msg, "Correct one of the two.")
    row = HeatRunRow(
        heat_run=heat_run,
        started_at=started_at,
        ended_at=ended_at,
        method=method or None,
        core_celsius=core_celsius,
        note=note or None,
    )
    earlier = [old for old in read_ledger(trial_dir).heat_runs if old.heat_run == heat_run]
    append_row(trial_dir, row)
    shown = started_at.astimezone(trial.zone)
    tell_recorded(
        trial_dir, row, f"{shown:%Y-%m-%d %H:%M}  heat run {heat_run}: {describe_run(row, trial.zone)}"
    )
    for old in earlier:
        tell_replaced(old.started_at.astimezone(trial.zone), describe_run(old, trial.zone))
    tell_if_late(f"heat run {heat_run}", ended_at or started_at, bags)
