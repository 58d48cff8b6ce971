"""The pass in order of time: what a photo says, and what is remembered of the bag → its score."""

from __future__ import annotations

from datetime import datetime

from colscan.flags import Flag
from colscan.score.follow import follow_patches
from colscan.score.model import Evidence, Memory, Score

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
        patches=follow_patches(evidence.patches, memory, taken_at=taken_at),
        flags=(*evidence.flags, Flag.FELL) if fell else evidence.flags,
    )
