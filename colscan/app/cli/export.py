"""`colscan export`: a trial's data and results as tidy tables."""

from __future__ import annotations

from pathlib import Path

import click

from colscan import units
from colscan.app.cli.options import trial_dir_argument


@click.command()
@trial_dir_argument
@click.option(
    "-o", "--output", metavar="FOLDER", type=click.Path(path_type=Path), required=True,
    help="A new or empty folder, or one with an earlier export.",
)  # fmt: skip
def export(trial_dir: Path, output: Path) -> None:
    """Write data and results as tidy tables with a codebook.

    CSV files: bags, scores (a row a bag and photo), what became of each bag,
    and what was recorded; codebook.csv explains every column, methods.txt
    says how the numbers were made and with which versions. A folder that
    holds other files is left alone.

    \b
    Example:
      colscan export hornbeam -o hornbeam-data
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.export import export_trial

    paths = export_trial(trial_dir, output, units.now())
    click.echo(f"{len(paths)} files are in {output}", err=True)
    for path in paths:
        click.echo(path)
