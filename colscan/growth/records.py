"""A ledger's rows sorted out by bag, and the calls that stand."""

from __future__ import annotations

from colscan.flags import Flag
from colscan.growth.model import BagRecord
from colscan.growth.patches import alarms, call_on_patch
from colscan.ledger import EventBook, Ledger, by_bag
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


def call_on(suspect: SuspectRow, calls: tuple[VerdictRow, ...]) -> str | None:
    """Return the call that stands on a suspect's patch, as `call_on_patch`."""
    seen_at = suspect.first_seen_at or suspect.taken_at
    return call_on_patch(suspect.patch, in_microseconds(seen_at), calls)


def is_alarm(suspect: SuspectRow, calls: tuple[VerdictRow, ...]) -> bool:
    """Whether a patch alarms, by the calls that stand on its bag."""
    return alarms(call_on(suspect, calls), expected=Flag.EXPECTED in suspect.flags)
