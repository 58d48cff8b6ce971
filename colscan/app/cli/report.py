"""What a scan tells while the grower still stands there: a line a photo, what to take again and why."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import tzinfo
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import screen_of_stdout
from colscan.errors import ExitCode
from colscan.flags import RETAKE, Flag

if TYPE_CHECKING:
    from colscan.app.batch.scan import AlreadyKnown, Outcome, Recorded, ScanOptions
    from colscan.ledger.columns import ScoreRow

_SHOWN = (
    "photo", "bag", "coverage_pct", "coverage_low_pct", "coverage_high_pct", "density_pct", "unseen_pct",
    "suspects", "flags",
)  # fmt: skip
_INDENT = "      "


def report_scan(outcomes: Iterator[Outcome], *, total: int, zone: tzinfo, options: ScanOptions) -> ExitCode:
    """The exit code of a scan, after telling each photo's outcome on stderr (a dry run's rows on stdout).

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
    from colscan.app.batch.scan import AlreadyKnown, Recorded, Rejected

    recorded: list[Recorded] = []
    known = rejected = 0
    for number, outcome in enumerate(outcomes, start=1):
        lines: Iterator[str]
        if isinstance(outcome, Recorded):
            recorded.append(outcome)
            lines = _tell_recorded(outcome, zone)
        elif isinstance(outcome, AlreadyKnown):
            known += 1
            lines = _tell_known(outcome, options)
        else:
            assert isinstance(outcome, Rejected)
            rejected += 1
            lines = iter(str(outcome.error).splitlines())
        for prefix, line in zip(_prefixes(f"[{number}/{total}] "), lines, strict=False):
            click.echo(prefix + line, err=True)
    click.echo(_summary(recorded, known, rejected, dry_run=options.dry_run), err=True)
    for line in _tell_first(recorded):
        click.echo(line, err=True)
    if options.dry_run and recorded:
        _print_rows([row for outcome in recorded for row in outcome.scores])
    if rejected:
        return ExitCode.SOME_PHOTOS_FAILED if recorded or known else ExitCode.PHOTO
    return ExitCode.DONE


def _prefixes(first: str) -> Iterator[str]:
    yield first
    while True:
        yield _INDENT


def _tell_known(outcome: AlreadyKnown, options: ScanOptions) -> Iterator[str]:
    if outcome.twin:
        yield f"{outcome.name}: the same picture, to the byte, as {outcome.twin}; passed over"
        return
    if outcome.copy_of:
        yield f"{outcome.name}: the same picture as {outcome.copy_of}, saved again; passed over"
        return
    yield f"{outcome.name}: scanned before, passed over"
    if options.taken_at:
        yield "--taken-at changes nothing in a photo that is recorded: its time stands"


def _tell_recorded(outcome: Recorded, zone: tzinfo) -> Iterator[str]:
    photo = outcome.photo
    spot = f"{photo.smallest_spot_mm:.0f} mm" if photo.smallest_spot_mm is not None else "unknown"
    when = f"{photo.taken_at.astimezone(zone):%Y-%m-%d %H:%M}"
    yield f"{photo.photo}  {when}  {_count(photo.bags_found, 'bag')}  smallest spot it can show: {spot}"
    for flag in Flag:
        bags = [row.bag for row in outcome.scores if flag in row.flags]
        if bags:
            yield _tell_flag(flag, bags, len(outcome.scores))
    for flag in photo.problems:
        yield f"{flag}: {flag.meaning} {flag.remedy}"
    for patch in outcome.suspects:
        if Flag.EXPECTED not in patch.flags:
            yield f"suspect patch: {patch.bag} {patch.patch}, {patch.kind}, {patch.area_mm2:.0f} mm2"
    if outcome.missing:
        yield f"not in this photo: {', '.join(outcome.missing)}"
    yield from outcome.remarks
    if outcome.overlay:
        yield f"drawn: {outcome.overlay}"


def _tell_flag(flag: Flag, bags: list[str], of: int) -> str:
    whose = f"all {of} bags" if len(bags) == of > 1 else ", ".join(bags)
    if flag in RETAKE:
        return f"again: {whose} - {flag}. {flag.remedy}"
    return f"note: {whose} - {flag}. {flag.meaning} {flag.remedy}"


def _tell_first(recorded: list[Recorded]) -> Iterator[str]:
    """A line for each bag whose first photo should be taken again at once, and one for the others."""
    why = {bag: reasons for outcome in recorded for bag, reasons in outcome.first.items()}
    for bag, reasons in sorted(why.items()):
        if reasons:
            yield f"{bag}: retake this first photo now: {'; and '.join(reasons)}"
    good = sorted(bag for bag, reasons in why.items() if not reasons)
    if good:
        yield f"first photos are good: {', '.join(good)}"


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
        told += f"; {_count(known, 'photo')} passed over"
    if rejected:
        told += f"; {_count(rejected, 'photo')} not used"
    return told


def _print_rows(rows: list[ScoreRow]) -> None:
    from colscan.present import render_rows
    from colscan.tables import format_row

    cells = [[format_row(row)[name] for name in _SHOWN] for row in rows]
    click.echo(render_rows(_SHOWN, cells, "table", screen=screen_of_stdout()), nl=False)
