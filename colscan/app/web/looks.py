"""What needs eyes: suspect patches that nobody has judged, then bags that somebody should go to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from colscan.app.web.missing import Unseen, find_unseen
from colscan.growth.model import Advice, BagRecord, BagStatus
from colscan.growth.records import is_alarm
from colscan.ledger.columns import SuspectRow, VerdictRow
from colscan.units import days_between

GROUPS = (Advice.LOOK, Advice.TURN, Advice.READY, Advice.STALLED, Advice.MISSING)
"""What asks for a person, the most pressing first."""
LATEST_CALLS = 5
"""How many are offered to be taken back on the first page; older ones are on the patch's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchLook:
    """A suspect patch to judge.

    Parameters
    ----------
    suspect : SuspectRow
        Its newest sighting.
    day : float
        The bag's age then.
    seen_days : float
        For how long it has been seen.
    in_view : bool
        Whether the bag's latest photo shows it.
    call : VerdictRow or None
        The call that stands on it.
    """

    suspect: SuspectRow
    day: float
    seen_days: float
    in_view: bool
    call: VerdictRow | None

    @property
    def waits(self) -> bool:
        """Whether it has to be judged: nobody did, or was unsure of an earlier photo than the newest."""
        if self.call is None:
            return True
        return self.call.call == "unsure" and self.call.photo_sha256 != self.suspect.photo_sha256


@dataclass(frozen=True, slots=True, kw_only=True)
class Looks:
    """What needs eyes: patches in the order to judge them, bags by what to do, and the newest calls.

    Bags that are asked after, for they are in no late photo, are in `unseen` by their code; among `bags` only
    when something else is to be looked at too.
    """

    patches: tuple[PatchLook, ...]
    bags: dict[Advice, tuple[BagStatus, ...]]
    latest_calls: tuple[VerdictRow, ...]
    unseen: dict[str, Unseen]


def find_looks(records: Mapping[str, BagRecord], statuses: Mapping[str, BagStatus]) -> Looks:
    """Return what needs eyes: patches in view first, of those the fastest growing, then the largest.

    Parameters
    ----------
    records : mapping of str to BagRecord
        What stands about each bag, by its code.
    statuses : mapping of str to BagStatus
        Each bag today, by its code.
    """
    patches = [
        look
        for code, record in records.items()
        if statuses[code].advice is Advice.LOOK
        for look in patches_of(record)
        if look.waits and is_alarm(look.suspect, record.standing_calls)
    ]
    patches.sort(key=_urgency)
    unseen = find_unseen(records, statuses)
    shown = {look.suspect.bag for look in patches}
    shown |= {code for code, one in unseen.items() if statuses[code].why == one.why}
    rest = [status for status in statuses.values() if status.bag not in shown]
    bags = {advice: tuple(status for status in rest if status.advice is advice) for advice in GROUPS}
    calls = sorted(
        (call for record in records.values() for call in record.standing_calls), key=lambda call: call.at
    )
    return Looks(
        patches=tuple(patches), bags=bags, latest_calls=tuple(calls[::-1][:LATEST_CALLS]), unseen=unseen
    )


def patches_of(record: BagRecord) -> tuple[PatchLook, ...]:
    """Return a bag's patches, each by its newest sighting, in order of their first."""
    newest = {suspect.patch: suspect for suspect in record.suspects}
    latest = record.scores[-1].photo_sha256 if record.scores else None
    own = {call.patch: call for call in record.standing_calls}
    return tuple(
        PatchLook(
            suspect=suspect,
            day=days_between(record.bag.inoculated_at, suspect.taken_at),
            seen_days=days_between(suspect.first_seen_at or suspect.taken_at, suspect.taken_at),
            in_view=suspect.photo_sha256 == latest,
            call=own.get(suspect.patch),
        )
        for suspect in newest.values()
    )


def _urgency(look: PatchLook) -> tuple[bool, float, float]:
    return not look.in_view, -(look.suspect.growth_mm2_per_day or 0.0), -look.suspect.area_mm2
