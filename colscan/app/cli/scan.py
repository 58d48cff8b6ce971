"""`colscan scan`: photos into the ledger."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import (
    check_cluster,
    check_shelf,
    cluster_option,
    has_shelf,
    jobs_option,
    trial_dir_argument,
)
from colscan.app.cli.scanned import ScanReport, Told, say_waiting_once
from colscan.app.times import photo_time
from colscan.errors import ExitCode, TrialError
from colscan.ledger import read_ledger, say_waiting
from colscan.trial import FarmTrial, load_farm, load_trial
from colscan.units import count_of

if TYPE_CHECKING:
    from colscan.app.batch.scan import ScanOptions
    from colscan.trial.model import Trial


@click.command()
@trial_dir_argument
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True)
@click.option(
    "--taken-at", metavar="TIME", help="When the photo was taken, like 2026-03-09T10:05 (one photo only)."
)
@click.option("--shelf", metavar="NAME", help="The shelf in the photos.")
@click.option("--dry-run", is_flag=True, help="Print the scores, write nothing.")
@click.option("--overlay", is_flag=True, help="Draw what was found on each photo, into overlays/.")
@cluster_option
@jobs_option
def scan(
    trial_dir: Path,
    photos: tuple[str, ...],
    taken_at: str | None,
    shelf: str | None,
    dry_run: bool,
    overlay: bool,
    jobs: int,
    cluster: str | None,
) -> ExitCode:
    """Score the bags in photos and append the scores to the ledger.

    PHOTO is a file, a folder of photos, or a pattern such as "*.jpg". A photo
    that was scanned before is passed over, so a folder can be scanned again;
    where its original under photos/ is gone, it is put back. TRIAL_DIR may
    also be a folder that holds trials: each photo is scored by those whose
    bags' cards it shows.

    \b
    Example:
      colscan scan hornbeam hornbeam/photos
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.batch.gather import gather_photos

    check_cluster(cluster)
    paths = gather_photos(photos)
    if taken_at and len(paths) > 1:
        msg = f"--taken-at was given for {len(paths)} photos."
        raise TrialError(msg, "Give it with one photo at a time: it says when that photo was taken.")
    if overlay and dry_run:
        msg = "--overlay writes pictures, and --dry-run writes nothing."
        raise TrialError(msg, "Give one of the two.")
    asked = Asked(
        taken_at=taken_at, shelf=shelf, dry_run=dry_run, overlay=overlay, jobs=jobs, cluster=cluster
    )
    return scan_into(trial_dir, paths, asked)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the command line asks of a scan; a trial makes its `ScanOptions` of it.

    Parameters
    ----------
    taken_at : str or None
        When the photo was taken, as typed; without an offset it is in the trial's zone.
    shelf, dry_run, overlay, jobs, cluster
        As in `ScanOptions`.
    told : Told or None
        What earlier looks of a watch told; then photos that were scanned before are only counted.
    """

    taken_at: str | None = None
    shelf: str | None = None
    dry_run: bool = False
    overlay: bool = False
    jobs: int = 1
    cluster: str | None = None
    told: Told | None = None

    def of(self, trial: Trial) -> ScanOptions:
        """How photos are scanned into a trial.

        Raises
        ------
        TrialError
            When the time is none.
        """
        from colscan.app.batch.scan import ScanOptions

        return ScanOptions(
            taken_at=photo_time(self.taken_at, trial),
            shelf=self.shelf,
            jobs=self.jobs,
            cluster=self.cluster,
            dry_run=self.dry_run,
            overlay=self.overlay,
            waiting=say_waiting_once(trial.name),
        )


def scan_into(folder: Path, paths: Sequence[Path], asked: Asked) -> ExitCode:
    """The exit code of photos scanned into a trial, or into those of a farm, after telling what came of it.

    Parameters
    ----------
    folder : Path
        The folder of a trial, or of trials.
    paths : sequence of Path
        Photo files.
    asked : Asked
        How.

    Raises
    ------
    TrialError
        When the folder is neither, or a plan or an option is wrong.
    LedgerError
        When a ledger can't be read or written.
    ClusterError
        When the cluster can't be used, or is lost.
    """
    farm = load_farm(folder)
    if farm:
        return _scan_farm([(member, asked.of(member.trial)) for member in farm], paths, asked)
    from colscan.app.batch.scan import scan_photos

    trial = load_trial(folder)
    check_shelf(trial, asked.shelf)
    options = asked.of(trial)
    report = _report(asked, total=len(paths))
    for outcome in scan_photos(folder, trial, paths, options):
        report.tell(outcome, zone=trial.zone)
    return _finish(report, [folder])


def _finish(report: ScanReport, folders: Sequence[Path]) -> ExitCode:
    code = report.finish()
    for line in filter(None, map(say_waiting, folders)):
        click.echo(line, err=True)
    return code


def check_target(folder: Path, asked: Asked) -> None:
    """Refuse a folder that is neither a trial nor holds any, and a shelf that none of them has.

    Raises
    ------
    TrialError
        Then, or when a plan is wrong.
    """
    trials = [member.trial for member in load_farm(folder)] or [load_trial(folder)]
    if not any(has_shelf(trial, asked.shelf) for trial in trials):
        check_shelf(trials[0], asked.shelf)


def _scan_farm(
    farm: Sequence[tuple[FarmTrial, ScanOptions]], paths: Sequence[Path], asked: Asked
) -> ExitCode:
    from colscan.app.batch.farm import offer_photos, scan_farm

    for one, _ in farm:
        read_ledger(one.folder)  # a broken one is told before anything is written in any
    if asked.told is None:  # nobody waits beside a watch
        many = f"{count_of(len(paths), 'photo')} {'is' if len(paths) == 1 else 'are'}"
        click.echo(f"looking which of {count_of(len(farm), 'trial')} {many} for", err=True)
    offers = offer_photos(farm, paths, jobs=asked.jobs, cluster=asked.cluster)
    for offer in offers.offers:
        check_shelf(offer.of.trial, asked.shelf)
    report = _report(asked, total=offers.total, is_farm=True)
    for member, outcome in scan_farm(offers):
        zone, name = (member.trial.zone, member.name) if member else (UTC, None)
        report.tell(outcome, zone=zone, trial=name)
    return _finish(report, [member.folder for member, _ in farm])


def _report(asked: Asked, *, total: int, is_farm: bool = False) -> ScanReport:
    return ScanReport(
        total=total,
        dry_run=asked.dry_run,
        taken_at=asked.taken_at is not None,
        is_farm=is_farm,
        told=asked.told,
    )
