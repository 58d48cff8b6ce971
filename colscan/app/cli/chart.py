"""`colscan chart`: curves, what became of the bags, risk, yield and faces, as files."""

from __future__ import annotations

from pathlib import Path

import click

from colscan.app.charts import Kind, Subject, make_chart
from colscan.app.cli.options import WholeRange, trial_dir_argument
from colscan.app.put import chart_paths, output_path, put_chart
from colscan.app.sheets import say_lacking
from colscan.errors import TrialError
from colscan.trial import load_trial
from colscan.units import now


@click.command()
@trial_dir_argument
@click.option(
    "-k", "--kind", type=click.Choice([str(kind) for kind in Kind]), default=str(Kind.CURVES),
    show_default=True, help="What the chart shows.",
)  # fmt: skip
@click.option(
    "--day", metavar="N", type=WholeRange(min=0),
    help="With by-level: the bags' age in days; else the last that most bags have a photo of.",
)  # fmt: skip
@click.option(
    "-o", "--output", metavar="PATH", type=click.Path(path_type=Path),
    help="Where, without .png or .svg; else chart (chart-risk, ...) in TRIAL_DIR.",
)  # fmt: skip
def chart(trial_dir: Path, kind: str, day: int | None, output: Path | None) -> None:
    """Draw curves, what became of the bags, risk, yield, or faces.

    Writes chart.png and chart.svg; kinds but curves add their name, as in
    chart-risk.png. Colour and marker of a level are the same in all.

    \b
      curves    colonized %: a panel a strain, a line a bag, with intervals
      white     how white the bags are, likewise
      full      share of the bags that were full, running, lost, over the days
      risk      bags lost by level, and how high the risk may be
      yield     grams per bag spawned by level, each bag a dot
      faces     the bags' faces over time, all in the same light
      by-level  the faces of one day side by side, by level

    \b
    Example:
      colscan chart hornbeam --kind by-level
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    if day is not None and Kind(kind) is not Kind.BY_LEVEL:
        msg = f"--day says which faces --kind by-level shows; {kind} has no such day."
        raise TrialError(msg, "Leave it out, or ask for --kind by-level.")
    paths = write_chart(trial_dir, output, kind=Kind(kind), day=day)
    click.echo(f"The chart is in {' and '.join(map(str, paths))}", err=True)
    for line in say_lacking(load_trial(trial_dir)):
        click.echo(line, err=True)
    for path in paths:
        click.echo(path)


def write_chart(
    trial_dir: Path, output: Path | None = None, *, kind: Kind = Kind.CURVES, day: int | None = None
) -> tuple[Path, ...]:
    """Return the paths of a trial's chart, written as PNG and SVG; each is replaced whole or not at all.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    output : Path or None
        The files' path without suffix; `chart` or `chart-KIND` in the trial's folder when None.
    kind : Kind
        What it shows.
    day : int, optional
        The age in days of the faces by level.

    Raises
    ------
    AnalysisError
        When the trial has nothing to show in it yet.
    LedgerError
        When the files can't be written.
    TrialError
        When the plan is wrong, or the output is a folder or in none that is there.
    """
    from colscan.ledger import read_ledger

    trial = load_trial(trial_dir)
    ledger = read_ledger(trial_dir)
    # Before it is drawn: some kinds take a while.
    paths = chart_paths(output_path(output, trial_dir / kind.stem))
    files = make_chart(kind, Subject(trial_dir=trial_dir, trial=trial, ledger=ledger, now=now(), day=day))
    put_chart(files, paths)
    return paths
