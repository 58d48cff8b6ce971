"""A bag's light and unmixing → the learnt judgement of its face: opacity, coverage, interval, density."""

from __future__ import annotations

import numpy as np

from colscan.photo.model import Mask
from colscan.score.coverage import Look, Unmixed, unmix
from colscan.score.cues import find_cues
from colscan.score.light import Belief
from colscan.score.mixing import Cells
from colscan.score.network import judge
from colscan.score.prepare import Prepared

# Half the unmixing's interval and the difference between both judgements are one unit of doubt; never
# less than half a point.
_OWN_DOUBT = 0.5
_LEAST = 0.005
# So many units hold the truth on nine of ten faces of rendered series that the network had not learnt
# from (each series counting the same).
_CONFORMAL = 1.4


def judge_face(bag: Prepared, cells: Cells, belief: Belief, *, look: Look, patches: Mask) -> Unmixed:
    """What `unmix` says, and what the network says, which looks at the face as a whole.

    Coverage is the mean of both, density the network's. They are over the whole face outside card,
    wires and neighbours: what lies under a reflection is the network's guess from what is around it,
    as white places catch more reflections than bare ones and leaving them out would bias the share.

    Parameters
    ----------
    cells : Cells
        Every cell of the face's grid.
    look : Look
        What of the face is seen, and how opaque it is by unmixing.
    patches : ndarray of bool, shape (h, w)
        Suspect patches: face, but not mycelium.
    """
    plain = unmix(bag, cells, belief, look=look)
    chance, opacity = judge(find_cues(bag, cells, belief.best, look=look, patches=patches))
    shown = bag.whole & (bag.face.seen | bag.face.burnt_out)
    grown = shown & ~patches
    faces = max(int(shown.sum()), 1)
    # On series that neither had met, the two erred to different sides: their mean is the safer one.
    both = np.where(look.grown, (chance + look.chance) / 2, chance)
    coverage = float(both[grown].sum() / faces)
    judged = float(chance[grown].sum() / faces)
    low, high = _interval(coverage, judged, plain)
    return Unmixed(
        opacity=np.where(look.seen, np.where(patches, np.float32(0), opacity), np.float32(np.nan)),
        seen=look.seen,
        glare=plain.glare,
        coverage=coverage,
        low=low,
        high=high,
        density=float(opacity[grown].sum() / faces),
    )


def _interval(coverage: float, judged: float, plain: Unmixed) -> tuple[float, float]:
    """90 % interval: as wide as the two judgements differ, and as the unmixing's own doubt.

    The latter holds what the unseen part may hide.
    """
    half_plain = (plain.high - plain.low) / 2
    spread = float(np.sqrt(_LEAST**2 + (judged - plain.coverage) ** 2 + (_OWN_DOUBT * half_plain) ** 2))
    half = _CONFORMAL * spread
    return max(0.0, coverage - half), min(1.0, coverage + half)
