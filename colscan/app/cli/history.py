"""`colscan history`: one bag's own table."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan import units
from colscan.app.cli.options import format_option, screen_of_stdout, trial_dir_argument

if TYPE_CHECKING:
    from colscan.growth.model import BagRecord
    from colscan.ledger import Ledger
    from colscan.ledger.columns import EventRow, HarvestRow, ScoreRow, SuspectRow, VerdictRow
    from colscan.present.table import Cell
    from colscan.trial.model import Bag, Trial

SCREEN = ("time", "day", "what", "colonized % (interval)", "how white", "hidden", "suspects", "note")
COLUMNS = (
    "at", "day", "what", "segment", "coverage_pct", "coverage_low_pct", "coverage_high_pct", "density_pct",
    "unseen_pct", "suspects", "flags", "note", "photo",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entry:
    """One line of a bag's history; `score` for photos."""

    at: datetime
    what: str
    note: str
    score: ScoreRow | None = None


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
    from colscan.app.calls import known_bag
    from colscan.ledger import read_ledger
    from colscan.present import render_rows
    from colscan.trial import load_trial

    trial = load_trial(trial_dir)
    planned = known_bag(trial, bag)
    ledger = read_ledger(trial_dir)
    entries = _list_entries(trial, planned, ledger)
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
        click.echo(f"No photo of it yet. Next: colscan scan {trial_dir} PHOTO...", err=True)
        return
    for line in _curve_lines(trial, planned, ledger):
        click.echo(line, err=True)


def _curve_lines(trial: Trial, bag: Bag, ledger: Ledger) -> list[str]:
    from colscan.growth.curve import Measure, describe_fit, fit_bags

    return [
        f"  {measure}{f', after disturbance {fit.segment}' if fit.segment else ''}: {describe_fit(fit)}"
        for measure in Measure
        for fit in fit_bags(trial, ledger, measure=measure)
        if fit.bag == bag
    ]


def _list_entries(trial: Trial, bag: Bag, ledger: Ledger) -> list[_Entry]:
    from colscan.app.cli.logged import describe_batch, describe_run
    from colscan.growth.records import records_of

    record = next(record for record in records_of(trial, ledger) if record.bag == bag)
    entries = [_photo_entry(score, record) for score in record.scores]
    entries += [_Entry(at=event.at, what="event", note=_describe_event(event)) for event in record.events]
    entries += [_Entry(at=call.at, what="verdict", note=_describe_verdict(call)) for call in record.verdicts]
    entries += [
        _Entry(at=harvest.at, what="harvest", note=_describe_harvest(harvest))
        for harvest in ledger.harvests
        if harvest.bag == bag.bag
    ]
    entries += [
        _Entry(at=batch.at, what="mix", note=f"{batch.mix_batch}: {describe_batch(batch)}")
        for batch in ledger.batches
        if batch.mix_batch == bag.mix_batch
    ]
    entries += [
        _Entry(at=run.started_at, what="heat run", note=f"{run.heat_run}: {describe_run(run, trial.zone)}")
        for run in ledger.heat_runs
        if run.heat_run == bag.heat_run
    ]
    return sorted(entries, key=lambda entry: entry.at)


def _photo_entry(score: ScoreRow, record: BagRecord) -> _Entry:
    patches = [row for row in record.suspects if row.photo_sha256 == score.photo_sha256]
    note = ", ".join(_describe_patch(row) for row in patches)
    return _Entry(at=score.taken_at, what="photo", note=note, score=score)


def _describe_patch(row: SuspectRow) -> str:
    flags = f" ({' '.join(row.flags)})" if row.flags else ""
    return f"{row.patch} {row.kind} {row.area_mm2:.0f} mm2{flags}"


def _describe_event(event: EventRow) -> str:
    scope = {"bag": "", "shelf": f" (shelf {event.name})", "room": " (room)"}[event.scope]
    return f"{event.what}{scope}" + (f": {event.detail}" if event.detail else "")


def _describe_verdict(call: VerdictRow) -> str:
    said = f"{call.patch} {call.call}" if call.patch else f"bag {call.call}"
    found = f"found by {call.found_by}" if call.found_by else None
    blind = "blind" if call.blind == "yes" else None
    details = [detail for detail in (call.where, found, call.action, blind, call.by) if detail]
    return (
        f"{said}{' (' + ', '.join(details) + ')' if details else ''}{': ' + call.note if call.note else ''}"
    )


def _describe_harvest(harvest: HarvestRow) -> str:
    saleable = "" if harvest.saleable_g is None else f", {harvest.saleable_g:g} g saleable"
    note = f": {harvest.note}" if harvest.note else ""
    return f"flush {harvest.flush}: {harvest.fresh_g:g} g fresh{saleable}{note}"


def _screen_row(entry: _Entry, bag: Bag, trial: Trial) -> list[Cell]:
    from colscan.app.cli.status import show_interval

    when = f"{entry.at.astimezone(trial.zone):%Y-%m-%d %H:%M}"
    day = f"{units.days_between(bag.inoculated_at, entry.at):.1f}"
    score = entry.score
    if score is None:
        return [when, day, entry.what, "", "", "", "", entry.note]
    return [
        when,
        day,
        entry.what,
        show_interval(score.coverage_pct, score.coverage_low_pct, score.coverage_high_pct),
        _whole(score.density_pct),
        _whole(score.unseen_pct),
        score.suspects or "",
        "; ".join(part for part in (entry.note, " ".join(score.flags)) if part),
    ]


def _whole(pct: float | None) -> str:
    return "" if pct is None else f"{pct:.0f}"


def _data_row(entry: _Entry, bag: Bag) -> list[Cell]:
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
