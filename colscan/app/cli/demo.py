"""`colscan demo`: the newcomer's first minute."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import click

from colscan.errors import ExitCode, LedgerError, TrialError
from colscan.hints import as_typed


@click.command()
@click.argument("folder", metavar="[DIR]", type=click.Path(path_type=Path), required=False)
def demo(folder: Path | None) -> ExitCode:
    """Run the bundled trial from photos to chart.

    Copies the trial "hornbeam" (eight bags, six photos over fifteen days) to
    DIR, ./hornbeam by default, scans it, draws its chart and prints its
    status. Run again, it finishes what was left.

    \b
    Example:
      colscan demo
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.batch.scan import ScanOptions, scan_photos
    from colscan.app.cli.scanned import report_scan, say_waiting_once
    from colscan.app.demo import NAME, PHOTOS
    from colscan.trial import load_trial

    folder = folder or Path(NAME)
    _copy_plan(folder)
    photos = sorted(PHOTOS.iterdir())
    options = ScanOptions(
        jobs=min(os.cpu_count() or 1, len(photos)), overlay=True, waiting=say_waiting_once(NAME)
    )
    click.echo(f"Scanning {len(photos)} photos of eight bags into {folder} ...", err=True)
    trial = load_trial(folder)
    outcomes = scan_photos(folder, trial, photos, options)
    code = report_scan(outcomes, total=len(photos), zone=trial.zone, options=options)
    if code is ExitCode.DONE:
        _show(folder)
    return code


def _copy_plan(folder: Path) -> None:
    from colscan.app.demo import NAME, PLAN
    from colscan.trial import load_trial

    if (folder / "trial.toml").exists():
        if load_trial(folder).name != NAME:
            msg = f"{folder} holds another trial."
            raise TrialError(msg, "Give the demo a folder of its own: colscan demo some-other-folder")
        return
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        msg = f"{folder} is there already and holds other things."
        raise TrialError(msg, "Give the demo a folder of its own: colscan demo some-other-folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path in PLAN:
            shutil.copyfile(path, folder / path.name)
    except OSError as error:
        msg = f"{folder}: can't be made ({error.strerror})."
        raise LedgerError(msg, "Run the demo in a folder where you may write.") from error


def _show(folder: Path) -> None:
    from colscan.app.cli.chart import write_chart
    from colscan.app.cli.status import print_status

    charts = write_chart(folder)
    click.echo(err=True)
    print_status(folder)
    click.echo("\nWhere to look next:", err=True)
    for path, what in (
        (charts[0], "the colonization curves"),
        (folder / "overlays", "each photo with what was found drawn on it"),
        (folder / "scores.csv", "one row a bag and photo, yours to open in a spreadsheet"),
        (folder / "trial.toml", "the plan, each key explained"),
    ):
        click.echo(f"  {path}  {what}", err=True)
    click.echo(f"  colscan history {as_typed(folder)} B04  one bag's own table", err=True)
    click.echo(
        f"  colscan agree {as_typed(folder)}  the scores held against what the photos were rendered with",
        err=True,
    )
    click.echo("  colscan new my-trial  your own", err=True)
