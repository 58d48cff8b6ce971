"""How and when a bag left the trial."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from colscan.growth.model import BagRecord
from colscan.growth.patches import DISCARDED
from colscan.ledger import times_of
from colscan.units import in_microseconds

MISSING = "missing"
LEFT_THE_TRIAL = (DISCARDED, "retired")
"""Events after which a bag is no longer in the trial."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """What a bag left as (`discarded`, `retired` or `missing`), and when."""

    what: str
    at: datetime


def departure_of(record: BagRecord) -> Departure | None:
    """Return how a bag left the trial first, contaminated or not; None while it is there.

    Parameters
    ----------
    record : BagRecord
        One bag's rows. It is discarded by an event, or by what was done at a verdict.
    """
    gone, missing = gone_for_good(record), missing_since(record)
    if missing is not None and (gone is None or missing < gone.at):
        return Departure(what=MISSING, at=missing)
    return gone


def gone_for_good(record: BagRecord) -> Departure | None:
    """Return how a bag was discarded or retired first, None while it wasn't: a missing one may turn up.

    Parameters
    ----------
    record : BagRecord
        One bag's rows.
    """
    left = [(event.at, event.what) for event in record.events if event.what in LEFT_THE_TRIAL]
    left += [(call.at, DISCARDED) for call in record.discards]
    if not left:
        return None
    at, what = min(left)
    return Departure(what=what, at=at)


def missing_since(record: BagRecord) -> datetime | None:
    """Return since when a bag is missing; None when it isn't, or is in a later photo.

    Parameters
    ----------
    record : BagRecord
        One bag's rows.
    """
    said = [event.at for event in record.events if event.what == MISSING]
    if not said or any(times_of(record.scores) > in_microseconds(said[-1])):
        return None
    return said[-1]
