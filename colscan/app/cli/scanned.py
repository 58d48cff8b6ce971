"""What a scan tells while the grower still stands there: a line a photo, what to take again and why."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import replace
from datetime import tzinfo
from functools import cache
from itertools import chain
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import screen_of_stdout
from colscan.app.told import smallest_tag_px, tell_first, tell_known, tell_recorded, tell_tag_size
from colscan.errors import ExitCode
from colscan.units import count_of

if TYPE_CHECKING:
    from colscan.app.batch.outcomes import Outcome, Recorded
    from colscan.app.batch.scan import ScanOptions

_SHOWN = (
    "photo", "bag", "coverage_pct", "coverage_low_pct", "coverage_high_pct", "density_pct", "unseen_pct",
    "suspects", "flags",
)  # fmt: skip
_INDENT = "      "


def say_waiting_once(trial: str) -> Callable[[], None]:
    """What says that another scan of a trial is waited for: once, however often it is called.

    Parameters
    ----------
    trial : str
        The trial's name.
    """
    return cache(lambda: click.echo(f"{trial}: waiting for another scan of this trial to end", err=True))


def report_scan(outcomes: Iterator[Outcome], *, total: int, zone: tzinfo, options: ScanOptions) -> ExitCode:
    """The exit code of one trial's scan, after telling each photo's outcome and what it comes to.

    Parameters
    ----------
    outcomes : iterator of Outcome
        The running scan.
    total : int
        How many photos were given.
    zone : tzinfo
        The trial's zone, in which times are told.
    options : ScanOptions
        How it runs.
    """
    report = ScanReport(total=total, dry_run=options.dry_run, taken_at=options.taken_at is not None)
    for outcome in outcomes:
        report.tell(outcome, zone=zone)
    return report.finish()


class Told:
    """What a watch told of photos that can't be used: once, however often it looks."""

    def __init__(self) -> None:
        self._why: set[tuple[str, str]] = set()

    def is_news(self, photo: str, why: str) -> bool:
        """Whether this wasn't said of a photo before; from now on it was."""
        is_new = (photo, why) not in self._why
        self._why.add((photo, why))
        return is_new

    def keep(self, photos: Collection[str]) -> None:
        """Forget all but these photos: others are done with, or have changed."""
        self._why = {one for one in self._why if one[0] in photos}


class ScanReport:
    """Tells each photo's outcome on stderr as it comes, then what it comes to (a dry run's rows on stdout).

    Parameters
    ----------
    total : int
        How many outcomes there will be.
    dry_run : bool
        Whether nothing is written.
    taken_at : bool
        Whether the user said when the photo was taken.
    is_farm : bool
        Whether each line says which trial it is of.
    told : Told or None
        What earlier looks of a watch told; then photos that were scanned before are only counted.
    """

    def __init__(
        self,
        *,
        total: int,
        dry_run: bool,
        taken_at: bool = False,
        is_farm: bool = False,
        told: Told | None = None,
    ) -> None:
        self._total = total
        self._dry_run = dry_run
        self._taken_at = taken_at
        self._is_farm = is_farm
        self._watched = told
        self._told = 0
        self._recorded: list[tuple[str | None, Recorded]] = []
        self._known = 0
        self._rejected = 0

    def tell(self, outcome: Outcome, *, zone: tzinfo, trial: str | None = None) -> None:
        """Tell one outcome.

        Parameters
        ----------
        outcome : Outcome
            What became of a photo.
        zone : tzinfo
            The trial's zone, in which times are told.
        trial : str, optional
            The trial of a farm that it is of.
        """
        from colscan.app.batch.outcomes import AlreadyKnown, Recorded

        self._told += 1
        lines: Iterator[str]
        if isinstance(outcome, Recorded):
            # Without the maps of its faces: of hundreds of photos they would fill the memory.
            self._recorded.append((trial, replace(outcome, found={})))
            tags = tell_tag_size(smallest_tag_px(outcome.scores))
            lines = chain(tell_recorded(outcome, zone), tags)
        elif isinstance(outcome, AlreadyKnown):
            self._known += 1
            is_told = self._watched is None or outcome.put_back
            lines = tell_known(outcome, taken_at=self._taken_at) if is_told else iter(())
        else:
            self._rejected += 1
            is_news = self._watched is None or self._watched.is_news(
                outcome.name, f"{trial}: {outcome.error}"
            )
            lines = iter(str(outcome.error).splitlines() if is_news else ())
        whose = f"{trial}: " if trial else ""
        for prefix, line in zip(_prefixes(f"[{self._told}/{self._total}] "), lines, strict=False):
            click.echo(prefix + whose + line, err=True)

    def finish(self) -> ExitCode:
        """The exit code, after telling the sum and which first photos should be taken again."""
        recorded = [outcome for _, outcome in self._recorded]
        click.echo(_summary(recorded, self._known, self._rejected, dry_run=self._dry_run), err=True)
        for trial in dict.fromkeys(trial for trial, _ in self._recorded):
            for line in tell_first([outcome for whose, outcome in self._recorded if whose == trial]):
                click.echo(f"{trial}: {line}" if trial else line, err=True)
        if self._dry_run and recorded:
            self._print_rows()
        if self._rejected:
            return ExitCode.SOME_PHOTOS_FAILED if recorded or self._known else ExitCode.PHOTO
        return ExitCode.DONE

    def _print_rows(self) -> None:
        from colscan.present import render_rows
        from colscan.tables import format_row

        rows = [(trial, row) for trial, outcome in self._recorded for row in outcome.scores]
        columns = ("trial", *_SHOWN) if self._is_farm else _SHOWN
        cells = [[{"trial": trial, **format_row(row)}[name] or "" for name in columns] for trial, row in rows]
        click.echo(render_rows(columns, cells, "table", screen=screen_of_stdout()), nl=False)


def _prefixes(first: str) -> Iterator[str]:
    yield first
    while True:
        yield _INDENT


def _summary(recorded: list[Recorded], known: int, rejected: int, *, dry_run: bool) -> str:
    scores = sum(len(outcome.scores) for outcome in recorded)
    if recorded:
        what = "measured, nothing written" if dry_run else "recorded"
        told = f"{count_of(len(recorded), 'photo')} {what}, {count_of(scores, 'score')}"
    else:
        told = "nothing appended"
    if known:
        told += f"; {count_of(known, 'photo')} passed over"
    if rejected:
        told += f"; {count_of(rejected, 'photo')} not used"
    return told
