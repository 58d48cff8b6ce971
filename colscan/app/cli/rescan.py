"""`colscan rescan`: kept photos scored anew by the current method, and what that moved."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import format_option, jobs_option, screen_of_stdout, trial_dir_argument
from colscan.app.cli.scanned import say_waiting_once
from colscan.errors import ExitCode
from colscan.hints import as_typed
from colscan.units import count_of, now

if TYPE_CHECKING:
    from colscan.app.batch.rescan import Rescan
    from colscan.growth.moves import BagMoves, Change
    from colscan.ledger import Scans
    from colscan.present.table import Cell
    from colscan.trial.model import Trial

SCREEN = (
    "bag", "scores", "colonized %: mean, largest change", "how white: mean, largest", "scores came, went",
    "patches came", "patches went", "what to do",
)  # fmt: skip
COLUMNS = (
    "bag", "scores", "coverage_mean_points", "coverage_largest_points", "coverage_largest_photo",
    "density_mean_points", "density_largest_points", "density_largest_photo", "scores_came", "scores_went",
    "patches_came", "patches_went", "advice_before", "advice_after",
)  # fmt: skip


@click.command()
@trial_dir_argument
@click.option("--dry-run", is_flag=True, help="Say what would move, write nothing.")
@jobs_option
@format_option
def rescan(trial_dir: Path, dry_run: bool, jobs: int, output_format: str) -> ExitCode:
    """Score a trial's kept photos anew, and say what moved.

    A newer colscan may score by another method. Photos that only an older one
    has scored are scored by the current one; its rows stand beside the old
    ones, which stay, and count from then on. Verdicts keep their patches: what
    is found at a patch's place has its name. Stopped, it goes on where it was.

    \b
    Example:
      colscan rescan hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.batch.rescan import plan_rescan
    from colscan.ledger import read_ledger, read_scans, scan_locked
    from colscan.trial import load_trial

    trial = load_trial(trial_dir)
    with nullcontext() if dry_run else scan_locked(trial_dir, say_waiting_once(trial.name)):
        work = plan_rescan(trial_dir, read_ledger(trial_dir), read_scans(trial_dir))
        if not work.photos and not work.rejected:
            if output_format != "table":  # programs read a header, or an empty list
                _print_moves((), output_format)
            click.echo(_nothing_to_do(work, trial_dir), err=True)
            return ExitCode.DONE
        for one in work.rejected:
            click.echo(str(one.error), err=True)
        done = _score_anew(trial_dir, trial, work, jobs=jobs, dry_run=dry_run)
    moves = _find_moves(trial, work, done.recorded)
    _print_moves(moves, output_format)
    for line in _say(moves, work, done, trial_dir if dry_run else None):
        click.echo(line, err=True)
    if not done.rejected:
        return ExitCode.DONE
    return ExitCode.SOME_PHOTOS_FAILED if done.recorded or work.has_current else ExitCode.PHOTO


@dataclass(frozen=True, slots=True, kw_only=True)
class _Done:
    """What was recorded, a value a photo, and how many photos could not be scored anew."""

    recorded: list[Scans]
    rejected: int


def _score_anew(trial_dir: Path, trial: Trial, work: Rescan, *, jobs: int, dry_run: bool) -> _Done:
    """Score what is to be scored, telling each photo."""
    from colscan.app.batch.outcomes import Recorded, Rejected
    from colscan.app.batch.rescan import rescan_photos
    from colscan.ledger import Scans

    recorded, rejected = [], len(work.rejected)
    outcomes = rescan_photos(trial_dir, trial, work, jobs=jobs, dry_run=dry_run)
    for number, outcome in enumerate(outcomes, 1):
        place = f"[{number}/{len(work.photos)}] "
        if isinstance(outcome, Recorded):
            rows = Scans(photos=(outcome.photo,), scores=outcome.scores, suspects=outcome.suspects)
            recorded.append(rows)
            click.echo(f"{place}{outcome.photo.photo}  {count_of(len(rows.scores), 'score')}", err=True)
        elif isinstance(outcome, Rejected):
            rejected += 1
            click.echo(f"{place}{outcome.error}\n      Its older rows stay as they are.", err=True)
    return _Done(recorded=recorded, rejected=rejected)


def _nothing_to_do(work: Rescan, trial_dir: Path) -> str:
    if not work.ledger.photos:
        return f"No photo yet. Next: colscan scan {as_typed(trial_dir)} PHOTO..."
    return f"Nothing to do: {count_of(len(work.ledger.photos), 'photo')}, all scored by {work.current}."


def _find_moves(trial: Trial, work: Rescan, recorded: Sequence[Scans]) -> tuple[BagMoves, ...]:
    from colscan.app.batch.rescan import before_and_after
    from colscan.growth.moves import find_moves

    old, new = before_and_after(work, recorded)
    return find_moves(trial, old, new, now())


def _print_moves(moves: Sequence[BagMoves], output_format: str) -> None:
    from colscan.present import render_rows

    if output_format == "table":
        rows = [_screen_row(one) for one in moves]
        text = render_rows(SCREEN, rows, output_format, screen=screen_of_stdout())
    else:
        text = render_rows(COLUMNS, [_data_row(one) for one in moves], output_format)
    click.echo(text, nl=False)


def _screen_row(one: BagMoves) -> list[Cell]:
    return [
        one.bag,
        one.coverage.scores,
        _show(one.coverage),
        _show(one.density),
        f"{one.scores_came}, {one.scores_went}",
        " ".join(one.patches_came),
        " ".join(one.patches_went),
        str(one.after) if one.before == one.after else f"{one.before} -> {one.after}",
    ]


def _show(change: Change) -> str:
    if change.mean is None:
        return ""
    return f"{change.mean:+.2f}, {change.largest:+.2f}" if change.largest else "0"


def _data_row(one: BagMoves) -> list[Cell]:
    return [
        one.bag,
        one.coverage.scores,
        *_data(one.coverage),
        *_data(one.density),
        one.scores_came,
        one.scores_went,
        " ".join(one.patches_came),
        " ".join(one.patches_went),
        one.before,
        one.after,
    ]


def _data(change: Change) -> list[Cell]:
    if change.mean is None:
        return [None, None, None]
    return [round(change.mean, 4), round(change.largest, 4), change.photo or None]


def _say(moves: Sequence[BagMoves], work: Rescan, done: _Done, dry_run_in: Path | None) -> Iterator[str]:
    """What was done and what it moved in all, a line each."""
    from colscan.growth.moves import sum_changes

    older = ", ".join(work.older)
    what = "scored, nothing written" if dry_run_in else f"scored anew; the rows of {older} stay beside"
    yield f"{work.current}: {count_of(len(done.recorded), 'photo')} {what}."
    if done.rejected:
        yield f"{count_of(done.rejected, 'photo')} could not be scored anew and count as before."
    yield f"Colonized %: {_say_change(sum_changes([one.coverage for one in moves]))}"
    yield f"How white: {_say_change(sum_changes([one.density for one in moves]))}"
    scores = [sum(one.scores_came for one in moves), sum(one.scores_went for one in moves)]
    patches = [sum(len(one.patches_came) for one in moves), sum(len(one.patches_went) for one in moves)]
    yield f"Scores: {scores[0]} came, {scores[1]} went. Patches: {patches[0]} came, {patches[1]} went."
    changed = [f"{one.bag} ({one.before} -> {one.after})" for one in moves if one.before != one.after]
    yield f"What to do changed: {', '.join(changed)}." if changed else "What to do changed for no bag."
    if dry_run_in:
        yield f"To record it: colscan rescan {as_typed(dry_run_in)}"


def _say_change(change: Change) -> str:
    if change.mean is None:
        return "no score to compare."
    scores = count_of(change.scores, "score")
    if not change.largest:
        return f"the same in {scores}."
    where = f"{change.bag} in {change.photo}"
    return f"mean change {change.mean:+.2f} points in {scores}, the largest {change.largest:+.2f} ({where})."
