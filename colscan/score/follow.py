"""Patches of one photo and those known from before → names, growth, and how sure each is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from itertools import count

import numpy as np

from colscan.flags import Flag
from colscan.score.model import KnownPatch, Memory, PatchScore, PatchSeen
from colscan.units import days_between

# A patch is the known one when its centre lies within the known one's radius and this of it: what
# registration may be off, and what it grew.
_REACH_MM = 12.0
# Another look at the same place that shows a larger patch halves the doubt: a shadow, a reflection
# or a fold moves or shrinks as often as it grows.
_DOUBT_LEFT = 0.5


def follow_patches(
    seen: Sequence[PatchSeen], memory: Memory, *, taken_at: datetime
) -> tuple[PatchScore, ...]:
    """Each seen patch with its name, history and strength, in the given order.

    A patch that is hidden today stays known, as its earlier rows stay.

    Parameters
    ----------
    seen : sequence of PatchSeen
        Of one photo.
    memory : Memory
        Patches known before it.
    taken_at : datetime
        Time of the photo, aware.
    """
    known = _match(seen, memory.patches)
    new = [patch for patch, before in zip(seen, known, strict=True) if before is None]
    names = iter(_name(new, memory))
    return tuple(
        _patch_score(patch, before, before.patch if before else next(names), memory, taken_at)
        for patch, before in zip(seen, known, strict=True)
    )


def _name(new: Sequence[PatchSeen], memory: Memory) -> list[str]:
    """Names of patches that weren't known: lent by what another method has there, else the next numbers."""
    lent = _match(new, memory.lent_names)
    numbers = count(memory.patches_named + 1)
    return [other.patch if other else f"p{next(numbers)}" for other in lent]


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
    seen: PatchSeen, before: KnownPatch | None, name: str, memory: Memory, taken_at: datetime
) -> PatchScore:
    days = days_between(before.first_seen_at, taken_at) if before else 0.0
    grown = before is not None and days > 0 and seen.area_mm2 > before.area_mm2
    strength = 1 - _DOUBT_LEFT * (1 - seen.strength) if grown else seen.strength
    return PatchScore(
        patch=name,
        seen=replace(seen, strength=strength),
        first_seen_at=before.first_seen_at if before else taken_at,
        growth_mm2_per_day=(seen.area_mm2 - before.first_area_mm2) / days if before and days > 0 else None,
        flags=(Flag.EXPECTED,) if seen.kind in memory.healthy_looks else (),
    )
