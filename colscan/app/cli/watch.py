"""`colscan watch`: photos into the ledger as they appear in a synced folder."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import (
    FiniteRange,
    check_cluster,
    cluster_option,
    jobs_option,
    trial_dir_argument,
)
from colscan.app.cli.scan import Asked, check_target, scan_into
from colscan.app.cli.scanned import Told
from colscan.errors import ExitCode, LedgerError, PhotoError, TrialError

if TYPE_CHECKING:
    from colscan.app.batch.watch import Watched


@click.command()
@trial_dir_argument
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path))
@click.option("--shelf", metavar="NAME", help="The shelf in the photos.")
@click.option(
    "--every",
    "every_s",
    metavar="SECONDS",
    type=FiniteRange(0.1, 3600),
    default=10.0,
    show_default=True,
    help="How long to wait between two looks.",
)
@click.option("--once", is_flag=True, help="Scan what is complete now, then end.")
@cluster_option
@jobs_option
def watch(
    trial_dir: Path,
    folder: Path,
    shelf: str | None,
    every_s: float,
    once: bool,
    jobs: int,
    cluster: str | None,
) -> ExitCode | None:
    """Scan the photos that appear in a folder, until ctrl-C.

    FOLDER is one that a phone or camera is synced to; folders in it aren't
    looked into. A photo is scanned once, when it is complete: its size and time
    are the same at two looks. A photo that can't be used is named once, and
    tried again when it changes. TRIAL_DIR may also be a folder that holds
    trials, as with scan.

    \b
    Example:
      colscan watch hornbeam Pictures
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.batch.watch import Watched

    check_cluster(cluster)
    told = Told()
    asked = Asked(shelf=shelf, jobs=jobs, cluster=cluster, told=told)
    check_target(trial_dir, asked)
    if not folder.is_dir():
        msg = f"{folder}: no such folder."
        raise PhotoError(msg, "Give the folder in which photos appear.")
    watched = Watched(folder)
    if once:
        return _scan_complete(trial_dir, watched, asked, every_s=every_s)
    click.echo(f"watching {folder} every {every_s:g} s; ctrl-C ends it", err=True)
    _Watch(trial_dir, watched, asked, told).run(every_s)
    return None


def _scan_complete(trial_dir: Path, watched: Watched, asked: Asked, *, every_s: float) -> ExitCode:
    watched.look()
    time.sleep(every_s)
    ready = watched.look()
    if ready:
        return scan_into(trial_dir, ready, asked)
    click.echo("nothing appended; no complete photo is there", err=True)
    return ExitCode.DONE


class _Watch:
    """A watch that goes on through what passes: a folder away, a plan or ledger half edited, a full disk."""

    def __init__(self, trial_dir: Path, watched: Watched, asked: Asked, told: Told) -> None:
        self._trial_dir = trial_dir
        self._watched = watched
        self._asked = asked
        self._told = told
        self._trouble: str | None = None

    def run(self, every_s: float) -> None:
        while True:
            self._look()
            time.sleep(every_s)

    def _look(self) -> None:
        try:
            ready = self._watched.look()
        except OSError as error:
            self._say(f"{error.filename}: can't be looked into ({error.strerror}); waiting for it")
            return
        self._told.keep({path.name for path in ready})
        try:
            if ready:
                scan_into(self._trial_dir, ready, self._asked)
                self._watched.done(ready)
        except (TrialError, LedgerError) as error:
            self._say(f"{error}\n  The photos wait until that is mended.")
            return
        if self._trouble is not None:
            click.echo("going on", err=True)
            self._trouble = None

    def _say(self, trouble: str) -> None:
        """Say what is in the way, once."""
        if trouble != self._trouble:
            click.echo(f"colscan: {trouble}", err=True)
        self._trouble = trouble
