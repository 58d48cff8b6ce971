"""`colscan scan`: photos into the ledger."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import parse_when, trial_dir_argument
from colscan.errors import ExitCode, TrialError
from colscan.flags import RETAKE, Flag
from colscan.trial import load_trial

if TYPE_CHECKING:
    from colscan.app.batch.scan import Outcome, Recorded, ScanOptions
    from colscan.ledger.columns import ScoreRow
    from colscan.trial.model import Trial


@click.command()
@trial_dir_argument
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True)
@click.option("--taken-at", metavar="TIME", help="When the photo was taken (one photo only).")
@click.option("--shelf", metavar="NAME", help="The shelf in the photos.")
@click.option("--dry-run", is_flag=True, help="Print the scores, write nothing.")
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
    options = ScanOptions(
        taken_at=parse_when(taken_at, trial.zone, "--taken-at"), shelf=shelf, jobs=jobs, dry_run=dry_run
    )
    return report_scan(scan_photos(trial_dir, trial, paths, options), total=len(paths), options=options)


def _check_shelf(trial: Trial, shelf: str | None) -> None:
    named = [known.name for known in trial.shelves]
    if shelf and named and shelf not in named:
        msg = f"--shelf {shelf!r} is no shelf of this trial."
        raise TrialError(msg, f"Its shelves are: {', '.join(named)}.")


def report_scan(outcomes: Iterator[Outcome], *, total: int, options: ScanOptions) -> ExitCode:
    """The exit code of a scan, after telling each photo's outcome (a dry run's rows on stdout)."""
    from colscan.app.batch.scan import AlreadyKnown, Recorded, Rejected

    done: list[Outcome] = []
    for outcome in outcomes:
        done.append(outcome)
        for line in _tell(outcome, f"[{len(done)}/{total}]"):
            click.echo(line, err=True)
    recorded = [outcome for outcome in done if isinstance(outcome, Recorded)]
    known = sum(isinstance(outcome, AlreadyKnown) for outcome in done)
    rejected = [outcome for outcome in done if isinstance(outcome, Rejected)]
    click.echo(_summary(recorded, known, len(rejected), dry_run=options.dry_run), err=True)
    if options.dry_run and recorded:
        _print_rows([row for outcome in recorded for row in outcome.scores])
    if rejected:
        return ExitCode.SOME_PHOTOS_FAILED if recorded or known else ExitCode.PHOTO
    return ExitCode.DONE


def _tell(outcome: Outcome, count: str) -> Iterator[str]:
    from colscan.app.batch.scan import Recorded, Rejected

    if isinstance(outcome, Recorded):
        yield from _tell_recorded(outcome, count)
    elif isinstance(outcome, Rejected):
        yield f"{count} {outcome.error}"
    else:
        yield f"{count} {outcome.name}: scanned before, passed over"


def _tell_recorded(outcome: Recorded, count: str) -> Iterator[str]:
    photo = outcome.photo
    spot = f"{photo.smallest_spot_mm:.0f} mm" if photo.smallest_spot_mm is not None else "unknown"
    bags = _count(photo.bags_found, "bag")
    yield f"{count} {photo.photo}  {photo.taken_at:%Y-%m-%d %H:%M}  {bags}  smallest spot it can show: {spot}"
    retake = [(row, [flag for flag in row.flags if flag in RETAKE]) for row in outcome.scores]
    reasons = Counter(flag for _, flags in retake for flag in flags)
    for flag in reasons:
        codes = ", ".join(row.bag for row, flags in retake if flag in flags)
        yield f"      again: {codes} - {flag}. {flag.remedy}"
    for flag in photo.problems:
        yield f"      {flag}: {flag.meaning} {flag.remedy}"
    for patch in outcome.suspects:
        if Flag.EXPECTED not in patch.flags:
            yield f"      suspect patch: {patch.bag} {patch.patch}, {patch.kind}, {patch.area_mm2:.0f} mm2"
    for row in outcome.scores:
        if Flag.FELL in row.flags:
            yield f"      {row.bag}: {Flag.FELL.meaning} {Flag.FELL.remedy}"
    if outcome.missing:
        yield f"      not in this photo: {', '.join(outcome.missing)}"
    for remark in outcome.remarks:
        yield f"      {remark}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _summary(recorded: list[Recorded], known: int, rejected: int, *, dry_run: bool) -> str:
    scores = sum(len(outcome.scores) for outcome in recorded)
    if recorded:
        what = "measured, nothing written" if dry_run else "recorded"
        told = f"{_count(len(recorded), 'photo')} {what}, {_count(scores, 'score')}"
    else:
        told = "nothing appended"
    if known:
        told += f"; {_count(known, 'photo')} scanned before"
    if rejected:
        told += f"; {_count(rejected, 'photo')} not used"
    return told


def _print_rows(rows: list[ScoreRow]) -> None:
    from colscan.present import render_rows
    from colscan.tables import format_row

    shown = (
        "photo",
        "bag",
        "coverage_pct",
        "coverage_low_pct",
        "coverage_high_pct",
        "density_pct",
        "unseen_pct",
    )
    header = (*shown, "suspects", "flags")
    cells = [[format_row(row)[name] for name in header] for row in rows]
    click.echo(render_rows(header, cells, "table"), nl=False)
