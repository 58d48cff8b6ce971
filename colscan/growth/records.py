"""A ledger's rows sorted out by bag, and the calls that stand."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import TypeVar

from colscan.flags import Flag
from colscan.growth.model import BagRecord
from colscan.ledger import Ledger, events_of
from colscan.ledger.columns import ScoreRow, SuspectRow, VerdictRow
from colscan.trial.model import Trial

R = TypeVar("R", ScoreRow, SuspectRow, VerdictRow)


def records_of(trial: Trial, ledger: Ledger) -> tuple[BagRecord, ...]:
    """Return what stands about each bag of the plan, in the plan's order.

    Parameters
    ----------
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count, in order of time.
    """
    scores, suspects = _by_bag(ledger.scores), _by_bag(ledger.suspects)
    verdicts = _by_bag(ledger.verdicts)
    happened = {bag.bag: events_of(bag, ledger.events, shelves=trial.shelf_names) for bag in trial.bags}
    return tuple(
        BagRecord(
            bag=bag,
            scores=tuple(scores[bag.bag]),
            suspects=tuple(suspects[bag.bag]),
            verdicts=tuple(verdicts[bag.bag]),
            events=happened[bag.bag].events,
            shelf=happened[bag.bag].shelf,
        )
        for bag in trial.bags
    )


def _by_bag(rows: Iterable[R]) -> defaultdict[str, list[R]]:
    grouped: defaultdict[str, list[R]] = defaultdict(list)
    for row in rows:
        grouped[row.bag].append(row)
    return grouped


def standing_calls(record: BagRecord) -> tuple[VerdictRow, ...]:
    """Return the latest call on each patch and on the whole bag, in order of time, without withdrawn ones."""
    latest = {verdict.patch: verdict for verdict in record.verdicts}
    standing = [verdict for verdict in latest.values() if verdict.call != "withdrawn"]
    return tuple(sorted(standing, key=lambda verdict: verdict.at))


def call_on(suspect: SuspectRow, calls: tuple[VerdictRow, ...]) -> str | None:
    """Return the call that stands on a patch: its own, or else a `harmless` said of the whole bag.

    The whole bag's covers only the patches that were there when it was said.
    """
    own = next((verdict.call for verdict in calls if verdict.patch == suspect.patch), None)
    if own is not None:
        return own
    seen_at = suspect.first_seen_at or suspect.taken_at
    covered = any(
        verdict.patch is None and verdict.call == "harmless" and verdict.at >= seen_at for verdict in calls
    )
    return "harmless" if covered else None


def is_alarm(suspect: SuspectRow, calls: tuple[VerdictRow, ...]) -> bool:
    """Whether a patch is no expected look of its strain and nobody has called it harmless."""
    return Flag.EXPECTED not in suspect.flags and call_on(suspect, calls) != "harmless"
