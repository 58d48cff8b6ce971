"""The pass in order of time: what a photo says, and what is remembered of the bag → its score."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from colscan.flags import Flag
from colscan.score.model import Evidence, KnownPatch, Memory, PatchScore, PatchSeen, Score
from colscan.units import days_between

# A patch is the known one when its centre lies within the known one's radius and this of it: what
# registration may be off, and what it grew.
_REACH_MM = 12.0
# A fall in coverage that needs an explanation (fraction).
_FALL = 0.15


def remember(evidence: Evidence, memory: Memory, *, taken_at: datetime) -> Score:
    """A bag's score in one photo, given what was known of the bag before; nothing is changed.

    Parameters
    ----------
    evidence : Evidence
        What the photo says.
    memory : Memory
        From earlier photos of the same segment; names used up from all segments.
    taken_at : datetime
        Time of the photo, aware.

    Returns
    -------
    Score
        Flags: those of the evidence, and `fell`. A patch's: `expected`.
    """
    known = _match(evidence.patches, memory.patches)
    patches = []
    named = memory.patches_named
    for seen, before in zip(evidence.patches, known, strict=True):
        if before is None:
            named += 1
        patches.append(_patch_score(seen, before, name=f"p{named}", memory=memory, taken_at=taken_at))
    fell = (
        memory.coverage is not None
        and evidence.coverage is not None
        and memory.coverage - evidence.coverage > _FALL
    )
    return Score(
        evidence=evidence,
        segment=memory.segment,
        coverage=evidence.coverage,
        low=evidence.low,
        high=evidence.high,
        density=evidence.density,
        patches=tuple(patches),
        flags=(*evidence.flags, Flag.FELL) if fell else evidence.flags,
    )


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
