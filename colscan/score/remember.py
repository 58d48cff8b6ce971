"""The pass in order of time: what a photo says, and what is remembered of the bag → its score.

How far the face is grown over is settled as a whole (`trajectory`), which of its places are is
remembered place by place (`places`), and suspect patches keep their names (`follow`).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from colscan.flags import Flag
from colscan.score.coverage import Z90
from colscan.score.follow import follow_patches
from colscan.score.model import Evidence, FaceMap, FaceState, Memory, PatchScore, Score
from colscan.score.places import carry, chance_covered, known_share, opacity_between, recall_hidden
from colscan.score.trajectory import Trajectory, grow, just_spawned, look, unknown
from colscan.units import days_between

# A fall in coverage that needs an explanation (fraction).
_FALL = 0.15
# A patch's area is off by a quarter, one standard deviation: its edge by an eighth of its radius.
_PATCH_OFF = 0.25
# The face's own edge is known no better than this share of it, which a sure answer must not forget.
_EDGE_OFF = 0.005
# Patches leave at least this share of a face to grow on, or growth can't be told.
_LEAST_FREE = 0.05
# After a fall only the photo itself speaks, and something about it isn't understood.
_WIDER_AFTER_FALL = 2.0
# Where the substrate was guessed, every photo errs by the same guess: many together are no surer than one.
_SAME_ERROR_DAILY = {Flag.NO_BASELINE, Flag.LATE_BASELINE}


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
        With the state that the bag's next photo is remembered from. Flags: those of the evidence,
        and `fell`. A patch's: `expected`.
    """
    patches = follow_patches(evidence.patches, memory, taken_at=taken_at)
    if evidence.coverage is None:
        return _unmeasured(evidence, memory, patches)
    before = _fitting(memory.state, evidence)
    shown = _show(evidence, before)
    fell = before is not None and _is_fall(before, shown)
    if fell:
        before, shown = None, _show(evidence, None)
    trajectory = _settle(shown, before, memory, fell=fell, taken_at=taken_at)
    coverage = trajectory.coverage * shown.free
    low, high = _limits(trajectory, shown)
    if _SAME_ERROR_DAILY & set(evidence.flags):
        low = max(min(low, coverage - (shown.coverage - shown.low) * shown.free), 0.0)
        high = min(max(high, coverage + (shown.high - shown.coverage) * shown.free), 1.0)
    places = before.places if before else None
    believed = carry(shown.chance, places, coverage=coverage, face=evidence.face)
    return Score(
        evidence=evidence,
        segment=memory.segment,
        coverage=coverage,
        low=low,
        high=high,
        density=_density(evidence, shown.chance, believed),
        patches=patches,
        state=FaceState(at=taken_at, trajectory=trajectory, places=believed),
        flags=(*evidence.flags, Flag.FELL) if fell else evidence.flags,
    )


def _unmeasured(evidence: Evidence, memory: Memory, patches: tuple[PatchScore, ...]) -> Score:
    """The score of a photo that can't be measured: none, and what was known stays."""
    return Score(
        evidence=evidence,
        segment=memory.segment,
        coverage=None,
        low=None,
        high=None,
        density=None,
        patches=patches,
        state=memory.state,
        flags=evidence.flags,
    )


def _density(evidence: Evidence, shown: FaceMap, believed: FaceMap) -> float | None:
    if evidence.density is None:
        return None
    more = opacity_between(evidence.opacity, shown, believed, face=evidence.face)
    return min(max(evidence.density + more, 0.0), 1.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shown:
    """What a photo and its bag's earlier ones show of a face.

    Parameters
    ----------
    chance : FaceMap, shape (h, w)
        Chance that each place is covered.
    free : float
        Share of the face that is under no suspect patch.
    coverage, low, high : float
        Shares of what is free.
    """

    chance: FaceMap
    free: float
    coverage: float
    low: float
    high: float


def _limits(trajectory: Trajectory, shown: _Shown) -> tuple[float, float]:
    """90 % interval of the whole face's coverage: of what is free, and of how much that is."""
    low, high = (limit * shown.free for limit in trajectory.interval())
    coverage = trajectory.coverage * shown.free
    patches_off = Z90 * _PATCH_OFF * (1 - shown.free) * trajectory.coverage
    always = float(np.hypot(_EDGE_OFF, patches_off))
    below, above = (float(np.hypot(max(off, 0.0), always)) for off in (coverage - low, high - coverage))
    return max(coverage - below, 0.0), min(coverage + above, 1.0)


def _fitting(state: FaceState | None, evidence: Evidence) -> FaceState | None:
    """The state; without its places where they lie on another grid."""
    if state is None or state.places is None or state.places.shape == evidence.opacity.shape:
        return state
    return FaceState(at=state.at, trajectory=state.trajectory, places=None)


def _show(evidence: Evidence, before: FaceState | None) -> _Shown:
    """The photo's answer, with what was known before of the places that it hides."""
    own, face = evidence.coverage or 0.0, evidence.face
    chance = chance_covered(evidence.opacity, own, face=face)
    seen_share = float((np.isfinite(evidence.opacity) & face).sum() / max(face.sum(), 1))
    moved = known = 0.0
    if before is not None and before.places is not None:
        recalled = recall_hidden(chance, evidence.opacity, before.places, face=face)
        moved = float((recalled - chance)[face].sum() / max(face.sum(), 1))
        # Measuring allowed for anything in all hidden places; these are known.
        known = known_share(evidence.opacity, before.places, face=face) * own * (1 - own)
        chance = recalled
    free = max(1 - seen_share * sum(patch.area for patch in evidence.patches), _LEAST_FREE)
    low = evidence.low if evidence.low is not None else 0.0
    high = evidence.high if evidence.high is not None else 1.0
    coverage = min((own + moved) / free, 1.0)
    below, above = (max(off - known, off / 2) for off in (own - low, high - own))
    return _Shown(
        chance=chance,
        free=free,
        coverage=coverage,
        low=max(coverage - below / free, 0.0),
        high=min(coverage + above / free, 1.0),
    )


def _is_fall(before: FaceState, shown: _Shown) -> bool:
    """Whether the photo is far below what was known, and neither's doubt explains it."""
    least, _ = before.trajectory.interval()
    return before.trajectory.coverage - shown.coverage > _FALL and shown.high < least


def _settle(
    shown: _Shown, before: FaceState | None, memory: Memory, *, fell: bool, taken_at: datetime
) -> Trajectory:
    """How far the bag is, by what was known before and by the photo."""
    wider = _WIDER_AFTER_FALL if fell else 1.0
    known = unknown()
    if memory.spawned_at is not None and memory.segment == 0 and not fell:
        known = just_spawned(days_between(memory.spawned_at, taken_at))
    if before is not None:
        known = grow(before.trajectory, days_between(before.at, taken_at), otherwise=known)
    return look(
        known,
        shown.coverage,
        low=shown.coverage - wider * (shown.coverage - shown.low),
        high=shown.coverage + wider * (shown.high - shown.coverage),
    )
