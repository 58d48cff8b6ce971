"""`colscan check`: what is wrong in a trial's ledger."""

from __future__ import annotations

from pathlib import Path

import click

from colscan.app.cli.options import format_option, screen_of_stdout, trial_dir_argument
from colscan.errors import ExitCode
from colscan.ledger import check_ledger
from colscan.trial import load_trial

HEADER = ("where", "problem", "what to do")
COLUMNS = ("where", "problem", "what_to_do")
MOST_SHOWN = 40
"""Problems that a table lists: about a screenful. One slip of a spreadsheet spoils a line a bag and photo."""


@click.command()
@trial_dir_argument
@format_option
def check(trial_dir: Path, output_format: str) -> ExitCode:
    """Look for problems in the ledger.

    Prints each with its file and line and what to do. Ends with 0 when there
    are none, with 4 when there are.

    \b
    Example:
      colscan check hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.present import render_rows

    problems = check_ledger(trial_dir, load_trial(trial_dir))
    rows = [(problem.source, problem.message, problem.hint) for problem in problems]
    is_table = output_format == "table"
    shown = rows[:MOST_SHOWN] if is_table else rows
    if shown or not is_table:  # programs read a header, or an empty list, where nothing is wrong
        click.echo(
            render_rows(HEADER if is_table else COLUMNS, shown, output_format, screen=screen_of_stdout()),
            nl=False,
        )
    if len(rows) > len(shown):
        click.echo(f"and {len(rows) - len(shown)} more; --format csv lists them all", err=True)
    told = "no problems" if not rows else f"{len(rows)} problem{'s' if len(rows) > 1 else ''}"
    click.echo(f"{trial_dir}: {told}", err=True)
    return ExitCode.LEDGER if rows else ExitCode.DONE
