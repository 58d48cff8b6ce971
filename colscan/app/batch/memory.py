"""What the ledger remembers of each bag, as scoring needs it when the bag's next photo comes."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime

import numpy as np

from colscan.ledger import EventBook, Ledger, Seen, by_bag, seen_all, times_of, words_of
from colscan.ledger.columns import SEGMENT_ENDERS, ScoreRow, SuspectRow
from colscan.score.model import KnownPatch, Memory
from colscan.trial.model import Bag, Trial
from colscan.units import in_microseconds


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
        self._book = EventBook(ledger.events, shelves=trial.shelf_names)
        self._recorded = by_bag(ledger.scores)
        self._recorded_suspects = by_bag(ledger.suspects)
        self._new: dict[str, list[ScoreRow]] = defaultdict(list)
        self._new_suspects: dict[str, list[SuspectRow]] = defaultdict(list)
        self._seen: dict[str, list[Seen]] = {}
        self._lenders: dict[str, list[SuspectRow]] = defaultdict(list)
        for row in lenders:
            self._lenders[row.bag].append(row)

    def add(self, scores: Iterable[ScoreRow], suspects: Iterable[SuspectRow]) -> None:
        """Remember rows that were just recorded."""
        for score in scores:
            self._new[score.bag].append(score)
            self._seen.pop(score.bag, None)
        for suspect in suspects:
            self._new_suspects[suspect.bag].append(suspect)

    def _scores(self, bag: Bag) -> list[Seen]:
        """Looked up when a bag is first asked for: a photo shows few of a large trial's bags."""
        if bag.bag not in self._seen:
            self._seen[bag.bag] = seen_all(self._recorded.get(bag.bag, ())) + seen_all(self._new[bag.bag])
        return self._seen[bag.bag]

    def is_late(self, bag: Bag, taken_at: datetime) -> bool:
        """Whether a photo of this bag that was taken later is scored already."""
        return any(score.taken_at > taken_at for score in self._scores(bag))

    def earlier(self, bag: Bag, taken_at: datetime) -> tuple[Seen, ...]:
        """A bag's scores of the same segment from before a time, in order, one for each photo."""
        began = max(self._enders(bag, taken_at), default=bag.inoculated_at)
        rows = [row for row in self._scores(bag) if began <= row.taken_at < taken_at]
        by_photo = {row.photo_sha256: row for row in rows}
        return tuple(sorted(by_photo.values(), key=lambda row: (row.taken_at, row.photo_sha256)))

    def recall(self, bag: Bag, taken_at: datetime) -> Memory:
        """What the rows say of a bag from before a time: its segment, and in it the patches; no state."""
        enders = self._enders(bag, taken_at)
        began = max(enders, default=bag.inoculated_at)
        recorded = self._recorded_suspects.get(bag.bag, ())
        new, end = self._new_suspects[bag.bag], in_microseconds(taken_at)
        between = (in_microseconds(began), end)
        suspects = _ends(recorded, *between) + _ends(new, *between)
        names = words_of(recorded, "patch") + words_of(new, "patch")
        strain = self._trial.strain(bag.strain)
        return Memory(
            segment=len(enders),
            spawned_at=bag.inoculated_at,
            patches=_known_patches(suspects),
            patches_named=_last_name((*names, *(row.patch for row in self._lenders[bag.bag]))),
            healthy_looks=strain.healthy_looks if strain else (),
            lent_names=self._lent(bag, taken_at, {*_names_before(recorded, end), *_names_before(new, end)}),
        )

    def _lent(self, bag: Bag, taken_at: datetime, used: set[str]) -> tuple[KnownPatch, ...]:
        """Patches of the same segment as other methods have them, each where it was nearest to a time."""
        segment = len(self._enders(bag, taken_at))
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
        stays = self._book.of(bag).stays
        return [stay for i, stay in enumerate(stays) if i == 0 or stay.since <= at][-1].shelf

    def _enders(self, bag: Bag, taken_at: datetime) -> list[datetime]:
        own = self._book.of(bag).events
        return [event.at for event in own if event.what in SEGMENT_ENDERS and event.at <= taken_at]


def _names_before(rows: Sequence[SuspectRow], ended: int) -> list[str]:
    """The patches of rows from before a time, microseconds since 1970."""
    return [name for name, at in zip(words_of(rows, "patch"), times_of(rows), strict=True) if at < ended]


def _ends(rows: Sequence[SuspectRow], began: int, ended: int) -> list[SuspectRow]:
    """Of each patch the first and the last row from a time on and before another, microseconds since 1970."""
    times = times_of(rows)
    places: dict[str, list[int]] = {}
    inside = np.flatnonzero((began <= times) & (times < ended)).tolist()
    names = words_of(rows, "patch") if inside else []
    for place in sorted(inside, key=times.tolist().__getitem__):
        places.setdefault(names[place], []).append(place)
    chosen = {place for some in places.values() for place in (some[0], some[-1])}
    return [rows[place] for place in sorted(chosen)]


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


def _last_name(patches: Iterable[str]) -> int:
    numbers = (int(patch[1:]) for patch in set(patches) if re.fullmatch("[0-9]{1,9}", patch[1:]))
    return max(numbers, default=0)
