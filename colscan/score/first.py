"""A photo of a bag's first hours → whether it will serve as baseline, said while it can be taken again."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.locate.model import BagView
from colscan.locate.reference import BURNT_OUT_LIGHT
from colscan.score.baseline import without_highlights
from colscan.score.face import GRID_MM, RIM_MM, Face, depth_mm, own_frame, resample, smooth
from colscan.score.measure import MUCH_GLARE, MUCH_HIDDEN
from colscan.score.model import Fault
from colscan.score.reference import share_reference

# A baseline lives by detail of 1 to 5 mm: blur, or pixels, as wide as the grid's step wipe it out.
_BLURRED_MM = GRID_MM
_COARSE_MM = GRID_MM
# Darker than this, one step of the photo's 8 bits is over 6 % of the light.
_DARK = 24
# Substrate is of one colour at the scale of several shavings. A place this much less red than the
# reddest tenth sends two fifths of its light as veil: fog, or a broad reflection.
_VEILED, _REDDEST = 0.6, 0.9
_MUCH_FOG = 0.25
_FOG_MM = 6.0


def judge_first(views: Sequence[BagView]) -> dict[int, tuple[Fault, ...]]:
    """What is wrong with each bag's view as a first photo, by key; nothing for a good one.

    Parameters
    ----------
    views : sequence of BagView
        All the bags of one photo, as located: fog on a whole face is told by the other bags' colour.
    """
    shared = [view for view in share_reference(views) if np.isfinite(view.paper).all()]
    faces = {view.key: resample(view, *own_frame(view)) for view in shared}
    redness = {key: _redness(face) for key, face in faces.items()}
    reddest = [float(np.quantile(red, _REDDEST)) for red in redness.values() if len(red)]
    usual = float(np.median(reddest)) if reddest else 0.0
    readable = any(_tells_light(view) for view in views)
    found = {}
    for view in views:
        face = faces.get(view.key)
        doubts = _of_view(view) | {Fault.NO_LIGHT: face is None or not readable}
        if face is not None:
            doubts |= {
                Fault.GLARE: _glare(face) > MUCH_GLARE,
                Fault.FOG: _fogged(redness[view.key], usual) > _MUCH_FOG,
            }
        found[view.key] = tuple(fault for fault, applies in doubts.items() if applies)
    return found


def _of_view(view: BagView) -> dict[Fault, bool]:
    shown = view.face & ~view.hidden
    level = float(np.median(view.rgb[shown].mean(1))) if shown.any() else 0.0
    return {
        Fault.CUT_OFF: Flag.CUT_OFF in view.flags,
        Fault.BLURRED: bool(np.isfinite(view.blur_px) and view.blur_px * view.mm_per_px > _BLURRED_MM),
        Fault.TOO_SMALL: view.mm_per_px > _COARSE_MM,
        Fault.HIDDEN: 1 - shown.sum() / max(view.face.sum(), 1) > MUCH_HIDDEN,
        Fault.DARK: level < _DARK,
    }


def _tells_light(view: BagView) -> bool:
    # Paper burnt out in every channel tells neither exposure nor cast.
    return bool(np.isfinite(view.paper).all() and view.paper.min() < BURNT_OUT_LIGHT)


def _glare(face: Face) -> float:
    """Share of what nothing hides that is burnt out or much brighter than its surround."""
    shown = face.seen | face.burnt_out
    return 1 - float(without_highlights(face).sum() / max(shown.sum(), 1))


def _redness(face: Face) -> NDArray[np.float32]:
    """Red minus blue over the mean on the front, reflections left out, averaged over several shavings."""
    clear = without_highlights(face)
    light = smooth(face.light, clear, _FOG_MM)[clear & (depth_mm(face.whole) > RIM_MM)]
    return np.asarray((light[:, 0] - light[:, 2]) / np.maximum(light.mean(1), 1e-4), np.float32)


def _fogged(redness: NDArray[np.float32], usual: float) -> float:
    """Share of the front that is veiled, against its own reddest places or those of the other bags."""
    if not len(redness):
        return 0.0
    return float((redness < _VEILED * max(float(np.quantile(redness, _REDDEST)), usual)).mean())
