"""Suspect patches from photo to photo: the name each one keeps, since when, and how quickly it grows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from colscan.flags import Flag
from colscan.score.model import KnownPatch, Memory, PatchScore, PatchSeen
from colscan.units import days_between

# A patch is the known one when its centre lies within the known one's radius and this of it: what
# registration may be off, and what it grew.
_REACH_MM = 12.0


def follow(seen: Sequence[PatchSeen], memory: Memory, *, taken_at: datetime) -> tuple[PatchScore, ...]:
    """The patches of a photo with their names and histories, in the order given."""
    named = memory.patches_named
    patches = []
    for patch, before in zip(seen, _match(seen, memory.patches), strict=True):
        if before is None:
            named += 1
        patches.append(_patch_score(patch, before, name=f"p{named}", memory=memory, taken_at=taken_at))
    return tuple(patches)


def _match(seen: Sequence[PatchSeen], known: Sequence[KnownPatch]) -> list[KnownPatch | None]:
    """The known patch that each seen one is, nearest pairs first, each known one once."""
    pairs = sorted(
        (distance, i, j)
        for i, patch in enumerate(seen)
        for j, before in enumerate(known)
        if (distance := _apart_mm(patch, before))
        <= np.sqrt(max(before.area_mm2, patch.area_mm2) / np.pi) + _REACH_MM
    )
    matched: dict[int, int] = {}
    for _, i, j in pairs:
        if i not in matched and j not in matched.values():
            matched[i] = j
    return [known[matched[i]] if i in matched else None for i in range(len(seen))]


def _apart_mm(patch: PatchSeen, before: KnownPatch) -> float:
    return float(np.hypot(*np.subtract(patch.centre_mm, before.centre_mm)))


def _patch_score(
    seen: PatchSeen, before: KnownPatch | None, *, name: str, memory: Memory, taken_at: datetime
) -> PatchScore:
    days = days_between(before.first_seen_at, taken_at) if before else 0.0
    return PatchScore(
        patch=before.patch if before else name,
        seen=seen,
        first_seen_at=before.first_seen_at if before else taken_at,
        growth_mm2_per_day=(seen.area_mm2 - before.first_area_mm2) / days if before and days > 0 else None,
        flags=(Flag.EXPECTED,) if seen.kind in memory.healthy_looks else (),
    )
