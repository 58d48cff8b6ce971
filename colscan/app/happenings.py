"""What happened to bags, a shelf or the room, checked and into the ledger: for command and page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from colscan.app.calls import check_there, known_bag
from colscan.errors import TrialError
from colscan.growth.departure import LEFT_THE_TRIAL
from colscan.growth.records import records_of
from colscan.hints import suggest_near
from colscan.ledger import Ledger, append_new, by_bag, events_of, times_of
from colscan.ledger.columns import SEGMENT_ENDERS, EventRow
from colscan.trial.model import Bag, Trial
from colscan.units import count_of, in_microseconds

BAGS_NAMED = 4
"""Bags that a line names; more are counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What an event happened to.

    Parameters
    ----------
    scope : str
        `bag`, `shelf` or `room`.
    names : tuple of str or None
        The codes of the bags, or the shelf's name; None for the room.
    first_bag : Bag or None
        The bag whose day 0 the event can't be before: the last one of bags that are named, and the first
        one of those on a shelf or in the room.
    """

    scope: str
    names: tuple[str | None, ...]
    first_bag: Bag | None


def find_subject(trial: Trial, codes: Sequence[str], shelf: str | None) -> Subject:
    """Return what an event happened to: bags, else a shelf, else the room.

    Raises
    ------
    TrialError
        When the trial has no such bag or shelf; names the nearest.
    """
    if codes:
        bags = [known_bag(trial, code) for code in dict.fromkeys(codes)]
        return Subject(scope="bag", names=tuple(bag.bag for bag in bags), first_bag=max(bags, key=_day_0))
    if shelf is None:
        return Subject(scope="room", names=(None,), first_bag=min(trial.bags, key=_day_0, default=None))
    check_known_shelf(trial, shelf)
    on_it = [bag for bag in trial.bags if bag.shelf == shelf]
    return Subject(scope="shelf", names=(shelf,), first_bag=min(on_it, key=_day_0, default=None))


def check_known_shelf(trial: Trial, shelf: str) -> None:
    """Refuse (`TrialError`) a shelf that the trial does not have; names the nearest."""
    if shelf not in trial.shelf_names:
        msg = f"Shelf {shelf!r} is not in the trial {trial.name}."
        known = ", ".join(sorted(trial.shelf_names)) or "none; name them in bags.csv or trial.toml"
        raise TrialError(msg, f"{suggest_near(shelf, trial.shelf_names)}Its shelves: {known}.")


def _day_0(bag: Bag) -> datetime:
    return bag.inoculated_at


def record_events(
    trial_dir: Path, trial: Trial, ledger: Ledger, rows: Sequence[EventRow]
) -> tuple[EventRow, ...]:
    """Return those of some events that were appended to events.csv: all but those that it has already.

    Parameters
    ----------
    trial_dir : Path
        The trial's folder.
    trial : Trial
        Its plan.
    ledger : Ledger
        The rows that count.
    rows : sequence of EventRow
        What is said; the same event at the same time would begin another segment. Notes of no kind are told
        apart by their detail.

    Raises
    ------
    TrialError
        When one of them doesn't say what it was, is recorded with another detail, or is of a bag that had
        left by then; then none is written. A note may be of such a bag, too: of what was found in it.
    LedgerError
        When it can't be written.
    """
    there = {row.occasion: row for row in ledger.events}
    records = {record.bag.bag: record for record in records_of(trial, ledger)}
    for row in rows:
        check_told(row)
        known = there.get(row.occasion)
        if known is not None and known.detail != row.detail:
            said = describe_event(known, trial.zone)
            msg = f"{said} is recorded already, {_note(known)}; nothing is written."
            raise TrialError(msg, "If that is wrong, correct it in events.csv; or give another time.")
        if known is None and row.scope == "bag" and row.what != "other":
            check_there(records[row.name or ""], row.at, trial.zone)
    return append_new(trial_dir, rows, lambda row: row.occasion)


def check_told(row: EventRow) -> None:
    """Refuse (`TrialError`) an event of no kind without a note: it says that something was, and not what."""
    if row.what == "other" and not row.detail:
        msg = "other doesn't say what happened unless a note does."
        raise TrialError(msg, "Write what it was, in a few words: in its note, or behind --detail.")


def _note(row: EventRow) -> str:
    return f"with the note {row.detail!r}" if row.detail else "without a note"


def describe_event(row: EventRow, zone: ZoneInfo) -> str:
    """Return when something happened, to what, and what it was, in words."""
    subject = "the room" if row.name is None else f"{row.scope} {row.name}"
    return f"{row.at.astimezone(zone):%Y-%m-%d %H:%M}  {subject}: {row.what}"


def say_seen_later(ledger: Ledger, rows: Sequence[EventRow]) -> tuple[str, ...]:
    """Return which bags are in photos taken after they were said to have left the trial, a line each."""
    said = []
    scores = by_bag(ledger.scores)
    for row in rows:
        if row.scope == "bag" and row.what in LEFT_THE_TRIAL:
            later = int((times_of(scores.get(row.name or "", ())) > in_microseconds(row.at)).sum())
            if later:
                photos = count_of(later, "photo")
                said.append(f"Doubtful: bag {row.name} is in {photos} taken after that. Is the time right?")
    return tuple(said)


def say_late(trial: Trial, ledger: Ledger, rows: Sequence[EventRow]) -> tuple[str, ...]:
    """Return which photos were scored before somebody entered that a new segment had begun, in lines.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, with or without the events.
    rows : sequence of EventRow
        The events as entered.
    """
    enders = [row for row in rows if row.what in SEGMENT_ENDERS]
    begun = [
        (row.at, bag.bag)
        for bag in trial.bags
        for row in events_of(bag, [*ledger.events, *enders], shelves=trial.shelf_names).events
        if row in enders
    ]
    late = [
        score for score in ledger.scores for at, bag in begun if score.bag == bag and score.taken_at >= at
    ]
    if not late:
        return ()
    photos, bags = len({score.photo_sha256 for score in late}), list(dict.fromkeys(s.bag for s in late))
    were = "was" if photos == 1 else "were"
    named = ", ".join(bags) if len(bags) <= BAGS_NAMED else f"{len(bags)} bags"
    return (
        f"{count_of(photos, 'later photo')} {were} scored already, with {named}.",
        "These scores keep their segment: they stand as they are. Chart and speed begin",
        "anew at the event all the same.",
    )
