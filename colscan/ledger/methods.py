"""Rows of several methods beside each other: which of them count."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.tables import Row

R = TypeVar("R", bound=Row)
TimedScan = TypeVar("TimedScan", PhotoRow, ScoreRow)
TimedPhoto = TypeVar("TimedPhoto", PhotoRow, ScoreRow, SuspectRow)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scans:
    """What scans recorded, rows of all methods among each other."""

    photos: tuple[PhotoRow, ...] = ()
    scores: tuple[ScoreRow, ...] = ()
    suspects: tuple[SuspectRow, ...] = ()

    def only(self, wanted: Callable[[PhotoRow | ScoreRow | SuspectRow], bool]) -> Scans:
        """Return the rows that are wanted."""
        return Scans(
            photos=tuple(row for row in self.photos if wanted(row)),
            scores=tuple(row for row in self.scores if wanted(row)),
            suspects=tuple(row for row in self.suspects if wanted(row)),
        )

    @staticmethod
    def joined(parts: Sequence[Scans]) -> Scans:
        """Return the rows of several, the later ones last."""
        return Scans(
            photos=tuple(row for part in parts for row in part.photos),
            scores=tuple(row for part in parts for row in part.scores),
            suspects=tuple(row for part in parts for row in part.suspects),
        )


def counting(scans: Scans) -> Scans:
    """Return the rows that count, in order of `taken_at`: a photo's are those of the method that came last.

    That method's alone, also where it misses a bag that an older one found: it may have scored the bag under
    another photo of the same minutes. A photo's row is the commit mark of its others.
    """
    photos = last_of_each(_by_scanned(scans.photos), lambda row: row.photo_sha256)
    method = {row.photo_sha256: row.method for row in photos}
    scores = [row for row in scans.scores if method.get(row.photo_sha256) == row.method]
    scores = last_of_each(_by_scanned(scores), lambda row: (row.photo_sha256, row.bag))
    scored = {(row.photo_sha256, row.bag, row.method) for row in scores}
    return Scans(
        photos=_by_taken(photos),
        scores=_by_taken(scores),
        suspects=_by_taken(r for r in scans.suspects if (r.photo_sha256, r.bag, r.method) in scored),
    )


def last_of_each(rows: Iterable[R], key: Callable[[R], Hashable]) -> list[R]:
    """Return the last row of each key, in the order in which the keys came first."""
    return list({key(row): row for row in rows}.values())


def _by_scanned(rows: Iterable[TimedScan]) -> list[TimedScan]:
    return sorted(rows, key=lambda row: row.scanned_at)


def _by_taken(rows: Iterable[TimedPhoto]) -> tuple[TimedPhoto, ...]:
    # Photos of the same second stand in an order that doesn't depend on which was scanned first.
    return tuple(sorted(rows, key=lambda row: (row.taken_at, row.photo_sha256)))
