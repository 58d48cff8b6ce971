"""All that stands of one bag, a line each in order of time: for the command and for the page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from colscan.app.logged import describe_batch, describe_run
from colscan.growth.model import BagRecord
from colscan.ledger import Ledger
from colscan.ledger.columns import EventRow, HarvestRow, ScoreRow, SuspectRow, VerdictRow
from colscan.trial.model import Trial


class What(StrEnum):
    """What a line is of."""

    PHOTO = "photo"
    EVENT = "event"
    VERDICT = "verdict"
    HARVEST = "harvest"
    MIX = "mix"
    HEAT_RUN = "heat run"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line of a bag's history; `score` for photos."""

    at: datetime
    what: What
    note: str
    score: ScoreRow | None = None


def list_entries(trial: Trial, record: BagRecord, ledger: Ledger) -> list[Entry]:
    """Return a bag's photos, events, calls and harvests, its mix and its heat run, in order of time.

    Parameters
    ----------
    trial : Trial
        The plan.
    record : BagRecord
        What stands about the bag.
    ledger : Ledger
        The rows that count.
    """
    bag = record.bag
    entries = [_photo_entry(score, record) for score in record.scores]
    entries += [Entry(at=event.at, what=What.EVENT, note=describe_event(event)) for event in record.events]
    entries += [Entry(at=call.at, what=What.VERDICT, note=describe_verdict(call)) for call in record.verdicts]
    entries += [
        Entry(at=harvest.at, what=What.HARVEST, note=describe_harvest(harvest))
        for harvest in ledger.harvests
        if harvest.bag == bag.bag
    ]
    entries += [
        Entry(at=batch.at, what=What.MIX, note=f"{batch.mix_batch}: {describe_batch(batch)}")
        for batch in ledger.batches
        if batch.mix_batch == bag.mix_batch
    ]
    entries += [
        Entry(at=run.started_at, what=What.HEAT_RUN, note=f"{run.heat_run}: {describe_run(run, trial.zone)}")
        for run in ledger.heat_runs
        if run.heat_run == bag.heat_run
    ]
    return sorted(entries, key=lambda entry: entry.at)


def _photo_entry(score: ScoreRow, record: BagRecord) -> Entry:
    patches = [row for row in record.suspects if row.photo_sha256 == score.photo_sha256]
    note = ", ".join(_describe_patch(row) for row in patches)
    return Entry(at=score.taken_at, what=What.PHOTO, note=note, score=score)


def _describe_patch(row: SuspectRow) -> str:
    flags = f" ({' '.join(row.flags)})" if row.flags else ""
    return f"{row.patch} {row.kind} {row.area_mm2:.0f} mm2{flags}"


def describe_event(event: EventRow) -> str:
    """Return what happened, and to what when not to the bag alone."""
    scope = {"bag": "", "shelf": f" (shelf {event.name})", "room": " (room)"}[event.scope]
    return f"{event.what}{scope}" + (f": {event.detail}" if event.detail else "")


def describe_verdict(call: VerdictRow) -> str:
    """Return what is said of a bag or a patch, with its details."""
    said = f"{call.patch} {call.call}" if call.patch else f"bag {call.call}"
    found = f"found by {call.found_by}" if call.found_by else None
    blind = "blind" if call.blind == "yes" else None
    details = [detail for detail in (call.where, found, call.action, blind, call.by) if detail]
    return (
        f"{said}{' (' + ', '.join(details) + ')' if details else ''}{': ' + call.note if call.note else ''}"
    )


def describe_harvest(harvest: HarvestRow) -> str:
    """Return what was weighed of a flush."""
    saleable = "" if harvest.saleable_g is None else f", {harvest.saleable_g:g} g saleable"
    note = f": {harvest.note}" if harvest.note else ""
    return f"flush {harvest.flush}: {harvest.fresh_g:g} g fresh{saleable}{note}"
