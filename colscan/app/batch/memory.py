"""What the ledger remembers of each bag, as scoring needs it when the bag's next photo comes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime

from colscan.ledger import Ledger
from colscan.ledger.columns import SEGMENT_ENDERS, EventRow, ScoreRow, SuspectRow
from colscan.score.model import KnownPatch, Memory
from colscan.trial.model import Bag, Trial
from colscan.units import to_fraction


class Recollection:
    """The ledger's rows by bag, growing as photos are recorded.

    Parameters
    ----------
    trial : Trial
        The plan, for shelves and healthy looks.
    ledger : Ledger
        What was recorded before.
    """

    def __init__(self, trial: Trial, ledger: Ledger) -> None:
        self._trial = trial
        self._events = ledger.events
        self._scores: dict[str, list[ScoreRow]] = defaultdict(list)
        self._suspects: dict[str, list[SuspectRow]] = defaultdict(list)
        self.add(ledger.scores, ledger.suspects)

    def add(self, scores: Iterable[ScoreRow], suspects: Iterable[SuspectRow]) -> None:
        """Remember rows that were just recorded."""
        for score in scores:
            self._scores[score.bag].append(score)
        for suspect in suspects:
            self._suspects[suspect.bag].append(suspect)

    def is_late(self, bag: Bag, taken_at: datetime) -> bool:
        """Whether a photo of this bag that was taken later is scored already."""
        return any(score.taken_at > taken_at for score in self._scores[bag.bag])

    def recall(self, bag: Bag, taken_at: datetime) -> Memory:
        """What is known of a bag from before a time: its segment, in it the last coverage and patches."""
        enders = [event.at for event in self._events if _ends_segment(event, bag) and event.at <= taken_at]
        began = max(enders, default=bag.inoculated_at)
        scores = [row for row in self._scores[bag.bag] if began <= row.taken_at < taken_at]
        measured = [row for row in scores if row.coverage_pct is not None]
        latest = max(measured, key=lambda row: row.taken_at, default=None)
        suspects = [row for row in self._suspects[bag.bag] if began <= row.taken_at < taken_at]
        strain = self._trial.strain(bag.strain)
        return Memory(
            segment=len(enders),
            coverage=to_fraction(latest.coverage_pct) if latest else None,
            patches=_known_patches(suspects),
            patches_named=_last_name(self._suspects[bag.bag]),
            healthy_looks=strain.healthy_looks if strain else (),
        )


def _ends_segment(event: EventRow, bag: Bag) -> bool:
    concerns = {"bag": event.name == bag.bag, "shelf": event.name == bag.shelf, "room": True}
    return event.what in SEGMENT_ENDERS and concerns[event.scope]


def _known_patches(suspects: Iterable[SuspectRow]) -> tuple[KnownPatch, ...]:
    sightings: dict[str, list[SuspectRow]] = defaultdict(list)
    for row in sorted(suspects, key=lambda row: row.taken_at):
        sightings[row.patch].append(row)
    return tuple(
        KnownPatch(
            patch=name,
            kind=rows[-1].kind,
            centre_mm=(rows[-1].x_mm, rows[-1].y_mm),
            area_mm2=rows[-1].area_mm2,
            first_area_mm2=rows[0].area_mm2,
            first_seen_at=rows[0].taken_at,
        )
        for name, rows in sightings.items()
    )


def _last_name(suspects: Iterable[SuspectRow]) -> int:
    numbers = (int(row.patch[1:]) for row in suspects if row.patch[1:].isdecimal())
    return max(numbers, default=0)
