"""A ledger's rows sorted out by bag, and the calls that stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colscan.flags import Flag
from colscan.growth.model import BagRecord
from colscan.ledger import NO_TIME, EventBook, Ledger, by_bag, numbers_of, times_of, words_of
from colscan.ledger.columns import SuspectRow, VerdictRow
from colscan.trial.model import Trial
from colscan.units import in_microseconds

def records_of(trial: Trial, ledger: Ledger) -> tuple[BagRecord, ...]:
    """Return what stands about each bag of the plan, in the plan's order.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    """
    scores, suspects = by_bag(ledger.scores), by_bag(ledger.suspects)
    verdicts = by_bag(ledger.verdicts)
    book = EventBook(ledger.events, shelves=trial.shelf_names)
    happened = {bag.bag: book.of(bag) for bag in trial.bags}
    return tuple(
        BagRecord(
            bag=bag,
            scores=scores.get(bag.bag, ()),
            suspects=suspects.get(bag.bag, ()),
            verdicts=tuple(verdicts.get(bag.bag, ())),
            events=happened[bag.bag].events,
            shelf=happened[bag.bag].shelf,
        )
        for bag in trial.bags
    )


def standing_calls(record: BagRecord) -> tuple[VerdictRow, ...]:
    """Return the latest call on each patch and on the whole bag, in order of time, without withdrawn ones."""
    latest = {verdict.patch: verdict for verdict in record.verdicts}
    standing = [verdict for verdict in latest.values() if verdict.call != "withdrawn"]
    return tuple(sorted(standing, key=lambda verdict: verdict.at))


def call_on(suspect: SuspectRow, calls: tuple[VerdictRow, ...]) -> str | None:
    """Return the call that stands on a patch: its own, or else a `harmless` said of the whole bag.

    The whole bag's covers only the patches that were there when it was said.
    """
    seen_at = suspect.first_seen_at or suspect.taken_at
    return _call_on(suspect.patch, in_microseconds(seen_at), calls)


def _call_on(patch: str, seen_at: int, calls: tuple[VerdictRow, ...]) -> str | None:
    own = next((verdict.call for verdict in calls if verdict.patch == patch), None)
    if own is not None:
        return own
    covered = any(
        verdict.patch is None and verdict.call == "harmless" and in_microseconds(verdict.at) >= seen_at
        for verdict in calls
    )
    return "harmless" if covered else None


def is_alarm(suspect: SuspectRow, calls: tuple[VerdictRow, ...]) -> bool:
    """Whether a patch is no expected look of its strain and nobody has called it harmless."""
    return Flag.EXPECTED not in suspect.flags and call_on(suspect, calls) != "harmless"


@dataclass(frozen=True, slots=True, kw_only=True)
class Patches:
    """A bag's suspect rows by column, in order of time: what judging a bag needs of them.

    Parameters
    ----------
    photos, names : list of str
        The photos' SHA-256 and the patches' names.
    areas_pct : list of float
        Their share of the seen face.
    calls : list of str or None
        The call that stands on each, as `call_on`.
    alarms : list of bool
        As `is_alarm`.
    """

    photos: list[str]
    names: list[str]
    areas_pct: list[float]
    calls: list[str | None]
    alarms: list[bool]


NO_PATCHES = Patches(photos=[], names=[], areas_pct=[], calls=[], alarms=[])


def patches_of(record: BagRecord) -> Patches:
    """Return a bag's suspect rows by column."""
    rows, standing = record.suspects, standing_calls(record)
    if not rows:
        return NO_PATCHES
    names, flags = words_of(rows, "patch"), words_of(rows, "flags")
    taken, first = times_of(rows), times_of(rows, "first_seen_at")
    seen_at = np.where(first == NO_TIME, taken, first).tolist()
    calls = [_call_on(name, at, standing) for name, at in zip(names, seen_at, strict=True)]
    return Patches(
        photos=words_of(rows, "photo_sha256"),
        names=names,
        areas_pct=numbers_of(rows, "area_pct").tolist(),
        calls=calls,
        alarms=[
            Flag.EXPECTED not in words and call != "harmless"
            for words, call in zip(flags, calls, strict=True)
        ],
    )
