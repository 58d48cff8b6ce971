"""What the ledger remembers of each bag, as scoring needs it when the bag's next photo comes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime

from colscan.ledger import Ledger, events_of
from colscan.ledger.columns import SEGMENT_ENDERS, ScoreRow, SuspectRow
from colscan.score.model import KnownPatch, Memory
from colscan.trial.model import Bag, Trial


class Recollection:
    """The ledger's rows by bag, growing as photos are recorded.

    Parameters
    ----------
    trial : Trial
        The plan, for shelves and healthy looks.
    ledger : Ledger
        What was recorded before.
    lenders : iterable of SuspectRow
        Patches as other methods have them: those at their places keep their names, as verdicts name them.
    """

    def __init__(self, trial: Trial, ledger: Ledger, lenders: Iterable[SuspectRow] = ()) -> None:
        self._trial = trial
        self._events = ledger.events
        self._scores: dict[str, list[ScoreRow]] = defaultdict(list)
        self._suspects: dict[str, list[SuspectRow]] = defaultdict(list)
        self._lenders: dict[str, list[SuspectRow]] = defaultdict(list)
        for row in lenders:
            self._lenders[row.bag].append(row)
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

    def measured(self, bag: Bag) -> list[ScoreRow]:
        """A bag's scores with a coverage, in order of time."""
        rows = [row for row in self._scores[bag.bag] if row.coverage_pct is not None]
        return sorted(rows, key=lambda row: (row.taken_at, row.photo_sha256))

    def earlier(self, bag: Bag, taken_at: datetime) -> tuple[ScoreRow, ...]:
        """A bag's scores of the same segment from before a time, in order, one for each photo."""
        began = max(self._enders(bag, taken_at), default=bag.inoculated_at)
        rows = [row for row in self._scores[bag.bag] if began <= row.taken_at < taken_at]
        by_photo = {row.photo_sha256: row for row in rows}
        return tuple(sorted(by_photo.values(), key=lambda row: (row.taken_at, row.photo_sha256)))

    def recall(self, bag: Bag, taken_at: datetime) -> Memory:
        """What the rows say of a bag from before a time: its segment, and in it the patches; no state."""
        enders = self._enders(bag, taken_at)
        began = max(enders, default=bag.inoculated_at)
        suspects = [row for row in self._suspects[bag.bag] if began <= row.taken_at < taken_at]
        strain = self._trial.strain(bag.strain)
        return Memory(
            segment=len(enders),
            spawned_at=bag.inoculated_at,
            patches=_known_patches(suspects),
            patches_named=_last_name((*self._suspects[bag.bag], *self._lenders[bag.bag])),
            healthy_looks=strain.healthy_looks if strain else (),
            lent_names=self._lent(bag, taken_at),
        )

    def _lent(self, bag: Bag, taken_at: datetime) -> tuple[KnownPatch, ...]:
        """Patches of the same segment as other methods have them, each where it was nearest to a time."""
        segment = len(self._enders(bag, taken_at))
        used = {row.patch for row in self._suspects[bag.bag] if row.taken_at < taken_at}
        rows = [
            row
            for row in self._lenders[bag.bag]
            if row.patch not in used and len(self._enders(bag, row.taken_at)) == segment
        ]
        by_nearness = sorted(rows, key=lambda row: abs(row.taken_at - taken_at), reverse=True)
        nearest = {row.patch: row for row in by_nearness}
        return tuple(patch for row in nearest.values() for patch in _known_patches([row]))

    def shelf(self, bag: Bag, at: datetime) -> str | None:
        """Where a bag stood at a time: its planned shelf, or the one it was moved to."""
        before = (event for event in self._events if event.at <= at)
        return events_of(bag, before, shelves=self._trial.shelf_names).shelf

    def _enders(self, bag: Bag, taken_at: datetime) -> list[datetime]:
        own = events_of(bag, self._events, shelves=self._trial.shelf_names).events
        return [event.at for event in own if event.what in SEGMENT_ENDERS and event.at <= taken_at]


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
