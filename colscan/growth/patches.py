"""A bag's suspect patches by column, with the calls that stand on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from colscan.flags import Flag
from colscan.ledger import NO_TIME, numbers_of, places_holding, times_of, words_of
from colscan.ledger.columns import SuspectRow, VerdictRow
from colscan.units import in_microseconds

DISCARDED = "discarded"


@dataclass(frozen=True, slots=True, kw_only=True)
class Patches:
    """A bag's suspect rows by column, in order of time: what judging a bag needs of them.

    Parameters
    ----------
    photos, names, kinds : list of str
        The photos' SHA-256, the patches' names and how they look.
    areas_mm2, areas_pct : list of float
        Their areas and their share of the seen face.
    taken_at : list of int
        When the photos were taken, microseconds since 1970.
    calls : list of str or None
        The call that stands on each.
    alarms : list of bool
        Whether nobody has called it harmless, and it is no expected look of its strain unless somebody has
        called it contaminated or unsure.
    """

    photos: list[str]
    names: list[str]
    kinds: list[str]
    areas_mm2: list[float]
    areas_pct: list[float]
    taken_at: list[int]
    calls: list[str | None]
    alarms: list[bool]


_NONE = Patches(
    photos=[], names=[], kinds=[], areas_mm2=[], areas_pct=[], taken_at=[], calls=[], alarms=[]
)  # fmt: skip


def patches_of(rows: Sequence[SuspectRow], verdicts: Sequence[VerdictRow]) -> Patches:
    """Return a bag's suspect rows by column.

    Parameters
    ----------
    rows : sequence of SuspectRow
        Those of the bag, in order of time.
    verdicts : sequence of VerdictRow
        All that was said of it, in order of time.
    """
    if not rows:
        return _NONE
    standing = standing_calls(verdicts)
    names = words_of(rows, "patch")
    taken, first = times_of(rows), times_of(rows, "first_seen_at")
    seen_at = np.where(first == NO_TIME, taken, first).tolist()
    sightings = list(zip(names, seen_at, strict=True))
    call_of = {one: call_on_patch(*one, standing) for one in set(sightings)}  # a patch is in many photos
    calls = [call_of[one] for one in sightings]
    expected = set(places_holding(rows, "flags", Flag.EXPECTED))
    return Patches(
        photos=words_of(rows, "photo_sha256"),
        names=names,
        kinds=words_of(rows, "kind"),
        areas_mm2=numbers_of(rows, "area_mm2").tolist(),
        areas_pct=numbers_of(rows, "area_pct").tolist(),
        taken_at=taken.tolist(),
        calls=calls,
        alarms=[alarms(call, expected=place in expected) for place, call in enumerate(calls)],
    )


def alarms(call: str | None, *, expected: bool) -> bool:
    """Return whether a patch alarms: not when called harmless, nor as an expected look that nobody doubts.

    Parameters
    ----------
    call : str or None
        The call that stands on it.
    expected : bool
        Whether it looks as its strain may when well.
    """
    return call != "harmless" and (call is not None or not expected)


def standing_calls(verdicts: Sequence[VerdictRow]) -> tuple[VerdictRow, ...]:
    """Return the latest call on each patch and on the whole bag, in order of time, without withdrawn ones."""
    latest = {verdict.patch: verdict for verdict in verdicts}
    standing = [verdict for verdict in latest.values() if verdict.call != "withdrawn"]
    return tuple(sorted(standing, key=lambda verdict: verdict.at))


def standing_discards(verdicts: Sequence[VerdictRow]) -> tuple[VerdictRow, ...]:
    """Return the calls by which a bag was discarded that stand, in order of time.

    Another call on the same patch or bag that says no action leaves it gone; one with another action, or
    `withdrawn`, says that it isn't.

    Parameters
    ----------
    verdicts : sequence of VerdictRow
        All that was said of it, in order of time.
    """
    discards: dict[str | None, VerdictRow] = {}
    for verdict in verdicts:
        if verdict.action == DISCARDED:
            discards.setdefault(verdict.patch, verdict)
        elif verdict.action or verdict.call == "withdrawn":
            discards.pop(verdict.patch, None)
    return tuple(sorted(discards.values(), key=lambda verdict: verdict.at))


def call_on_patch(patch: str, seen_at: int, calls: tuple[VerdictRow, ...]) -> str | None:
    """Return the call that stands on a patch: its own, or else a `harmless` said of the whole bag.

    Parameters
    ----------
    patch : str
        Its name.
    seen_at : int
        When it was first seen, microseconds since 1970: the whole bag's covers only patches that were there.
    calls : tuple of VerdictRow
        Those that stand.
    """
    own = next((verdict.call for verdict in calls if verdict.patch == patch), None)
    if own is not None:
        return own
    covered = any(
        verdict.patch is None and verdict.call == "harmless" and in_microseconds(verdict.at) >= seen_at
        for verdict in calls
    )
    return "harmless" if covered else None
