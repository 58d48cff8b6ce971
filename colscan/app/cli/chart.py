"""`colscan chart`: the colonization curves as files."""

from __future__ import annotations

from pathlib import Path

import click

from colscan.app.cli.options import trial_dir_argument
from colscan.app.put import put_file
from colscan.errors import AnalysisError, LedgerError, TrialError

SUFFIXES = (".png", ".svg")


@click.command()
@trial_dir_argument
@click.option(
    "-o", "--output", metavar="PATH", type=click.Path(path_type=Path),
    help="Where, without .png or .svg; else chart in TRIAL_DIR.",
)  # fmt: skip
def chart(trial_dir: Path, output: Path | None) -> None:
    """Draw the colonization curves.

    Writes chart.png and chart.svg: a panel a strain, a line a bag, coloured
    by supplement level, with intervals, suspect patches and events.

    \b
    Example:
      colscan chart hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    paths = write_chart(trial_dir, output)
    click.echo(f"The chart is in {' and '.join(map(str, paths))}", err=True)
    for path in paths:
        click.echo(path)


def write_chart(trial_dir: Path, output: Path | None = None) -> tuple[Path, ...]:
    """Return the paths of a trial's chart, written as PNG and SVG; each is replaced whole or not at all.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    output : Path or None
        The files' path without suffix; `chart` in the trial's folder when None.

    Raises
    ------
    AnalysisError
        When no bag has a score yet.
    LedgerError
        When the files can't be written.
    TrialError
        When the plan is wrong or the output's folder isn't there.
    """
    from colscan.growth import curves_of
    from colscan.ledger import read_ledger
    from colscan.present import draw_chart
    from colscan.trial import load_trial

    trial = load_trial(trial_dir)
    ledger = read_ledger(trial_dir)
    planned = {bag.bag for bag in trial.bags}
    if not any(row.bag in planned and row.coverage_pct is not None for row in ledger.scores):
        msg = f"The trial {trial.name} has no score to draw."
        raise AnalysisError(msg, f"Scan its photos first: colscan scan {trial_dir} PHOTO...")
    stem = output or trial_dir / "chart"
    stem = stem.with_suffix("") if stem.suffix.lower() in SUFFIXES else stem
    if not stem.parent.is_dir():
        msg = f"--output {stem}: there is no folder {stem.parent}."
        raise TrialError(msg, "Make it first, or give another path.")
    files = draw_chart(trial, curves_of(trial, ledger))
    paths = tuple(stem.with_name(stem.name + suffix) for suffix in SUFFIXES)
    try:
        for path, data in zip(paths, (files.png, files.svg), strict=True):
            put_file(path, data)
    except OSError as error:
        msg = f"{stem}: the chart can't be written ({error.strerror})."
        raise LedgerError(msg, "Free some space or allow writing there, or give --output PATH.") from error
    return paths
