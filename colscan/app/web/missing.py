"""Bags that the photos of their shelf don't show any more, and of which nobody said why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from colscan.growth.look import shelves_seen_at, why_unseen
from colscan.growth.model import Advice, BagRecord, BagStatus


@dataclass(frozen=True, slots=True, kw_only=True)
class Unseen:
    """A bag to ask after, and since when it is in no photo."""

    record: BagRecord
    why: str


def find_unseen(records: Mapping[str, BagRecord], statuses: Mapping[str, BagStatus]) -> dict[str, Unseen]:
    """Return the bags to ask after, by their code: in no late photo of their shelf, and nobody said why.

    Parameters
    ----------
    records : mapping of str to BagRecord
        What stands about each bag, by its code.
    statuses : mapping of str to BagStatus
        Each bag today: one that is lost, retired or missing is not asked after.
    """
    seen_at = shelves_seen_at(records.values())
    found = {}
    for code, record in records.items():
        why = why_unseen(record, seen_at.get(record.shelf))
        if why is not None and statuses[code].advice is Advice.LOOK:
            found[code] = Unseen(record=record, why=why)
    return found
