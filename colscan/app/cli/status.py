"""`colscan status`: where each bag stands, and the next thing to do."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan import units
from colscan.app.cli.options import format_option, screen_of_stdout, trial_dir_argument
from colscan.hints import as_typed

if TYPE_CHECKING:
    from colscan.growth.model import BagStatus
    from colscan.present.table import Cell

SCREEN = (
    "bag", "strain", "treatment", "day", "colonized % (interval)", "how white", "points a day", "suspects",
    "what to do", "why",
)  # fmt: skip
COLUMNS = (
    "bag", "strain", "treatment", "taken_at", "day", "coverage_pct", "coverage_low_pct", "coverage_high_pct",
    "density_pct", "points_per_day", "suspects", "advice", "why",
)  # fmt: skip
NEEDS_A_PERSON = ("look", "turn it and look", "contaminated")
"""What to do with bags that a person should go to: marked on a terminal."""
BAGS_NAMED = 8
"""Bags that a line names before it counts the rest."""


@click.command()
@trial_dir_argument
@format_option
def status(trial_dir: Path, output_format: str) -> None:
    """Show where each bag stands and what to do next.

    Colonized % is the share of the side in view, followed by its 90 %
    interval. Nothing is called ready before somebody turned it and looked:
    the camera sees one side.

    \b
    Example:
      colscan status hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    print_status(trial_dir, output_format)


def print_status(trial_dir: Path, output_format: str = "table") -> None:
    """Print the trial's status on stdout, and on stderr the next thing to do.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    output_format : str
        `table`, `csv` or `json`.

    Raises
    ------
    TrialError, LedgerError
        When the plan or the ledger can't be read.
    """
    from colscan.growth import judge_bags
    from colscan.ledger import read_ledger, say_waiting, words_of
    from colscan.present import render_rows
    from colscan.trial import load_trial

    trial, ledger = load_trial(trial_dir), read_ledger(trial_dir)
    statuses = judge_bags(trial, ledger, units.now())
    if output_format == "table":
        rows = [_screen_row(one) for one in statuses]
        text = render_rows(SCREEN, rows, output_format, screen=screen_of_stdout(), strong=NEEDS_A_PERSON)
    else:
        text = render_rows(COLUMNS, [_data_row(one) for one in statuses], output_format)
    click.echo(text, nl=False)
    for line in (*next_steps(statuses, trial_dir), say_waiting(trial_dir)):
        if line is not None:
            click.echo(line, err=True)
    methods = sorted(set(words_of(ledger.photos, "method")))
    if len(methods) > 1:
        by = " and ".join(methods)
        click.echo(f"Photos are scored by {by}; by one: colscan rescan {as_typed(trial_dir)}", err=True)


def _screen_row(one: BagStatus) -> list[Cell]:
    density_pct = units.to_pct(one.density)
    return [
        one.bag,
        one.strain,
        one.treatment,
        "" if one.day is None else f"{one.day:.1f}",
        units.show_interval(units.to_pct(one.coverage), units.to_pct(one.low), units.to_pct(one.high)),
        "" if density_pct is None else f"{density_pct:.0f}",
        "" if one.points_per_day is None else f"{one.points_per_day:.1f}",
        one.suspects or "",
        one.advice,
        one.why,
    ]


def _data_row(one: BagStatus) -> list[Cell]:
    return [
        one.bag,
        one.strain,
        one.treatment,
        one.taken_at,
        _rounded(one.day),
        *(_rounded(units.to_pct(value)) for value in (one.coverage, one.low, one.high, one.density)),
        _rounded(one.points_per_day),
        one.suspects,
        one.advice,
        one.why,
    ]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def next_steps(statuses: Sequence[BagStatus], trial_dir: Path) -> list[str]:
    """Return what to do next, a line each, the most pressing first."""
    folder = as_typed(trial_dir)
    if not any(one.taken_at for one in statuses):
        return [f"No photo yet. Next: colscan scan {folder} PHOTO..."]
    by_suspects = sorted(statuses, key=lambda one: -one.suspects)
    look = [one for one in by_suspects if one.advice == "look"]
    turn = [one.bag for one in statuses if one.advice == "turn it and look"]
    stalled = [one.bag for one in statuses if one.advice == "stalled"]
    steps = []
    if look:
        steps.append(f"Look first at {_name_bags([one.bag for one in look])}.")
    if look and look[0].suspects:
        what = f"{as_typed(look[0].bag)} contaminated|harmless|unsure --patch NAME"
        steps.append(f"Then record what you saw: colscan verdict {folder} {what}")
    if turn:
        bags = " ".join(f"--bag {as_typed(bag)}" for bag in turn[:BAGS_NAMED])
        steps.append(f"The front is white: turn and look all round at {_name_bags(turn)}.")
        steps.append(f"Then record it: colscan event {folder} looked-round {bags}")
    if stalled:
        steps.append(f"Behind their siblings: {_name_bags(stalled)}.")
    return steps or [f"Nothing to look at today. Next photo: colscan scan {folder} PHOTO..."]


def _name_bags(bags: list[str]) -> str:
    more = len(bags) - BAGS_NAMED
    return ", ".join(bags[:BAGS_NAMED]) + (f" and {more} more" if more > 0 else "")
