"""Why somebody should go and look at a bag."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

import numpy as np

from colscan.flags import Flag
from colscan.growth.model import Advice, BagRecord, Judgement
from colscan.growth.patches import Patches
from colscan.ledger import numbers_of, places_holding
from colscan.units import at_microseconds, days_between

NOT_SEEN_DAYS = 2.0
"""Of photos a day, a bag that lags this far behind its shelf was missed more than once."""
PATCHES_NAMED = 2
"""How many patches a reason names before it counts the rest."""


def count_alarms(record: BagRecord) -> int:
    """Return how many patches of the latest photo are neither expected nor called harmless."""
    if record.latest is None:
        return 0
    latest, found = record.latest.photo_sha256, record.patches
    return sum(alarm for alarm, photo in zip(found.alarms, found.photos, strict=True) if photo == latest)


def judge_look(record: BagRecord, others_seen_at: datetime | None) -> Judgement | None:
    """Return every reason to look at a bag as one judgement, None when there is none.

    Parameters
    ----------
    record : BagRecord
        One bag's rows.
    others_seen_at : datetime or None
        When a bag of the same shelf was last photographed.
    """
    reasons = (
        _why_suspect(record),
        _why_fell(record),
        _why_unmeasured(record),
        why_unseen(record, others_seen_at),
    )
    said = [reason for reason in reasons if reason]
    return Judgement(advice=Advice.LOOK, why="; ".join(said)) if said else None


def _why_suspect(record: BagRecord) -> str | None:
    """Patches of the latest photo that nobody has reviewed; failing those, earlier ones gone from view."""
    found = record.patches
    unreviewed = {
        name: place
        for place, (name, alarm, call) in enumerate(zip(found.names, found.alarms, found.calls, strict=True))
        if alarm and call != "contaminated"
    }
    if not unreviewed:
        return None
    shown = record.latest.photo_sha256 if record.latest else None
    latest = {name for name, photo in zip(found.names, found.photos, strict=True) if photo == shown}
    places = [place for name, place in unreviewed.items() if name in latest]
    if places:
        unsure = any(found.calls[place] == "unsure" for place in places)
        return f"{_name_patches(found, places)}: {'called unsure' if unsure else 'not reviewed'}"
    gone = list(unreviewed.values())
    last = days_between(record.bag.inoculated_at, at_microseconds(found.taken_at[gone[-1]]))
    return f"{_name_patches(found, gone)}: last seen on day {last:.1f}, not reviewed"


def _name_patches(found: Patches, places: list[int]) -> str:
    largest = sorted(places, key=lambda place: -found.areas_mm2[place])
    named = [
        f"{found.names[i]} {found.kinds[i]} {found.areas_mm2[i]:.0f} mm2" for i in largest[:PATCHES_NAMED]
    ]
    more = len(largest) - len(named)
    return ", ".join(named) + (f" and {more} more" if more else "")


def _why_fell(record: BagRecord) -> str | None:
    """The latest fall that no event explains and that has not been made good."""
    fallen = places_holding(record.scores, "flags", Flag.FELL)
    if not fallen:
        return None
    measured = np.flatnonzero(~np.isnan(numbers_of(record.scores, "coverage_pct")))
    earlier = measured[measured < fallen[-1]]
    if not earlier.size:
        return None
    fall, before, latest = (record.scores[int(i)] for i in (fallen[-1], earlier[-1], measured[-1]))
    if before.coverage_pct is None or latest.coverage_pct is None:
        return None
    explained = any(event.at >= before.taken_at for event in record.events)
    if fall.coverage_pct is None or explained or latest.coverage_pct >= before.coverage_pct:
        return None
    day = days_between(record.bag.inoculated_at, fall.taken_at)
    change = f"from {before.coverage_pct:.0f} to {fall.coverage_pct:.0f} %"
    return f"fell {change} on day {day:.1f}, no event explains it"


def _why_unmeasured(record: BagRecord) -> str | None:
    latest = record.latest
    if latest is None or latest.coverage_pct is not None:
        return None
    day = days_between(record.bag.inoculated_at, latest.taken_at)
    flags = " ".join(flag for flag in latest.flags if flag != Flag.UNMEASURED)
    return f"could not be measured on day {day:.1f}" + (f" ({flags})" if flags else "")


def shelves_seen_at(records: Iterable[BagRecord]) -> dict[str | None, datetime]:
    """Return when a bag of each shelf was last photographed, by the shelf's name."""
    seen: dict[str | None, datetime] = {}
    for record in records:
        if record.latest:
            taken_at = record.latest.taken_at
            seen[record.shelf] = max(seen.get(record.shelf, taken_at), taken_at)
    return seen


def why_unseen(record: BagRecord, others_seen_at: datetime | None) -> str | None:
    """Return since when a bag is in no photo although others of its shelf are, None when it is.

    Parameters
    ----------
    record : BagRecord
        One bag's rows. Who moved it had it in the hand: from then on it can be missed on its new shelf.
    others_seen_at : datetime or None
        When a bag of the same shelf was last photographed.
    """
    bag = record.bag
    seen_at = record.latest.taken_at if record.latest else bag.inoculated_at
    had_at = max([seen_at, *(event.at for event in record.events if event.what == "moved")])
    if others_seen_at is None or days_between(had_at, others_seen_at) <= NOT_SEEN_DAYS:
        return None
    others = f"others were on day {days_between(bag.inoculated_at, others_seen_at):.1f}"
    if record.latest is None:
        return f"in no photo yet; {others}"
    return f"last photographed on day {days_between(bag.inoculated_at, seen_at):.1f}; {others}"
