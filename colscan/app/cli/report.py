"""`colscan report`: all that a trial tells, in one file."""

from __future__ import annotations

from pathlib import Path

import click

from colscan import units
from colscan.app.cli.options import trial_dir_argument
from colscan.app.put import output_path, put_file
from colscan.app.sheets import say_lacking
from colscan.errors import LedgerError
from colscan.trial import load_trial


@click.command()
@trial_dir_argument
@click.option(
    "-o", "--output", metavar="PATH", type=click.Path(path_type=Path),
    help="The file to write; else report.html in TRIAL_DIR.",
)  # fmt: skip
def report(trial_dir: Path, output: Path | None) -> None:
    """Write all that a trial tells into one HTML file.

    Question, set-up, each bag's pictures over time, curves, comparison,
    losses, yields, what can't be said, what to run next, deviations from the
    plan, versions. The file opens offline in any browser and prints well.

    \b
    Example:
      colscan report hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    path = write_report(trial_dir, output)
    click.echo(f"The report is in {path}", err=True)
    for line in say_lacking(load_trial(trial_dir)):
        click.echo(f"In its charts: {line}", err=True)
    click.echo(path)


def write_report(trial_dir: Path, output: Path | None = None) -> Path:
    """Return the path of a trial's report, replaced whole or not at all.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    output : Path or None
        The file; `report.html` in the trial's folder when None.

    Raises
    ------
    LedgerError
        When the ledger can't be read or the file can't be written.
    TrialError
        When the plan is wrong, or the output is a folder or in none that is there.
    """
    from colscan.app.reporting import gather_report
    from colscan.present.report import make_report

    path = output_path(output, trial_dir / "report.html")
    page = make_report(gather_report(trial_dir, units.now()))
    try:
        put_file(path, page)
    except OSError as error:
        msg = f"{path}: the report can't be written ({error.strerror})."
        raise LedgerError(msg, "Free some space or allow writing there, or give --output PATH.") from error
    return path
