"""`colscan scan`: photos into the ledger."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import parse_when, trial_dir_argument
from colscan.app.cli.report import report_scan
from colscan.errors import ExitCode, TrialError
from colscan.trial import load_trial

if TYPE_CHECKING:
    from colscan.trial.model import Trial


@click.command()
@trial_dir_argument
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True)
@click.option("--taken-at", metavar="TIME", help="When the photo was taken (one photo only).")
@click.option("--shelf", metavar="NAME", help="The shelf in the photos.")
@click.option("--dry-run", is_flag=True, help="Print the scores, write nothing.")
@click.option("--overlay", is_flag=True, help="Draw what was found on each photo, into overlays/.")
@click.option(
    "-j",
    "--jobs",
    type=click.IntRange(1, 64),
    default=lambda: os.cpu_count() or 1,
    show_default="one a core",
    help="How many processes measure photos.",
)
def scan(
    trial_dir: Path,
    photos: tuple[str, ...],
    taken_at: str | None,
    shelf: str | None,
    dry_run: bool,
    overlay: bool,
    jobs: int,
) -> ExitCode:
    """Score the bags in photos and append the scores to the ledger.

    PHOTO is a file, a folder of photos, or a pattern such as "*.jpg". A photo
    that was scanned before is passed over, so a folder can be scanned again.

    \b
    Example:
      colscan scan hornbeam hornbeam/photos
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.batch.gather import gather_photos
    from colscan.app.batch.scan import ScanOptions, scan_photos

    trial = load_trial(trial_dir)
    _check_shelf(trial, shelf)
    paths = gather_photos(photos)
    if taken_at and len(paths) > 1:
        msg = f"--taken-at was given for {len(paths)} photos."
        raise TrialError(msg, "Give it with one photo at a time: it says when that photo was taken.")
    if overlay and dry_run:
        msg = "--overlay writes pictures, and --dry-run writes nothing."
        raise TrialError(msg, "Give one of the two.")
    options = ScanOptions(
        taken_at=parse_when(taken_at, trial.zone, "--taken-at"),
        shelf=shelf,
        jobs=jobs,
        dry_run=dry_run,
        overlay=overlay,
    )
    outcomes = scan_photos(trial_dir, trial, paths, options)
    return report_scan(outcomes, total=len(paths), zone=trial.zone, options=options)


def _check_shelf(trial: Trial, shelf: str | None) -> None:
    named = sorted(trial.shelf_names)
    if shelf is not None and named and shelf not in named:
        msg = f"--shelf {shelf!r} is no shelf of this trial."
        raise TrialError(msg, f"Its shelves are: {', '.join(named)}.")
