"""`colscan check`: what is wrong in a trial's ledger."""

from __future__ import annotations

from pathlib import Path

import click

from colscan.app.cli.options import format_option, trial_dir_argument
from colscan.errors import ExitCode
from colscan.ledger import check_ledger
from colscan.trial import load_trial


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
    problems = check_ledger(trial_dir, load_trial(trial_dir))
    if not problems:
        click.echo(f"{trial_dir}: no problems", err=True)
        return ExitCode.DONE
    from colscan.present.table import render_rows

    rows = [(problem.source, problem.message, problem.hint) for problem in problems]
    click.echo(render_rows(("where", "problem", "what to do"), rows, output_format), nl=False)
    click.echo(f"{trial_dir}: {len(problems)} problem{'s' if len(problems) > 1 else ''}", err=True)
    return ExitCode.LEDGER
