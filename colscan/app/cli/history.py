"""`colscan history`: one bag's own table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan import units
from colscan.app.cli.options import format_option, screen_of_stdout, trial_dir_argument
from colscan.hints import as_typed

if TYPE_CHECKING:
    from colscan.app.bag_history import Entry
    from colscan.ledger import Ledger
    from colscan.present.table import Cell
    from colscan.trial.model import Bag, Trial

SCREEN = ("time", "day", "what", "colonized % (interval)", "how white", "hidden", "suspects", "note")
COLUMNS = (
    "at", "day", "what", "segment", "coverage_pct", "coverage_low_pct", "coverage_high_pct", "density_pct",
    "unseen_pct", "suspects", "flags", "note", "photo",
)  # fmt: skip


@click.command()
@trial_dir_argument
@click.argument("bag", metavar="BAG")
@format_option
def history(trial_dir: Path, bag: str, output_format: str) -> None:
    """Show one bag's scores, events, verdicts and harvests.

    In order of time; events of its shelf and of the room are among them, and
    what was recorded of its mix and its heat run. Below it its curve in words:
    when half colonized, greatest rate, when it leapt off, 90 % intervals.

    \b
    Example:
      colscan history hornbeam B04
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.bag_history import list_entries
    from colscan.app.calls import known_bag
    from colscan.growth.records import records_of
    from colscan.ledger import read_ledger
    from colscan.present import render_rows
    from colscan.trial import load_trial

    trial = load_trial(trial_dir)
    planned = known_bag(trial, bag)
    ledger = read_ledger(trial_dir)
    record = next(record for record in records_of(trial, ledger) if record.bag == planned)
    entries = list_entries(trial, record, ledger)
    if output_format == "table":
        rows = [_screen_row(entry, planned, trial) for entry in entries]
        text = render_rows(SCREEN, rows, output_format, screen=screen_of_stdout())
    else:
        text = render_rows(COLUMNS, [_data_row(entry, planned) for entry in entries], output_format)
    click.echo(text, nl=False)
    inoculated = planned.inoculated_at.astimezone(trial.zone)
    click.echo(
        f"{bag}: {planned.strain}, {planned.treatment}, inoculated {inoculated:%Y-%m-%d %H:%M}", err=True
    )
    if not any(entry.score for entry in entries):
        click.echo(f"No photo of it yet. Next: colscan scan {as_typed(trial_dir)} PHOTO...", err=True)
        return
    for line in _curve_lines(trial, planned, ledger):
        click.echo(line, err=True)


def _curve_lines(trial: Trial, bag: Bag, ledger: Ledger) -> list[str]:
    from colscan.growth.curve import Measure, describe_fit, fit_bag

    return [
        f"  {measure}{f', after disturbance {fit.segment}' if fit.segment else ''}: {describe_fit(fit)}"
        for measure in Measure
        for fit in fit_bag(trial, ledger, bag, measure=measure)
    ]


def _screen_row(entry: Entry, bag: Bag, trial: Trial) -> list[Cell]:
    when = f"{entry.at.astimezone(trial.zone):%Y-%m-%d %H:%M}"
    day = f"{units.days_between(bag.inoculated_at, entry.at):.1f}"
    score = entry.score
    if score is None:
        return [when, day, entry.what, "", "", "", "", entry.note]
    return [
        when,
        day,
        entry.what,
        units.show_interval(score.coverage_pct, score.coverage_low_pct, score.coverage_high_pct),
        _whole(score.density_pct),
        _whole(score.unseen_pct),
        score.suspects or "",
        "; ".join(part for part in (entry.note, " ".join(score.flags)) if part),
    ]


def _whole(pct: float | None) -> str:
    return "" if pct is None else f"{pct:.0f}"


def _data_row(entry: Entry, bag: Bag) -> list[Cell]:
    day = round(units.days_between(bag.inoculated_at, entry.at), 2)
    score = entry.score
    if score is None:
        return [entry.at, day, entry.what, *[None] * 8, entry.note, None]
    return [
        entry.at,
        day,
        entry.what,
        score.segment,
        score.coverage_pct,
        score.coverage_low_pct,
        score.coverage_high_pct,
        score.density_pct,
        score.unseen_pct,
        score.suspects,
        " ".join(score.flags),
        entry.note,
        score.photo,
    ]
