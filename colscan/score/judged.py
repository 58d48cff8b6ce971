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

# The network is the better judge on most series that neither had met, the unmixing on one.
OF_NETWORK = 0.85
# Doubt: what the network says of itself, what reflections may hide (of a share u at coverage c, u c (1 - c)
# to either side), half of what both differ by, a quarter of the unmixing's own half interval; never less than
# a point.
_DIFFERENCE, _OWN_DOUBT = 0.5, 0.25
_LEAST = 0.01
# 1.2 of these hold nine of ten errors on rendered series that the network had not learnt from (each series
# counting the same). More, as under a side lamp it takes 1.7.
_CONFORMAL = 1.35


def judge_face(bag: Prepared, cells: Cells, belief: Belief, *, look: Look, patches: Mask) -> Unmixed:
    """What `unmix` says, and what the network says, which looks at the face as a whole.

    Coverage is a mean of both, density the network's. They are over the whole face outside card,
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
    judged = judge(find_cues(bag, cells, belief.best, look=look, patches=patches))
    shown = bag.whole & (bag.face.seen | bag.face.burnt_out)
    grown = shown & ~patches
    faces = max(int(shown.sum()), 1)
    mixed = OF_NETWORK * judged.chance + (1 - OF_NETWORK) * look.chance
    both = np.where(look.grown, mixed, judged.chance)
    coverage = float(both[grown].sum() / faces)
    alone = float(judged.chance[grown].sum() / faces)
    under = float((shown & ~look.seen).sum() / faces) * coverage * (1 - coverage)
    low, high = _interval(coverage, alone, plain, doubts=(judged.doubt, under))
    return Unmixed(
        opacity=np.where(look.seen, np.where(patches, np.float32(0), judged.opacity), np.float32(np.nan)),
        seen=look.seen,
        glare=plain.glare,
        coverage=coverage,
        low=low,
        high=high,
        density=float(judged.opacity[grown].sum() / faces),
    )


def _interval(
    coverage: float, alone: float, plain: Unmixed, *, doubts: tuple[float, float]
) -> tuple[float, float]:
    """90 % interval: what the network doubts and what reflections may hide, and how far both judges agree."""
    half_plain = (plain.high - plain.low) / 2
    parts = (_LEAST, *doubts, _DIFFERENCE * (alone - plain.coverage), _OWN_DOUBT * half_plain)
    half = _CONFORMAL * float(np.linalg.norm(parts))
    return max(0.0, coverage - half), min(1.0, coverage + half)
